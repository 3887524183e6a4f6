"""Whether the two sides' tensions balance where the rim should stand. Pure; imports geometry, model, conformance.

A rim at rest sideways obeys sum_R T sin(a) = sum_L T sin(a) (statics), whatever its tensions are. So tensions and the
stated geometry together tell where the spoke bed really stands.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass

from .geometry import SIGN, Side
from .model import Wheel

#: Standard uncertainty of a stated flange offset, by callipers and ruler; common practice, no source.
U_FLANGE_M = 0.5e-3
#: Spoke beds of asymmetric rims lie up to about so far off the middle; common practice, no source.
ASYMMETRIC_M = 4.0e-3


@dataclass(frozen=True, slots=True)
class Stands:
    """How far the spoke bed stands from its stated place, + to the right (m), with its standard uncertainty."""

    shift_m: float
    u_m: float


def demanded_ratio(wheel: Wheel) -> float | None:
    """Left over right mean tension that hub, rim and lacing demand; None where not known or no tensions balance."""
    pull = {side: _per_newton(wheel, side) for side in wheel.sides}
    if len(pull) < 2 or any(each is None or each <= 0 for each in pull.values()):
        return None
    right, left = pull["right"], pull["left"]
    assert right is not None
    assert left is not None
    return (right * len(wheel.sides["right"].numbers)) / (left * len(wheel.sides["left"].numbers))


def stands_at(wheel: Wheel, mean_n: Mapping[Side, float], u_relative: Mapping[Side, float]) -> Stands | None:
    """Where the spoke bed stands by the sides' tensions.

    Parameters
    ----------
    wheel : Wheel
    mean_n : mapping
        Mean tension of both sides, N.
    u_relative : mapping
        Their relative standard uncertainties, without unit.

    Returns
    -------
    Stands or None
        None where the wheel has one side only or lacks the geometry.

    Notes
    -----
    With w the lateral distance from rim to flange and L the length, a shift d to the right changes the pull of a side
    by -+ T d / L. Hence d = (P_R - P_L) / K with P the pulls and K = sum of T / L over all spokes, to first order.
    """
    if set(mean_n) != set(SIGN) or any(place.line is None for place in wheel.places):
        return None
    pull, soft = dict.fromkeys(SIGN, 0.0), dict.fromkeys(SIGN, 0.0)
    for place in wheel.places:
        assert place.line is not None
        pull[place.side] += mean_n[place.side] * math.sin(place.line.bracing_angle_rad)
        soft[place.side] += mean_n[place.side] / place.line.length_m
    total = sum(soft.values())
    variance = sum((pull[side] * u_relative[side]) ** 2 + (soft[side] * U_FLANGE_M) ** 2 for side in SIGN)
    return Stands((pull["right"] - pull["left"]) / total, math.sqrt(variance) / total)


def targets_disagree(wheel: Wheel) -> Stands | None:
    """Where the targets would put the rim, if that is surely no place for it; None if they agree with the dish.

    With an unstated spoke bed offset, one that an asymmetric rim may have is allowed for.
    """
    targets: dict[Side, float] = {}
    for side, stated in wheel.sides.items():
        if stated.target_n is not None:
            targets[side] = stated.target_n
    found = stands_at(wheel, targets, dict.fromkeys(SIGN, 0.0))
    allowed = wheel.limits.dish_m + (0.0 if wheel.rim.seat_offset_stated else ASYMMETRIC_M)
    if found is None or abs(found.shift_m) <= allowed + 1.96 * found.u_m:
        return None
    return found


def _per_newton(wheel: Wheel, side: Side) -> float | None:
    """Mean sine of the bracing angle."""
    lines = [place.line for place in wheel.places if place.side == side and place.line is not None]
    if len(lines) != len(wheel.sides[side].numbers):
        return None
    return sum(math.sin(line.bracing_angle_rad) for line in lines) / len(lines)
