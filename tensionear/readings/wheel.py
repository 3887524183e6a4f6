"""A whole round of a described wheel. Imports listening, the other readings, wheel and reading."""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence

import numpy as np

from tensionear.errors import UsageError
from tensionear.listening import Listened, Strike
from tensionear.options import RoundOptions
from tensionear.physics.expectation import LOG_TENSION, expect
from tensionear.physics.spoke import Spoke
from tensionear.physics.taught import taught
from tensionear.reading import (
    Finding,
    Plane,
    PluckReading,
    Reading,
    SideReading,
    SpokeReading,
    Verdict,
)
from tensionear.wheel.assessment import Assessment, assess, limits_of, worst_first
from tensionear.wheel.expected_pitch import higher_side
from tensionear.wheel.geometry import Side
from tensionear.wheel.judging import Judgement
from tensionear.wheel.model import Place, Wheel
from tensionear.wheel.roundplan import plan_round
from tensionear.wheel.sequence import Naming, name_plucks
from tensionear.wheel.sheet import EMPTY, Sheet, sheet_to_dict
from tensionear.wheel.sidefit import Group, ReadTension, Rings, SideTensions, fit_side

from .foreign import fit_bare, foreign_findings, hardly_heard, likely_rings
from .otherspoke import wheel_contradicted
from .pairs import touching_pairs
from .plucks import common_findings, listed, pluck_reading, unread_pluck
from .ringing import dull_rings
from .rounds import SpokeRings, refusal_of, rings_of, struck_of
from .second import Fellows, second_look
from .sharing import by_sound

#: Crossings at which a spoke sings by its whole length, as it is modelled here.
_WHOLE_LENGTH = ("apart", None)
#: Why no tension is given, by how spokes meet.
_NOT_TOLD = {
    "touching": (
        "these could not be read: pluck both of each pair, slanting between rim and axle; the wheel file must say how "
        "they are laced (crosses, first_runs, flange), and at least two pairs of a side must be heard"
    ),
    "pinched": "cannot be told apart yet",
    "tied": "cannot be told apart yet",
}
_MISFIT = 30.0
_EXCHANGED = 1.04  # by so much the wrong side must sound higher
_FAR = 0.25  # of ln T, from the middle of the side
_TWICE = 1.2  # plucks: so many to be expected means that two of them sound like this


def read_wheel(
    file: str,
    listened: Listened,
    wheel: Wheel,
    kinds: Sequence[Spoke],
    first: int,
    options: RoundOptions,
    sheet: Sheet = EMPTY,
) -> Reading:
    """Read a round.

    Parameters
    ----------
    file : str
    listened : Listened
        Heard once for each of ``kinds``.
    wheel : Wheel
    kinds : sequence of Spoke
        The distinct kinds of spoke of the wheel.
    first : int
        The spoke the round starts at.
    options : RoundOptions
    sheet : Sheet
        The other readings of the sitting.

    Raises
    ------
    UsageError
        If options name spokes or plucks that there are not.
    """
    naming = name_round(listed(listened), wheel, first, options)
    return read_named(file, listened, wheel, kinds, naming, options, sheet)


def name_round(strikes: Sequence[Strike], wheel: Wheel, first: int, options: RoundOptions) -> Naming:
    """Which strike is which spoke of this wheel."""
    check_plucks(options, len(strikes))
    sides = "".join("R" if place.side == "right" else "L" for place in wheel.places)
    higher = higher_side(wheel)
    letter = None if higher is None else higher[0].upper()
    plan = plan_round(wheel.spokes, sides, first, options.order, options.direction, options.missing, letter)
    return name_plucks(struck_of(strikes), plan, options.assign, options.skip)


