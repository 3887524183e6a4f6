"""The lowest tensions a standard allows. Pure; imports geometry, model, balance and sidefit.

JIS D 9301:2019, 5.5.1.3 c), as told by a report of the Japan Bicycle Promotion Institute (test 4578; read there, the
standard itself not seen): mean of a wheel's spokes at least 400 N, 300 N up to size 22 and on the slack side of a dished
wheel; no spoke at 150 N or less.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from .balance import demanded_ratio
from .geometry import Side
from .model import Wheel
from .sidefit import ReadTension

SPOKE_N, MEAN_N, SMALL_MEAN_N, SLACK_MEAN_N = 150.0, 400.0, 300.0, 300.0
#: Size 22 has its nipple seats on a circle below this; between those of sizes 22 and 24, judgement.
SMALL_SEAT_M = 0.460
#: Sides so far apart are of a dished wheel; judgement.
DISHED = 0.05


@dataclass(frozen=True, slots=True)
class Floors:
    """The floor of every spoke, and that of each side's mean, N."""

    spoke_n: float
    mean_n: Mapping[str, float]


def floors_of(wheel: Wheel, tensions: Mapping[int, ReadTension]) -> Floors:
    """The floors of this wheel; which side is the slack one follows from the geometry, else from what was read.

    A wheel of which no rim size is stated is given the lower floor.
    """
    seat_m = wheel.rim.seat_diameter_m
    usual = MEAN_N if seat_m is not None and seat_m > SMALL_SEAT_M else SMALL_MEAN_N
    mean = dict.fromkeys(wheel.sides, usual)
    slack = _slack_side(wheel, tensions)
    if slack is not None:
        mean[slack] = min(mean[slack], SLACK_MEAN_N)
    return Floors(SPOKE_N, {str(side): value for side, value in mean.items()})


def _slack_side(wheel: Wheel, tensions: Mapping[int, ReadTension]) -> Side | None:
    ratio = demanded_ratio(wheel)
    if ratio is None:
        sums = {
            side: [tensions[n].tension_n for n in wheel.sides[side].numbers if n in tensions] for side in wheel.sides
        }
        if len(sums) < 2 or not all(sums.values()):
            return None
        right, left = (sum(each) / len(each) for each in (sums["right"], sums["left"]))
        if right <= 0:
            return None
        ratio = left / right
    if abs(ratio - 1) < DISHED:
        return None
    return "left" if ratio < 1 else "right"
