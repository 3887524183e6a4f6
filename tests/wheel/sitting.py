"""Invented wheels with their readings, for the tests of the assessment: tensions come from a rule, not from sound."""

from __future__ import annotations

import math
from collections.abc import Callable

import numpy as np

from tensionear.wheel.assessment import Assessment, assess
from tensionear.wheel.balance import demanded_ratio
from tensionear.wheel.model import Wheel
from tensionear.wheel.sheet import EMPTY, Sheet
from tensionear.wheel.sidefit import ReadTension
from tensionear.wheel.wheelfile import parse_wheel

WHEEL = """\
format = 1
name = "{name}"
[lacing]
spokes = {spokes}
sides = "{sides}"
[rim]
seat_diameter_mm = {seat}
seat_offset_mm = {offset}
max_tension_n = 1300
[right]
spoke = "steel-round-2.0"
hub_circle_diameter_mm = 58.0
flange_offset_mm = {right}
crosses = {crosses}
first_runs = "clockwise"
crossing = "apart"
[left]
spoke = "steel-round-2.0"
hub_circle_diameter_mm = 58.0
flange_offset_mm = {left}
crosses = {crosses}
first_runs = "clockwise"
crossing = "apart"
"""


def wheel(
    name: str = "Millrace barrow", *, spokes: int = 36, sides: str = "RL", right: float = 20.0, left: float = 34.0,
    crosses: int = 3, offset: float = 0.0, seat: float = 600.0, more: str = "", drop: str = "",
) -> Wheel:  # fmt: skip
    """A wheel; ``more`` is added to its file, the line ``drop`` is taken out."""
    text = WHEEL.format(
        name=name, spokes=spokes, sides=sides, right=right, left=left, crosses=crosses, offset=offset, seat=seat
    )
    if drop:
        assert drop in text
        text = text.replace(drop, "", 1)
    if crosses == 0:
        text = text.replace('first_runs = "clockwise"\n', "")
    return parse_wheel(text + more, "sitting.toml")


def balanced(described: Wheel, right_n: float = 1100.0) -> dict[int, float]:
    """Even tensions at which the sides balance."""
    ratio = demanded_ratio(described) or 1.0
    return {place.number: right_n * (1.0 if place.side == "right" else ratio) for place in described.places}


def read_as(
    described: Wheel, tensions_n: dict[int, float], *, own_percent: float = 0.5, common_percent: float = 1.8
) -> dict[int, ReadTension]:
    """These tensions as a side's fit gives them, each with its own and its side's part of the uncertainty."""
    found = {}
    for side in described.sides.values():
        mine = [number for number in side.numbers if number in tensions_n]
        mean = sum(tensions_n[number] for number in mine) / len(mine)
        for number in mine:
            value = tensions_n[number]
            own, common = value * own_percent / 100, value * common_percent / 100
            u = math.hypot(own, common)
            deviation = value / mean - 1
            found[number] = ReadTension(
                value,
                u,
                (value - 1.96 * u, value + 1.96 * u),
                own,
                common,
                deviation,
                (1 + deviation) * own_percent / 100,
                2.2,
                1.0,
            )
    return found


def sat(described: Wheel, tensions_n: dict[int, float], sheet: Sheet = EMPTY, **u: float) -> Assessment:
    """The sitting judged."""
    return assess(described, read_as(described, tensions_n, **u), sheet)


def codes(found: Assessment) -> dict[str, tuple[int, ...]]:
    return {finding.code: finding.spokes for finding in found.findings}


def changed(tensions_n: dict[int, float], change: Callable[[int, float], float]) -> dict[int, float]:
    return {number: change(number, value) for number, value in tensions_n.items()}


def faultless(seed: int) -> tuple[Wheel, dict[int, ReadTension]]:
    """A random sound wheel: of a random build, spokes scattered by up to 1.8 % and none beyond 3.5 %, read with errors."""
    rng = np.random.default_rng(seed)
    spokes, sides = ((24, "RL"), (28, "RL"), (32, "RL"), (36, "RL"), (24, "RRL"), (20, "LR"))[rng.integers(6)]
    right, left = (float(value) for value in rng.uniform((17, 32), (24, 37)))
    crosses = 0 if sides == "RRL" or rng.random() < 0.3 else 2
    built = f"[limits]\nevenness_percent = {5 if rng.random() < 0.7 else 8}\n"
    described = wheel(
        f"wheel {seed}",
        spokes=spokes,
        sides=sides,
        right=round(right, 1),
        left=round(left, 1),
        crosses=crosses,
        more=built,
    )
    shape = rng.uniform(0.4, 1.8) / 100
    level = rng.uniform(850, 1050)
    ratio = demanded_ratio(described) or 1.0
    level = level / max(ratio, 1.0)
    scattered = np.clip(rng.normal(0, shape, spokes), -0.035, 0.035)
    true = {number: value * (1 + scattered[number - 1]) for number, value in balanced(described, level).items()}
    own = rng.uniform(0.2, 0.9)
    common = {side: rng.normal(0, 0.015) for side in described.sides}
    # the stated geometry is off by as much as it is said to be known
    hub = {side: rng.normal(0, 0.5) / value for side, value in (("right", right), ("left", left))}
    read = {
        place.number: true[place.number]
        * (1 + common[place.side])
        * (1 + hub[place.side])
        * (1 + rng.normal(0, own / 100))
        for place in described.places
    }
    return described, read_as(described, read, own_percent=own, common_percent=1.5)