def read_named(
    file: str,
    listened: Listened,
    wheel: Wheel,
    kinds: Sequence[Spoke],
    naming: Naming,
    options: RoundOptions,
    sheet: Sheet = EMPTY,
) -> Reading:
    """Read a round whose plucks are named already; ``naming`` has one entry for each of the ``listed`` strikes."""
    strikes = listed(listened)
    higher = higher_side(wheel)
    kind_of = {place.number: kinds.index(place.spoke) for place in wheel.places}
    crossing = {place.number: options.crossing or place.crossing for place in wheel.places}
    strikes, rings, fits = _whole_spokes(strikes, naming, wheel, kinds, options)
    pairs = touching_pairs(strikes, naming, wheel, crossing)
    single = {number: kind for number, kind in kind_of.items() if crossing[number] in _WHOLE_LENGTH}
    bare = fit_bare(wheel, rings, fits, likely_rings(strikes, naming, single, rings))
    other = wheel_contradicted(strikes, wheel, bare.looks, single)
    fits = {**bare.fits, **{side: found.tensions for side, found in pairs.sides.items()}}
    rings = {number: each for number, each in rings.items() if number not in bare.foreign}
    rings |= pairs.rings
    pitch = {side: _median_pitch([rings[number].rings for number in fit.spokes]) for side, fit in fits.items()}
    tensions = {number: one for fit in fits.values() for number, one in fit.spokes.items()}
    assessed = assess(wheel, tensions, sheet)
    judged = assessed.spokes
    unknown = any(value is None for value in crossing.values())
    sides = [[place.number for place in wheel.places if place.side == side] for side in wheel.sides]
    plucks = _plucks(strikes, naming, wheel, kind_of, fits, rings, options.skip)
    findings = (
        common_findings(strikes)
        + _naming_findings(naming)
        + _exchanged(pitch, higher)
        + _crossing_findings(crossing, pairs.told, by_sound(strikes, naming, sides) if unknown else "")
        + pairs.findings
        + other
        + ([] if other else foreign_findings(bare.foreign))
        + _misfits(tensions)
        + hardly_heard(bare.looks, tensions, judged)
        + dull_rings(plucks)
        + list(assessed.findings)
        + list(wheel.warnings)
        + list(wheel.calibrated)
    )
    complete = len(judged) == sum(place.leave_out is None for place in wheel.places)
    return Reading(
        file=file,
        job="wheel",
        title=wheel.name,
        duration_s=listened.duration_s,
        sample_rate_hz=listened.sample_rate_hz,
        warnings=listened.warnings,
        findings=worst_first(findings),
        verdict=None if other or _exchanged(pitch, higher) else _verdict(assessed, complete, unknown),
        plucks=tuple(plucks),
        spokes=tuple(
            _spoke_reading(place, tensions.get(place.number), judged.get(place.number), rings.get(place.number))
            for place in wheel.places
        ),
        sides={side: _side_reading(fit, judged, assessed.sides.get(side)) for side, fit in fits.items()},
        ends={side: fit.ends for side, fit in fits.items()},
        limits=limits_of(wheel),
        assumptions=_assumptions(wheel, bool(fits), unknown),
        units=wheel.units,
        probability_within=assessed.within if complete and not unknown else None,
        sheet=sheet_to_dict(sheet) or None,
    )


def usable_rings(
    strikes: Sequence[Strike], naming: Naming, wheel: Wheel, kinds: Sequence[Spoke], options: RoundOptions
) -> dict[int, SpokeRings]:
    """The rings of every spoke that can be read by its whole length."""
    kind_of = {place.number: kinds.index(place.spoke) for place in wheel.places}
    crossing = {place.number: options.crossing or place.crossing for place in wheel.places}
    rings = rings_of(strikes, naming, kind_of, LOG_TENSION)
    rings = {spoke: each for spoke, each in rings.items() if crossing[spoke] in _WHOLE_LENGTH}
    return _credible(rings, {place.number: place.side for place in wheel.places})


