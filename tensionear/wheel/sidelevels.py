"""What the sides' means say: level, targets, balance and with it the dish. Pure; imports balance, judging, sheet, model."""

from __future__ import annotations

import math
from collections.abc import Mapping

from tensionear.physics.rounding import rounded
from tensionear.reading import Finding

from .balance import demanded_ratio, stands_at, targets_disagree
from .conformance import between
from .geometry import Side
from .judging import Judge, loading_of
from .model import Wheel
from .sheet import Sheet
from .sidefit import ReadTension

MM = 1e-3


def side_findings(wheel: Wheel, tensions: Mapping[int, ReadTension], judge: Judge, sheet: Sheet) -> list[Finding]:
    """Level and balance of the sides."""
    found, mean, u = [], {}, {}
    for side in wheel.sides:
        group = [tensions[number] for number in wheel.sides[side].numbers if number in tensions]
        if not group or not group[0].tension_n:
            continue
        mean[side] = sum(one.tension_n for one in group) / len(group)
        u[side] = sum(math.sqrt(max(one.u_tension_n**2 - loading_of(one, 0, 1)[0] ** 2, 0.0)) for one in group) / len(
            group
        )
    for side in mean if judge.level else ():
        found += _of_level(wheel, side, mean[side], u[side], judge)
    contradiction = targets_disagree(wheel)
    if contradiction is not None:
        ratio = demanded_ratio(wheel)
        asked = "" if ratio is None else f" (left = {ratio:.2f} x right)"
        text = (
            f"the targets of the two sides contradict the dish: they would pull the rim {abs(contradiction.shift_m) / MM:.0f} mm "
            f"off; they are not used; state such as hub and rim ask for{asked}"
        )
        found.append(Finding("targets-contradict-dish", text))
    stands = stands_at(wheel, mean, {side: u[side] / mean[side] for side in mean})
    if stands is None:
        return found
    shift = stands.shift_m - (sheet.dish_m or 0.0)
    if between(shift, stands.u_m, -wheel.limits.dish_m, wheel.limits.dish_m) >= 1 - judge.surely:
        return found
    way = "right" if shift > 0 else "left"
    size = f"{' +/- '.join(rounded(abs(shift) / MM, 1.96 * stands.u_m / MM))} mm"
    asked_ratio = demanded_ratio(wheel)
    told = f"left over right is {mean['left'] / mean['right']:.2f}"
    if asked_ratio is not None:
        told += f", hub, rim and lacing ask for {asked_ratio:.2f}"
    if wheel.rim.seat_offset_stated and sheet.dish_m is None:
        text = f"the sides do not balance: {told}; the rim stands {size} too far to the {way}: check the dish"
        found.append(Finding("wrong-dish", text, (), "fault"))
    else:
        reason = "the spoke bed may be off the rim's middle (seat_offset_mm)"
        if sheet.dish_m is None:
            reason = f"either the dish is wrong or {reason}: measure the dish, or state seat_offset_mm"
        else:
            reason = f"with the dish as measured {reason}, or a flange offset is wrong"
        found.append(Finding("balance-off", f"the sides do not balance by {size} to the {way}: {told}; {reason}"))
    return found


def _of_level(wheel: Wheel, side: Side, mean: float, u: float, judge: Judge) -> list[Finding]:
    """A side's mean against the standard's floor and its target."""
    found = []
    floor = None if judge.floors is None else judge.floors.mean_n.get(side)
    numbers = wheel.sides[side].numbers
    if floor is not None and between(mean, u, floor, math.inf) < 1 - judge.surely:
        text = (
            f"the {side} side's mean of {mean:.0f} N is under the {floor:.0f} N that JIS D 9301 asks for: all of it is "
            "slack; do not ride it, bring it up all round by small equal steps within the makers' limits"
        )
        found.append(Finding("slack-side", text, numbers, "danger"))
    target, percent = judge.limits.target_n.get(side), judge.limits.level_percent
    if target is not None and percent is not None and not found:
        apart = percent / 100 * target
        if between(mean, u, target - apart, target + apart) < 1 - judge.surely:
            way = "above" if mean > target else "below"
            text = f"the {side} side's mean is {100 * abs(mean / target - 1):.0f} % {way} its target of {target:.0f} N"
            found.append(Finding("off-target", text, numbers, "fault"))
    return found
