"""The whole wheel held against its limits, by JCGM 106:2012: within, out, or undecided. Imports its siblings and reading.

A spoke is within if the probability that every limited quantity of it is within exceeds 95 %, out if the probability that
one is outside does. The wheel is within only if all limited quantities are so together: the spokes' own errors, those that
a side shares, run-out, dish and twist. Other risks than 5 % can be chosen.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, field

from tensionear.reading import Finding, Limits, Verdict

from .balance import demanded_ratio, stands_at, targets_disagree
from .conformance import Limited, Rule, between, within_together
from .floors import Floors, floors_of
from .geometry import Side
from .model import Wheel
from .patterns import patterns_of, sharp_neighbours
from .sheet import EMPTY, Sheet, limited_quantities, sheet_findings
from .sidefit import ReadTension
from .state import Level, level_of
from .undecided import undecided_findings

LOOSE = -0.25  # so far below its side's mean a spoke is called loose; common practice, no source
MM = 1e-3
#: Findings that make a wheel undecided that its numbers alone would call within.
_DOUBTS = frozenset({"zigzag", "mixed-spokes", "lacing-disagrees", "balance-off", "targets-contradict-dish"})
_ORDER = ("danger", "fault", "caution", "note")


@dataclass(frozen=True, slots=True)
class Judgement:
    """One spoke's verdict, and the probability that it is within all its limits."""

    verdict: Verdict
    within: float


@dataclass(frozen=True, slots=True)
class Assessment:
    """The verdict on the wheel with the probability that all is within, each spoke's, each side's, and what was found."""

    verdict: Verdict | None
    within: float | None
    spokes: Mapping[int, Judgement]
    sides: Mapping[str, Verdict]
    findings: tuple[Finding, ...] = field(default=())


@dataclass(frozen=True, slots=True)
class Judge:
    """What spokes are held against: limits, whether their level is judged, the floors, and the rule of decision."""

    limits: Limits
    level: bool
    floors: Floors | None = None
    rule: Rule = Rule()

    @property
    def surely(self) -> float:
        """The probability of being out from which something is called out."""
        return 1 - self.rule.producer_risk

    def spoke(self, tension: ReadTension) -> Judgement:
        """Judge one spoke."""
        chances = [between(*each) for each in self._bounds(tension, 0.0)]
        guarded = [between(*each) for each in self._bounds(tension, self.rule.guard_band_u)]
        within = math.prod(chances)
        verdict = self.rule.decide(min(chances), max(math.prod(guarded), 0.0))
        return Judgement(verdict, within)

    def _bounds(self, one: ReadTension, guard: float) -> list[tuple[float, float, float, float]]:
        """Value, u and limits of each limited quantity of a spoke, limits drawn in by ``guard`` times u."""
        allowed = self.limits.evenness_percent / 100 - guard * one.u_deviation
        drawn_in = guard * one.u_tension_n
        found = [(one.deviation, one.u_deviation, -allowed, allowed)]
        if self.level and self.limits.max_tension_n is not None:
            found.append((one.tension_n, one.u_tension_n, -math.inf, self.limits.max_tension_n - drawn_in))
        floor = self.floor_n
        if self.level and floor is not None:
            found.append((one.tension_n, one.u_tension_n, floor + drawn_in, math.inf))
        return found

    @property
    def floor_n(self) -> float | None:
        """The highest floor that holds for every spoke."""
        stated = self.limits.floor_n
        standard = None if self.floors is None else self.floors.spoke_n
        return max((each for each in (stated, standard) if each is not None), default=None)

    def together(self, members: Sequence[Sequence[ReadTension]], sides: Sequence[str]) -> list[list[Limited]]:
        """All limited quantities of each side, with the causes they share.

        A spoke moves by its own error, which is that of its deviation; what is left of the uncertainty of its tension
        is common to its side. Sides are taken as independent.
        """
        found = []
        causes = itertools.count()
        for group, side in zip(members, sides, strict=True):
            common = next(causes)
            own = [next(causes) for _ in group]
            quantities = []
            loadings = []
            for one, cause in zip(group, own, strict=True):
                allowed = self.limits.evenness_percent / 100
                quantities.append(Limited(one.deviation, {cause: one.u_deviation}, -allowed, allowed))
                loadings.append(_loading(one, cause, common))
            if self.level:
                ceiling, floor = self.limits.max_tension_n or math.inf, self.floor_n or 0.0
                for one, loading in zip(group, loadings, strict=True):
                    quantities.append(Limited(one.tension_n, loading, floor, ceiling))
                quantities += self._mean(group, loadings, side)
            found.append(quantities)
        return found

    def _mean(self, group: Sequence[ReadTension], loadings: Sequence[dict[int, float]], side: str) -> list[Limited]:
        """The side's mean against the floor of the standard and its target."""
        if not group:
            return []
        mean = sum(one.tension_n for one in group) / len(group)
        loading: dict[int, float] = {}
        for each in loadings:
            for cause, size in each.items():
                loading[cause] = loading.get(cause, 0.0) + size / len(group)
        found = []
        if self.floors is not None and side in self.floors.mean_n:
            found.append(Limited(mean, loading, self.floors.mean_n[side], math.inf))
        target = self.limits.target_n.get(side)
        if target is not None and self.limits.level_percent is not None:
            apart = self.limits.level_percent / 100 * target
            found.append(Limited(mean, loading, target - apart, target + apart))
        return found