def _whole_spokes(
    strikes: tuple[Strike, ...], naming: Naming, wheel: Wheel, kinds: Sequence[Spoke], options: RoundOptions
) -> tuple[tuple[Strike, ...], dict[int, SpokeRings], dict[Side, SideTensions]]:
    """Spokes that sound by their whole length: the strikes after a second look, the rings of every spoke, the sides."""
    kind_of = {place.number: kinds.index(place.spoke) for place in wheel.places}
    rings = usable_rings(strikes, naming, wheel, kinds, options)
    fits = _sides(rings, wheel, wheel.sides)
    again = second_look(strikes, [_fellows(group) for fit in fits.values() for group in fit.groups], rings, kind_of)
    if again == strikes:
        return strikes, rings, fits
    heard_anew = {index for index, strike in enumerate(again) if strike is not strikes[index]}
    other = [side for side, fit in fits.items() if any(heard_anew & {*rings[number].strikes} for number in fit.spokes)]
    rings = usable_rings(again, naming, wheel, kinds, options)
    return again, rings, fits | _sides(rings, wheel, other)


def _sides(rings: Mapping[int, SpokeRings], wheel: Wheel, sides: Collection[Side]) -> dict[Side, SideTensions]:
    """Those of the sides that are read, fitted."""
    return {
        side: fit_side(places, {number: each.rings for number, each in rings.items()}, wheel.learned)
        for side in sides
        if (places := [place for place in wheel.places if place.side == side and place.number in rings])
    }


def _fellows(group: Group) -> Fellows:
    """What a fitted group teaches to listen for."""
    first = [group.places[list(group.which).index(model)] for model in range(len(group.models))]
    expected = [
        taught(expect(place.spoke, place.free_length_m), model, group.fit)
        for place, model in zip(first, group.models, strict=True)
    ]
    numbers = [place.number for place in group.places]
    return Fellows(numbers, [expected[model] for model in group.which], group.fit.moments()[0])


def check_plucks(options: RoundOptions, plucks: int) -> None:
    """Refuse options that name a pluck that was not heard."""
    for name, numbers in (("--assign", options.assign), ("--skip", options.skip)):
        for number in numbers:
            if number > plucks:
                raise UsageError(
                    f"{name} names pluck {number}, but only {plucks} were heard; count the listed plucks from 1"
                )


def _verdict(assessed: Assessment, complete: bool, unknown: bool) -> Verdict | None:
    """The verdict, which is never "within" while spokes are unread or their crossings unknown."""
    verdict = assessed.verdict
    if verdict == "out" or verdict is None:
        return verdict
    return verdict if complete and not unknown else "undecided"


def _plucks(
    strikes: Sequence[Strike],
    naming: Naming,
    wheel: Wheel,
    kind_of: Mapping[int, int],
    fits: Mapping[Side, SideTensions],
    rings: Mapping[int, SpokeRings],
    skip: Sequence[int],
) -> list[PluckReading]:
    """Every listed strike as it was used."""
    found = []
    for index, strike in enumerate(strikes):
        reason = refusal_of(strike, index, naming, skip)
        if reason is not None:
            found.append(unread_pluck(strike, reason))
            continue
        spoke = naming.spokes[index]
        assert spoke is not None
        place = wheel.place(spoke)
        planes: tuple[Plane, Plane] = ("flat", "edge") if place.spoke.is_flat else ("both", "both")
        heard, value = strike.heard[kind_of[spoke]], None
        if spoke in rings and index in rings[spoke].strikes:
            fitted = fits[place.side].spokes[spoke]
            value = (fitted.tension_n, fitted.u_tension_n)
        found.append(pluck_reading(strike, heard, planes, spoke, place.side, value))
    return found


def _spoke_reading(
    place: Place, tension: ReadTension | None, judged: Judgement | None, rings: SpokeRings | None
) -> SpokeReading:
    return SpokeReading(
        spoke=place.number,
        label=place.label,
        side=place.side,
        tension_n=tension.tension_n if tension else None,
        u_tension_n=tension.u_tension_n if tension else None,
        interval_95_n=tension.interval_95_n if tension else None,
        u_individual_n=tension.u_individual_n if tension else None,
        u_common_n=tension.u_common_n if tension else None,
        deviation_percent=100 * tension.deviation if tension else None,
        u_deviation_percent=100 * tension.u_deviation if tension else None,
        verdict=judged.verdict if judged else None,
        doubt=rings.doubt if rings else None,
        leave_out=place.leave_out,
        budget=tension.budget if tension else (),
    )


