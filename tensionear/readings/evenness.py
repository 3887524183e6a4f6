"""Evenness alone: a round of a wheel of which only the number of spokes is known. Imports listening, physics, wheel."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np

from tensionear.listening import Listened, Strike
from tensionear.options import RoundOptions
from tensionear.physics.believed import EndsPrior
from tensionear.physics.expectation import LOG_TENSION
from tensionear.physics.generic import generic_models
from tensionear.physics.inverse import GroupFit, fit_group
from tensionear.physics.kinds import Kind, expect_kind, model_of_kind
from tensionear.physics.observations import partials_of
from tensionear.physics.taught import taught
from tensionear.reading import Finding, Limits, Reading, SideReading, SpokeReading, Verdict
from tensionear.wheel.assessment import assess_evenness, worst_first
from tensionear.wheel.evenness import side_pattern
from tensionear.wheel.judging import Judgement
from tensionear.wheel.roundplan import plan_round
from tensionear.wheel.sequence import Naming, name_plucks
from tensionear.wheel.sidefit import ReadTension

from .plucks import common_findings, first_modes, listed, pluck_reading, unread_pluck
from .rounds import SpokeRings, refusal_of, rings_of, struck_of
from .second import Fellows, second_look
from .sharing import by_sound
from .wheel import check_plucks

_EVENNESS_PERCENT = 5.0  # common practice, no source


def read_evenness(
    file: str, listened: Listened, spokes: int, first: int, options: RoundOptions, kind: Kind | None = None
) -> Reading:
    """Read a round of a wheel of so many spokes, heard for a kind of spoke or for any: deviations within groups, no tension."""
    strikes = listed(listened)
    check_plucks(options, len(strikes))
    plan = plan_round(spokes, None, first, options.order, options.direction, options.missing)
    naming = name_plucks(struck_of(strikes), plan, options.assign, options.skip)
    return read_evenness_named(file, listened, spokes, naming, options, kind)


def read_evenness_named(
    file: str, listened: Listened, spokes: int, naming: Naming, options: RoundOptions, kind: Kind | None = None
) -> Reading:
    """Read a round whose plucks are named already; ``naming`` has one entry for each of the ``listed`` strikes."""
    alike = kind is None or not kind.flat
    limits = Limits(evenness_percent=_EVENNESS_PERCENT)
    told = options.crossing is not None
    whole = options.crossing in ("apart", None)
    strikes = listed(listened)
    groups, rings, fits = _fitted(strikes, naming, spokes, kind, whole)
    if kind is not None:
        expected = [taught(expect_kind(kind), model_of_kind(kind), fit) for _, fit in fits]
        fellows = [
            Fellows(members, [each] * len(members), fit.moments()[0])
            for (members, fit), each in zip(fits, expected, strict=True)
        ]
        again = second_look(strikes, fellows, rings, dict.fromkeys(rings, 0))
        if again != strikes:
            strikes = again
            groups, rings, fits = _fitted(strikes, naming, spokes, kind, whole)
    relative: dict[int, ReadTension] = {}
    for group, fit in fits:
        relative |= _deviations(group, rings, fit)
    of_groups = {number: groups[number - 1] for number in relative}
    assessed = assess_evenness(relative if told else {}, of_groups, limits)
    judged = assessed.spokes
    findings = common_findings(strikes) + [Finding("count-differs", text) for text in naming.warnings]
    if not told:
        text = (
            "whether spokes touch where they cross is not known: if they do, compare only pairs; "
            "say --crossing apart or --crossing touching for a verdict"
            + by_sound(strikes, naming, [range(1, spokes + 1, 2), range(2, spokes + 1, 2)])
        )
        findings.append(Finding("crossing-unknown", text))
    elif not whole:
        text = f"spokes {options.crossing} at their crossings sound together and cannot be told apart yet"
        findings.append(Finding(f"crossing-{options.crossing}", text))
    findings += assessed.findings
    plucks = []
    for index, strike in enumerate(strikes):
        reason = refusal_of(strike, index, naming, options.skip)
        if reason is not None:
            plucks.append(unread_pluck(strike, reason))
            continue
        spoke = naming.spokes[index]
        side = groups[spoke - 1] if spoke is not None else None
        plucks.append(
            pluck_reading(strike, strike.heard[0], ("both", "both") if alike else ("flat", "edge"), spoke, side, None)
        )
    return Reading(
        file=file,
        job="evenness",
        title=f"a wheel of {spokes} spokes",
        duration_s=listened.duration_s,
        sample_rate_hz=listened.sample_rate_hz,
        warnings=listened.warnings,
        findings=worst_first(findings),
        verdict="undecided" if assessed.verdict == "within" and len(judged) < spokes else assessed.verdict,
        plucks=tuple(plucks),
        spokes=tuple(
            _spoke_reading(number, groups[number - 1], relative.get(number), judged.get(number), rings.get(number))
            for number in range(1, spokes + 1)
        ),
        sides={group: _side(group, groups, relative, assessed.sides.get(group)) for group in dict.fromkeys(groups)},
        ends={},
        limits=limits,
        assumptions=(
            "the spokes of a group are of one kind and length"
            if kind is None
            else f"all spokes are of one kind, told by their overtones ({kind.shape}), those of a group of one length",
            "how pitch follows tension was found from the overtones, not taken as a string's",
        ),
        probability_within=assessed.within if len(judged) == spokes else None,
    )


def _pitches(rings: Mapping[int, SpokeRings]) -> dict[int, float]:
    found = {}
    for number, each in rings.items():
        main, _ = first_modes(each.rings.heard[0], True)
        if main is not None:
            found[number] = float(np.log(main.frequency_hz)) + each.rings.shift
    return found


def _fitted(
    strikes: Sequence[Strike], naming: Naming, spokes: int, kind: Kind | None, whole: bool
) -> tuple[tuple[str, ...], dict[int, SpokeRings], list[tuple[list[int], GroupFit]]]:
    """The group of every spoke, the rings of those heard, and the members of each group with their fit.

    All are fitted by the kind of spoke, or by the one shape that fits the whole wheel best; none if not heard by their
    ``whole`` length.
    """
    rings = rings_of(strikes, naming, dict.fromkeys(range(1, spokes + 1), 0), LOG_TENSION)
    of_spoke = side_pattern(_pitches(rings), spokes)
    members = [[number for number in rings if of_spoke[number - 1] == group] for group in dict.fromkeys(of_spoke)]
    groups = [each for each in members if each and whole]
    models = generic_models() if kind is None else (model_of_kind(kind),)
    alike = kind is None or not kind.flat
    heard = []
    for group in groups:
        start = [rings[number].rings.start_log_tension for number in group]
        heard.append(partials_of([rings[number].rings.heard for number in group], alike, start))
    tried = [
        [
            fit_group((model,), np.zeros(len(group), np.intp), each, EndsPrior())
            for group, each in zip(groups, heard, strict=True)
        ]
        for model in models
    ]
    best = min(tried, key=lambda fits: sum(fit.cost for fit in fits))
    return of_spoke, rings, list(zip(groups, best, strict=True))


def _deviations(members: Sequence[int], rings: Mapping[int, SpokeRings], fit: GroupFit) -> dict[int, ReadTension]:
    """Relative tensions of one group; the newtons in between mean nothing and are left at zero."""
    everyone = np.arange(len(members))
    deviation, u_deviation = fit.deviations(everyone, everyone)
    found = {}
    for index, number in enumerate(members):
        sensitivity = float(fit.sensitivity[index])
        shift, doubt = sensitivity * rings[number].rings.shift, sensitivity * rings[number].rings.doubt
        value = float((1 + deviation[index]) * np.exp(shift) - 1)
        u = float(np.hypot(u_deviation[index], (1 + value) * doubt))
        found[number] = ReadTension(0, 0, (0, 0), 0, 0, value, u, sensitivity, float(fit.misfit[index]))
    return found


def _spoke_reading(
    number: int, group: str, one: ReadTension | None, judged: Judgement | None, rings: SpokeRings | None
) -> SpokeReading:
    return SpokeReading(
        spoke=number,
        label=str(number),
        side=group,
        tension_n=None,
        u_tension_n=None,
        interval_95_n=None,
        u_individual_n=None,
        u_common_n=None,
        deviation_percent=100 * one.deviation if one else None,
        u_deviation_percent=100 * one.u_deviation if one else None,
        verdict=judged.verdict if judged else None,
        doubt=rings.doubt if rings else None,
    )


def _side(
    group: str, groups: Sequence[str], relative: Mapping[int, ReadTension], verdict: Verdict | None
) -> SideReading:
    members = [number for number in relative if groups[number - 1] == group]
    deviations = [relative[number].deviation for number in members]
    spread = 50 * (max(deviations) - min(deviations)) if deviations else None
    return SideReading(None, None, spread, verdict)
