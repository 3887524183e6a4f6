"""The whole wheel held against its limits, by JCGM 106:2012: within, out, or undecided. Imports its siblings and reading.

A spoke is within if the probability that every limited quantity of it is within exceeds 95 %, out if the probability that
one is outside does. The wheel is within only if all limited quantities are so together: the spokes' own errors, those that
a side shares, run-out, dish and twist. Other risks than 5 % can be chosen.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace

from tensionear.reading import Finding, Limits, Verdict

from .balance import targets_disagree
from .conformance import Limited, Rule, within_together
from .floors import floors_of
from .judging import Judge, Judgement, findings_of
from .model import Wheel
from .patterns import patterns_of, sharp_neighbours
from .sheet import EMPTY, Sheet, limited_quantities, sheet_findings
from .sidefit import ReadTension
from .sidelevels import side_findings
from .state import Level, level_of
from .undecided import undecided_findings

#: Findings that make a wheel undecided that its numbers alone would call within.
_DOUBTS = frozenset({"zigzag", "mixed-spokes", "lacing-disagrees", "balance-off", "targets-contradict-dish"})
_ORDER = ("danger", "fault", "caution", "note")


@dataclass(frozen=True, slots=True)
class Assessment:
    """The verdict on the wheel with the probability that all is within, each spoke's, each side's, and what was found."""

    verdict: Verdict | None
    within: float | None
    spokes: Mapping[int, Judgement]
    sides: Mapping[str, Verdict]
    findings: tuple[Finding, ...] = ()


def limits_of(wheel: Wheel) -> Limits:
    """The limits a wheel file states, as a reading tells them; targets that contradict the dish are not among them."""
    stated = wheel.limits
    targets: dict[str, float | None] = {side: each.target_n for side, each in wheel.sides.items()}
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
    if sheet.state is not None:
        wheel = replace(wheel, state=sheet.state)
    tensions = {number: one for number, one in sorted(tensions.items()) if wheel.place(number).leave_out is None}
    level = level_of(wheel)
    tensions = level.widened(tensions)
    rule = Rule(wheel.limits.consumer_risk, wheel.limits.producer_risk, wheel.limits.guard_band_u)
    judge = Judge(limits_of(wheel), level.judged, floors_of(wheel, tensions), rule)
    judged = {number: judge.spoke(one) for number, one in tensions.items()}
    groups = {
        side: [one for number, one in tensions.items() if wheel.place(number).side == side] for side in wheel.sides
    }
    of_sides = judge.together(list(groups.values()), list(groups))
    causes = itertools.count(1_000_000)
    others = limited_quantities(wheel, sheet, lambda: next(causes))
    every = [each for quantities in of_sides for each in quantities] + list(others.values())
    within = within_together(every)
    verdict: Verdict | None = rule.decide(within, within_together(every, rule.guard_band_u)) if every else None
    sides: dict[str, Verdict] = {
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
    of_groups = [within_together(quantities) for quantities in judge.together(members, names)]
    within = math.prod(of_groups)
    return Assessment(
        judge.rule.decide(within, within) if tensions else None,
        within if tensions else None,
        judged,
        {name: judge.rule.decide(each, each) for name, each in zip(names, of_groups, strict=True)},
        worst_first([*findings_of(tensions, judge), *undecided_findings(tensions, judged, limits)]),
    )


def worst_first(findings: Iterable[Finding]) -> tuple[Finding, ...]:
    """Danger, then faults, then what is to be looked at, then notes; otherwise in the order given."""
    return tuple(sorted(findings, key=lambda one: _ORDER.index(one.severity)))


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
        found += side_findings(wheel, tensions, judge, sheet)
    judged = {number: judge.spoke(one) for number, one in tensions.items() if number not in patterns.explained}
    return found + undecided_findings(tensions, judged, judge.limits)


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
