"""A wheel judged from tensions in a table instead of a recording. Imports wheel and reading."""

from __future__ import annotations

import math
from collections.abc import Mapping

from tensionear.reading import Reading, SideReading, SpokeReading, Verdict
from tensionear.wheel.assessment import assess, limits_of
from tensionear.wheel.comparison import Known, as_card
from tensionear.wheel.judging import Judgement
from tensionear.wheel.model import Place, Wheel
from tensionear.wheel.sheet import Sheet, sheet_to_dict
from tensionear.wheel.sidefit import ReadTension


def read_table(file: str, wheel: Wheel, known: Mapping[int, Known], sheet: Sheet) -> Reading:
    """The wheel with tensions as known from elsewhere, judged; spokes without one are unread.

    A tension with a stated uncertainty has it as its own; one without has 7 %, of which 2.5 % are its own.
    """
    tensions: dict[int, ReadTension] = {}
    for side in wheel.sides.values():
        tensions |= _of_side({number: known[number] for number in side.numbers if number in known})
    assessed = assess(wheel, tensions, sheet)
    wanted = {place.number for place in wheel.places if place.leave_out is None}
    complete = wanted <= tensions.keys()
    verdict = "undecided" if assessed.verdict == "within" and not complete else assessed.verdict
    places = wheel.places if tensions else ()
    spokes = tuple(_spoke(place, tensions.get(place.number), assessed.spokes.get(place.number)) for place in places)
    sides: dict[str, SideReading] = {
        side: _side([tensions[n] for n in each.numbers if n in tensions and n in wanted], assessed.sides.get(side))
        for side, each in wheel.sides.items()
        if any(n in tensions for n in each.numbers)
    }
    return Reading(
        file=file,
        job="wheel",
        title=wheel.name,
        duration_s=0.0,
        sample_rate_hz=0.0,
        warnings=(),
        findings=(*assessed.findings, *wheel.warnings),
        verdict=verdict,
        plucks=(),
        spokes=spokes,
        sides=sides,
        ends={},
        limits=limits_of(wheel),
        assumptions=(f"tensions from {file}",) if tensions else (),
        probability_within=assessed.within if complete else None,
        sheet=sheet_to_dict(sheet) or None,
    )


def _of_side(known: Mapping[int, Known]) -> dict[int, ReadTension]:
    """The spokes of one side as a fit would give them."""
    mean = sum(one.tension_n for one in known.values()) / max(len(known), 1)
    found = {}
    for number, one in as_card(known).items():
        value, least = one.tension_n, 1e-6 * one.tension_n
        u = max(one.u_tension_n or 0.0, least)
        own = u if one.u_own_n is None else one.u_own_n
        common, deviation = math.sqrt(u**2 - own**2), value / mean - 1
        interval = (value - 1.96 * u, value + 1.96 * u)
        found[number] = ReadTension(value, u, interval, own, common, deviation, own / mean, 2.2, 1.0)
    return found


def _spoke(place: Place, one: ReadTension | None, judged: Judgement | None) -> SpokeReading:
    return SpokeReading(
        spoke=place.number,
        label=place.label,
        side=place.side,
        tension_n=one.tension_n if one else None,
        u_tension_n=one.u_tension_n if one else None,
        interval_95_n=one.interval_95_n if one else None,
        u_individual_n=one.u_individual_n if one else None,
        u_common_n=one.u_common_n if one else None,
        deviation_percent=100 * one.deviation if one else None,
        u_deviation_percent=100 * one.u_deviation if one else None,
        verdict=judged.verdict if judged else None,
        leave_out=place.leave_out,
    )


def _side(group: list[ReadTension], verdict: Verdict | None) -> SideReading:
    if not group:
        return SideReading(None, None, None, None)
    mean = sum(one.tension_n for one in group) / len(group)
    common = sum(one.u_common_n for one in group) / len(group)
    own = math.sqrt(sum(one.u_individual_n**2 for one in group)) / len(group)
    deviations = [one.deviation for one in group]
    spread = 50 * (max(deviations) - min(deviations))
    return SideReading(mean, math.hypot(common, own), spread, verdict)