def _side_reading(fit: SideTensions, judged: Mapping[int, Judgement], verdict: Verdict | None) -> SideReading:
    deviations = [fit.spokes[number].deviation for number in fit.spokes if number in judged]
    spread = 50 * (max(deviations) - min(deviations)) if deviations else None
    return SideReading(fit.mean_n, fit.u_mean_n, spread, verdict)


def _naming_findings(naming: Naming) -> list[Finding]:
    found = [Finding("count-differs", text) for text in naming.warnings]
    if naming.closed:
        found.append(
            Finding("lap-closed", "the first spoke was plucked again at the end: the count is proven", (), "note")
        )
    return found


def _exchanged(pitch: Mapping[Side, float], higher: Side | None) -> list[Finding]:
    """Whether the sides sound the other way round than the wheel is built: then the round was numbered wrongly."""
    if higher is None or len(pitch) < 2:
        return []
    lower: Side = "left" if higher == "right" else "right"
    if pitch[higher] > pitch[lower] / _EXCHANGED:
        return []
    text = (
        f"the {lower} side sounds higher than the {higher}, against the build of the wheel: turn nothing on this reading; "
        "check --first, --order and --direction, and which side is which in the wheel file"
    )
    return [Finding("sides-exchanged", text)]


def _credible(rings: Mapping[int, SpokeRings], side_of: Mapping[int, Side]) -> dict[int, SpokeRings]:
    """Without the spokes of which both is doubtful: which pluck is theirs, and, so far off their side, what it sounds like.

    Two plucks that agree were heard rightly.
    """
    middle = {
        side: float(np.median([each.rings.start_log_tension for n, each in rings.items() if side_of[n] == side]))
        for side in {side_of[number] for number in rings}
    }
    return {
        number: each
        for number, each in rings.items()
        if each.doubt is None
        or each.plucks > _TWICE
        or abs(each.rings.start_log_tension - middle[side_of[number]]) < _FAR
    }


def _median_pitch(side: Sequence[Rings]) -> float:
    found = [line.frequency_hz for rings in side for heard in rings.heard for line in heard.first_modes(0)[:1]]
    return float(np.median(found))


def _crossing_findings(crossing: Mapping[int, str | None], told: frozenset[int], heard: str) -> list[Finding]:
    found = []
    if any(value is None for value in crossing.values()):
        numbers = tuple(number for number, value in crossing.items() if value is None)
        text = (
            "read as if spokes do not touch where they cross: say whether they do (crossing in the wheel file, or --crossing)"
            + heard
        )
        found.append(Finding("crossing-unknown", text, numbers))
    for state in ("touching", "pinched", "tied"):
        numbers = tuple(n for n, value in crossing.items() if value == state and n not in told)
        if numbers:
            text = f"spokes {state} at their crossings sound together and {_NOT_TOLD[state]}: no tension is given"
            found.append(Finding(f"crossing-{state}", text, numbers))
    return found


def _misfits(tensions: Mapping[int, ReadTension]) -> list[Finding]:
    """Spokes whose overtones no bare spoke of this kind has."""
    typical = float(np.median([one.misfit for one in tensions.values()])) if tensions else 0.0
    odd = tuple(number for number, one in sorted(tensions.items()) if one.misfit > max(_MISFIT, 6 * typical))
    if not odd:
        return []
    text = "overtones unlike a bare spoke's: look at it before turning anything"
    return [Finding("overtones-do-not-fit", text, odd, "fault")]


def _assumptions(wheel: Wheel, fitted: bool, unknown: bool) -> tuple[str, ...]:
    found = []
    for side, stated in wheel.sides.items():
        places = [place for place in wheel.places if place.side == side]
        length, u = places[0].free_length_m, places[0].u_length_m
        known = f"free length {1000 * length:.1f} mm, known to {1000 * u:.1f} mm (one standard deviation)"
        found.append(f"{side} side: {stated.spoke.name}, {known}")
    if fitted:
        found.append(
            "the ends of a side's spokes are of one kind; how stiff was found from the overtones or is in the +/-"
        )
    if unknown:
        found.append("spokes do not touch where they cross (not stated)")
    return tuple(found)
