"""A drawn wheel of two sides with what is heard of it by exact partials, and its truth: data for tests of calibrations."""

from __future__ import annotations

from functools import cache

import numpy as np

from tensionear.calibration.tying import HeardSpoke
from tensionear.wheel.comparison import Known
from tensionear.wheel.model import Wheel
from tensionear.wheel.wheelfile import parse_wheel
from tests.physics.drawn import draw_side, heard

TEXT = """format = 1
name = "Ferry crossing barrow, front"
[lacing]
spokes = 20
sides = "RL"
[right]
spoke = "steel-round-2.0"
free_length_mm = 270.0
u_length_mm = 0.5
crossing = "apart"
[left]
spoke = "steel-round-2.0"
free_length_mm = 270.0
u_length_mm = 0.5
crossing = "apart"
"""


@cache
def barrow() -> Wheel:
    return parse_wheel(TEXT, "barrow.toml")


@cache
def drawn(seed: int) -> tuple[dict[int, HeardSpoke], dict[int, float]]:
    """What is heard of each spoke, and its true tension."""
    rng = np.random.default_rng(seed)
    found, truth = {}, {}
    for side, level in (("right", 1050.0), ("left", 760.0)):
        places = [place for place in barrow().places if place.side == side]
        tensions = level * (1 + 0.06 * rng.normal(size=len(places)))
        made = draw_side(rng, places[0].spoke, 0.270, tensions)
        partials = heard(rng, made)
        for at, place in enumerate(places):
            start = float(partials.start_log_tension[at])
            found[place.number] = HeardSpoke(partials.log_frequency[at], partials.sd[at], start)
            truth[place.number] = float(tensions[at])
    return found, truth


def known(truth: dict[int, float], spokes: list[int], seed: int = 1, percent: float = 1.0) -> dict[int, Known]:
    rng = np.random.default_rng(seed)
    values = {spoke: truth[spoke] * (1 + percent / 100 * float(rng.normal())) for spoke in spokes}
    return {spoke: Known(value, percent / 100 * value) for spoke, value in values.items()}
