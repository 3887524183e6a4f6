"""Wheels to be turned in tests: an invented pump cart's wheel, and readings of it made uneven by known turns."""

from __future__ import annotations

import numpy as np

from tensionear.wheel.learning import as_described
from tensionear.wheel.mechanics import influence, scaled, skeleton_of
from tensionear.wheel.model import Wheel
from tensionear.wheel.stand import Readings, targets_n
from tensionear.wheel.wheelfile import parse_wheel

TEXT = """\
format = 1
name = "Pump cart, rear"
[lacing]
spokes = {spokes}
sides = "RL"
[rim]
seat_diameter_mm = 560.0
seat_offset_mm = {offset}
stiffness = "alloy-box"
max_tension_n = 1250
[right]
spoke = "steel-round-2.0"
hub_circle_diameter_mm = 54.0
flange_offset_mm = 20.0
crosses = {crosses}
first_runs = "clockwise"
target_n = 1000
[left]
spoke = "steel-round-1.8"
hub_circle_diameter_mm = 54.0
flange_offset_mm = 32.0
crosses = {crosses}
first_runs = "counterclockwise"
[limits]
floor_n = 250
"""


def text(spokes: int = 20, crosses: int = 2, offset: float = 0.0) -> str:
    return TEXT.format(spokes=spokes, crosses=crosses, offset=offset)


def cart(spokes: int = 20, crosses: int = 2, offset: float = 0.0) -> Wheel:
    return parse_wheel(text(spokes, crosses, offset), "cart")


def spoilt(wheel: Wheel, turns: dict[int, float], log_factors: tuple[float, ...] = (0.0,) * 4) -> Readings:
    """Exact readings of the even wheel after these turns, its rim's figures exp(``log_factors``) times those stated."""
    assert wheel.rim.stiffness is not None
    even, _ = targets_n(wheel, {})
    skeleton = scaled(skeleton_of(wheel, wheel.rim.stiffness), np.array(log_factors))
    size = np.array([turns.get(number, 0.0) for number in range(1, wheel.spokes + 1)])
    answer = influence(skeleton, even)
    rows = answer.tension_n @ size + even, answer.lateral_m @ size, answer.radial_m @ size
    tension, lateral, radial = (dict(enumerate(map(float, row), 1)) for row in rows)
    return Readings(tension, lateral, radial, None, {})


def prior(wheel: Wheel):
    assert wheel.rim.stiffness is not None
    return as_described(wheel.rim.stiffness)