def _loading(one: ReadTension, own: int, common: int) -> dict[int, float]:
    """How a tension moves with its own cause and its side's."""
    mine = one.tension_n * one.u_deviation / max(1 + one.deviation, 0.05)
    shared = math.sqrt(max(one.u_tension_n**2 - mine**2, 0.0))
    return {own: min(mine, one.u_tension_n), common: shared}


def limits_of(wheel: Wheel) -> Limits:
    """The limits a wheel file states, as a reading tells them; targets that contradict the dish are not among them."""
    stated = wheel.limits
    targets = {side: each.target_n for side, each in wheel.sides.items()}
    if targets_disagree(wheel) is not None:
        targets = dict.fromkeys(targets)
    return Limits(
        evenness_percent=stated.evenness_percent,
        max_tension_n=stated.max_tension_n,
        floor_n=stated.floor_n,
        target_n=targets,
        level_percent=stated.level_percent,
    )


def assess(wheel: Wheel, tensions: Mapping[int, ReadTension], sheet: Sheet = EMPTY) -> Assessment:
    """Judge a wheel.

    Parameters
    ----------
    wheel : Wheel
    tensions : mapping
        What was read of each spoke by number, in N; spokes that the wheel file leaves out are passed over.
    sheet : Sheet
        The other readings of the sitting.

    Returns
    -------
    Assessment
        Its verdict is None where no spoke was read.
    """
    tensions = {
        number: one for number, one in sorted(tensions.items()) if wheel.place(number).leave_out is None
    }
    level = level_of(wheel)
    tensions = level.widened(tensions)
    rule = Rule(wheel.limits.consumer_risk, wheel.limits.producer_risk, wheel.limits.guard_band_u)
    judge = Judge(limits_of(wheel), level.judged, floors_of(wheel, tensions), rule)
    judged = {number: judge.spoke(one) for number, one in tensions.items()}
    groups = {side: [one for number, one in tensions.items() if wheel.place(number).side == side] for side in wheel.sides}
    of_sides = judge.together(list(groups.values()), list(groups))
    causes = itertools.count(1_000_000)
    others = limited_quantities(wheel, sheet, lambda: next(causes))
    every = [each for quantities in of_sides for each in quantities] + list(others.values())
    within = within_together(every)
    verdict: Verdict | None = rule.decide(within, within_together(every, rule.guard_band_u)) if every else None
    sides = {
        side: rule.decide(within_together(quantities), within_together(quantities, rule.guard_band_u))
        for side, quantities in zip(groups, of_sides, strict=True)
        if quantities
    }
    findings = _findings(wheel, tensions, judge, level, sheet, others)
    return Assessment(
        _overruled(verdict, wheel, level, findings), within if every else None, judged, sides, worst_first(findings)
    )


def assess_evenness(tensions: Mapping[int, ReadTension], groups: Mapping[int, str], limits: Limits) -> Assessment:
    """Judge spokes of which only deviations within their groups are known."""
    judge = Judge(limits, level=False)
    judged = {number: judge.spoke(one) for number, one in tensions.items()}
    names = list(dict.fromkeys(groups[number] for number in tensions))
    members = [[one for number, one in tensions.items() if groups[number] == name] for name in names]
    of_groups = judge.together(members, names)
    every = [each for quantities in of_groups for each in quantities]
    within = within_together(every)
    return Assessment(
        judge.rule.decide(within, within) if every else None,
        within if every else None,
        judged,
        {name: judge.rule.decide(each := within_together(quantities), each) for name, quantities in zip(names, of_groups, strict=True)},
        worst_first([*findings_of(tensions, judge), *undecided_findings(tensions, judged, limits)]),
    )


def worst_first(findings: Iterable[Finding]) -> tuple[Finding, ...]:
    """Danger, then faults, then what is to be looked at, then notes; otherwise in the order given."""
    return tuple(sorted(findings, key=lambda one: _ORDER.index(one.severity)))


def findings_of(
    tensions: Mapping[int, ReadTension], judge: Judge, explained: frozenset[int] = frozenset()
) -> list[Finding]:
    """What stands out of single spokes: over the maximum, under the floor, loose, uneven (unless explained otherwise)."""
    limits, surely, found = judge.limits, judge.surely, []
    maximum, floor, allowed = limits.max_tension_n, judge.floor_n, limits.evenness_percent / 100
    if judge.level and maximum is not None:
        over = _named(tensions, surely, lambda one: between(one.tension_n, one.u_tension_n, -math.inf, maximum))
        if over:
            text = f"over the maximum of {maximum:.0f} N the makers allow: slacken"
            found.append(Finding("over-maximum", text, over, "danger"))
    if judge.level and floor is not None:
        under = _named(tensions, surely, lambda one: between(one.tension_n, one.u_tension_n, floor, math.inf))
        if under:
            whose = "" if limits.floor_n == floor else " of JIS D 9301"
            text = f"under the floor of {floor:.0f} N{whose}: look it over before turning"
            found.append(Finding("under-floor", text, under, "danger"))
    loose = _named(tensions, surely, lambda one: between(one.deviation, one.u_deviation, LOOSE, math.inf))
    loose = tuple(spoke for spoke in loose if spoke not in explained)
    if loose:
        text = (
            f"far slacker than its side (more than {-100 * LOOSE:.0f} % under the mean): look it over for damage first"
        )
        found.append(Finding("loose-spoke", text, loose, "danger"))
    uneven = _named(tensions, surely, lambda one: between(one.deviation, one.u_deviation, -allowed, allowed))
    uneven = tuple(spoke for spoke in uneven if spoke not in loose and spoke not in explained)
    if uneven:
        text = f"more than {limits.evenness_percent:g} % off the mean of its side"
        found.append(Finding("out-of-evenness", text, uneven, "fault"))
    return found


def _findings(
    wheel: Wheel,
    tensions: Mapping[int, ReadTension],
    judge: Judge,
    level: Level,
    sheet: Sheet,
    others: Mapping[str, Limited],
) -> list[Finding]:
    """All that is to be said of the wheel."""
    allowed = judge.limits.evenness_percent / 100
    patterns = patterns_of(wheel, tensions, allowed)
    found = list(level.findings)
    single = findings_of(tensions, judge, patterns.explained)
    found += single
    named = {spoke for each in single for spoke in each.spokes} | patterns.explained
    neighbours = sharp_neighbours(wheel, {n: one for n, one in tensions.items() if n not in named}, allowed)
    if neighbours:
        text = "neighbours on a side that differ sharply, although each is near enough to the mean: even them first"
        found.append(Finding("neighbours-differ", text, neighbours))
    found += patterns.findings
    found += sheet_findings(wheel, others, judge.surely)
    if any(each.code == "lateral-out" for each in found) and not single and not patterns.findings and tensions:
        text = "the rim is out of true although its spokes are even: it is bent; turning nipples would only hide it"
        found.append(Finding("bent-rim", text, (), "fault"))
    if tensions and not any(each.code == "lacing-disagrees" for each in found):
        found += _of_sides(wheel, tensions, judge, sheet)
    judged = {number: judge.spoke(one) for number, one in tensions.items()}
    return found + undecided_findings(tensions, judged, judge.limits)


def _of_sides(wheel: Wheel, tensions: Mapping[int, ReadTension], judge: Judge, sheet: Sheet) -> list[Finding]:
    """Level and balance of the sides."""
    found, mean, u = [], {}, {}
    for side in wheel.sides:
        group = [tensions[number] for number in wheel.sides[side].numbers if number in tensions]
        if not group or not group[0].tension_n:
            continue
        mean[side] = sum(one.tension_n for one in group) / len(group)
        u[side] = sum(math.sqrt(max(one.u_tension_n**2 - _loading(one, 0, 1)[0] ** 2, 0.0)) for one in group) / len(group)
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
    size = f"{abs(shift) / MM:.1f} +/- {1.96 * stands.u_m / MM:.1f} mm"
    ratio, asked = mean["left"] / mean["right"], demanded_ratio(wheel)
    told = f"left over right is {ratio:.2f}" + ("" if asked is None else f", hub, rim and lacing ask for {asked:.2f}")
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


def _overruled(verdict: Verdict | None, wheel: Wheel, level: Level, findings: Sequence[Finding]) -> Verdict | None:
    """The verdict after what no probability knows of: damage, an unjudged level, faults, doubts."""
    codes = {each.code for each in findings}
    if wheel.state.broken or codes & {"wrong-dish", "bent-rim"}:
        return "out"
    if verdict != "within":
        return verdict
    if wheel.state.crash or (level.limited and not level.judged) or codes & _DOUBTS:
        return "undecided"
    return verdict


def _named(
    tensions: Mapping[int, ReadTension], surely: float, chance: Callable[[ReadTension], float]
) -> tuple[int, ...]:
    """Spokes whose chance of being within is so small that they are out."""
    return tuple(spoke for spoke, one in sorted(tensions.items()) if 1 - chance(one) > surely)
