"""What changed between two rounds of a wheel, and how surely. Pure; imports reading, values and errors.

What all spokes of a side share - length, section, density, the model of the ends - is off by the same share in both rounds if
the wheel is described alike, and so it nearly drops out of a change. What is left of it was measured on simulated wheels read
at two sittings (`NOT_SHARED`), and so was how far each spoke's own uncertainty tells what another pluck would say (`OWN`).
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, replace
from statistics import NormalDist, fmean, median
from typing import Any, Literal

from tensionear.errors import LogError
from tensionear.reading import Reading, SpokeReading, Units
from tensionear.texts import toml_from

from .values import KeptRound

#: Half the central 95 % interval of a normal distribution over its standard deviation.
COVERAGE = 1.96
#: The part of the common uncertainty that shows in a change between two sittings of one wheel described alike: so that 95 % of
#: the changes of unchanged sides' means are inside 1.96 of what is made of it. 0.57 on 30 simulated wheels
#: (``python -m benchmarks.sittings --first 5100``).
NOT_SHARED = 0.57
#: The same of a spoke's own uncertainty, the change of its side taken off. 0.90 on the same wheels.
OWN = 0.9
#: The same where only the number of spokes is known: 2.1 there, since a spoke heard in another plane's partials shows less.
OWN_ALONE = 2.1
#: How much farther than a normal distribution's the bound lies beyond which a spoke is said to have moved: the scatter between
#: sittings has long tails (a partial taken for another plane's). With 1.5, one of 716 unchanged spokes passed it there, those
#: left out that were heard as another state by 10 % and more, which no bound can hold.
TAIL = 1.5
#: Degrees between two sittings from which the level is not compared: 20 K are up to 100 N by the rim's material.
MOST_APART_C = 5.0

Word = Literal["moved", "perhaps", "still"]
Basis = Literal["tension", "evenness"]


@dataclass(frozen=True, slots=True)
class Terms:
    """On what terms two rounds are compared.

    ``basis``: tensions, or only deviations from the side's mean. ``alike``: wheel and model are described alike, so that what
    spokes share drops out. ``said`` tells the reader why not.
    """

    basis: Basis = "tension"
    alike: bool = True
    said: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class SpokeChange:
    """One spoke: ``change`` with its standard uncertainty ``u_change``, in N or (evenness) in points of percent.

    In evenness ``change`` counts from the middle one of the side's changes, so that a spoke that lost much, which moves the
    mean, does not move the others. ``moved``: beyond what chance makes of any of all spokes (95 % for the wheel, and `TAIL`
    times as far); ``perhaps``: beyond 95 % for this spoke alone, which one in twenty unchanged ones is as well; ``still``:
    not beyond. None where one of the two is not known.
    """

    spoke: int
    label: str
    side: str
    before: float | None
    after: float | None
    change: float | None
    u_change: float | None
    word: Word | None


@dataclass(frozen=True, slots=True)
class SideChange:
    """The mean of a side, N: None where only evenness is compared. ``percent`` is of the mean before."""

    before_n: float | None
    after_n: float | None
    change_n: float | None
    u_change_n: float | None
    percent: float | None
    u_percent: float | None
    spread_before_percent: float | None
    spread_after_percent: float | None


@dataclass(frozen=True, slots=True)
class Changes:
    """All changes between two rounds, on what terms they were compared, and the unit that stands for N if not newtons."""

    terms: Terms
    spokes: tuple[SpokeChange, ...]
    sides: Mapping[str, SideChange]
    units: Units = "N"


def compare_rounds(before: KeptRound, after: KeptRound) -> Changes:
    """What changed from one kept round to another of the same wheel.

    Raises
    ------
    LogError
        If a round is unfinished, is no round of a whole wheel, or the two are of wheels laced otherwise.
    """
    first, second = _whole(before), _whole(after)
    if len(first.spokes) != len(second.spokes):
        raise LogError(
            f"round {before.row.id} is of a wheel of {len(first.spokes)} spokes, round {after.row.id} of one of "
            f"{len(second.spokes)}; compare rounds of one wheel"
        )
    if {each.side for each in first.spokes} != {each.side for each in second.spokes}:
        raise LogError(
            f"rounds {before.row.id} and {after.row.id} name their sides otherwise; read both with the wheel file, "
            "or both with the number of spokes alone"
        )
    return changes_between(first, second, terms_of(before, after))


def changes_between(before: Reading, after: Reading, terms: Terms | None = None) -> Changes:
    """What changed from one reading to another of the same spokes.

    Parameters
    ----------
    before, after : Reading
        With the same spokes and sides.
    terms : Terms, optional
        By default of tensions, of a wheel described alike.
    """
    terms = terms or Terms()
    if terms.basis == "tension" and not (_has_tensions(before) and _has_tensions(after)):
        terms = Terms(
            "evenness", terms.alike, (*terms.said, "no tensions are known in both rounds: evenness is compared")
        )
    later = {spoke.spoke: spoke for spoke in after.spokes}
    pairs = [(spoke, later[spoke.spoke]) for spoke in before.spokes if spoke.spoke in later]
    own = OWN_ALONE if "evenness" in (before.job, after.job) else OWN
    changed = [(one, _change(one, two, terms, own)) for one, two in pairs]
    if terms.basis == "evenness":
        changed = _from_the_middle(changed)
    surely = TAIL * _beyond(sum(found.change is not None for _, found in changed))
    spokes = tuple(
        SpokeChange(
            one.spoke,
            one.label,
            one.side,
            found.before,
            found.after,
            found.change,
            found.u_change,
            _word(found.change, found.u_change, surely),
        )
        for one, found in changed
    )
    sides = {side: _side_change(before, after, side, terms) for side in before.sides if side in after.sides}
    return Changes(terms, spokes, sides, before.units)


def terms_of(before: KeptRound, after: KeptRound) -> Terms:
    """On what terms two rounds may be compared: level only in like states, and all of it told."""
    said: list[str] = []
    basis: Basis = "tension"
    if before.row.title.casefold() != after.row.title.casefold():
        said.append(f"the rounds are named otherwise ({before.row.title}; {after.row.title}): taken for one wheel")
    unlike = _unlike_states(before, after)
    if unlike:
        basis = "evenness"
        said.append(f"{unlike}: tensions are not compared, only how even each side is")
    alike = _described(before.asked.wheel_text) == _described(after.asked.wheel_text)
    if not alike:
        said.append(
            "the wheel is described otherwise in the two rounds: the +/- of a change counts both descriptions in full"
        )
    if before.model != after.model:
        alike = False
        said.append(
            f"the rounds were read by models {before.model} and {after.model}; read the older one again with "
            "tensionear log reread, then compare"
        )
    return Terms(basis, alike, tuple(said))


def _unlike_states(before: KeptRound, after: KeptRound) -> str:
    """How the states of two rounds differ so that their levels may not be compared; empty if they do not."""
    one, two = before.state, after.state
    if (one.tyre or "none") != (two.tyre or "none"):
        return f"the tyre was {_tyre(one.tyre)} in round {before.row.id} and {_tyre(two.tyre)} in round {after.row.id}"
    if one.tyre == "inflated" and one.pressure_kpa != two.pressure_kpa:
        told = " and ".join(
            "unknown" if each.pressure_kpa is None else f"{each.pressure_kpa:g} kPa" for each in (one, two)
        )
        return f"the tyre's pressure was {told}"
    known = one.temperature_c is not None and two.temperature_c is not None
    if known and abs((one.temperature_c or 0.0) - (two.temperature_c or 0.0)) > MOST_APART_C:
        return f"it was {one.temperature_c:g} and {two.temperature_c:g} degrees C"
    return ""


def _tyre(state: str | None) -> str:
    return {"none": "off", None: "off"}.get(state, state or "off")


def _whole(kept: KeptRound) -> Reading:
    """The reading of a round of a whole wheel."""
    if kept.reading is None:
        raise LogError(f"round {kept.row.id} is unfinished and has no reading; finish it first, or choose another")
    if not kept.reading.spokes:
        raise LogError(f"round {kept.row.id} is of single plucks; only rounds of a whole wheel can be compared")
    return kept.reading


def _described(text: str | None) -> dict[str, Any] | None:
    """What of a wheel file bears on tensions: all but name, limits and state."""
    if text is None:
        return None
    try:
        told = toml_from(text)
    except ValueError:
        return {"text": text}
    return {key: value for key, value in told.items() if key not in ("name", "limits", "state", "units")}


def _has_tensions(reading: Reading) -> bool:
    return any(spoke.tension_n is not None for spoke in reading.spokes)


@dataclass(frozen=True, slots=True)
class _Change:
    """A change before it is judged."""

    before: float | None
    after: float | None
    change: float | None
    u_change: float | None


def _change(one: SpokeReading, two: SpokeReading, terms: Terms, shows: float) -> _Change:
    """Before, after, change and its standard uncertainty, on the basis of the terms; ``shows`` is the part of their own."""
    if terms.basis == "evenness":
        before, after = one.deviation_percent, two.deviation_percent
        u = shows * math.hypot(one.u_deviation_percent or 0.0, two.u_deviation_percent or 0.0)
    else:
        before, after = one.tension_n, two.tension_n
        own = shows * math.hypot(_own(one), _own(two))
        u = math.hypot(own, _common(one.u_common_n or 0.0, two.u_common_n or 0.0, before, after, terms))
    if before is None or after is None:
        return _Change(before, after, None, None)
    return _Change(before, after, after - before, u)


def _own(spoke: SpokeReading) -> float:
    """Its own standard uncertainty, N: all of it where the parts are not told apart."""
    return (spoke.u_tension_n if spoke.u_individual_n is None else spoke.u_individual_n) or 0.0


def _from_the_middle(changed: list[tuple[SpokeReading, _Change]]) -> list[tuple[SpokeReading, _Change]]:
    """Changes of deviations from the mean, counted from the median of those of their side."""
    known: dict[str, list[float]] = {}
    for one, found in changed:
        if found.change is not None:
            known.setdefault(one.side, []).append(found.change)
    middle = {side: median(changes) for side, changes in known.items()}
    return [
        (one, found if found.change is None else replace(found, change=found.change - middle[one.side]))
        for one, found in changed
    ]


def _common(u_one: float, u_two: float, before: float | None, after: float | None, terms: Terms) -> float:
    """What is left of the common uncertainty in a change: all of both if described otherwise; else the part that differs
    between sittings, and the shared part as a share of the change itself (an error of scale scales the change too)."""
    if not terms.alike:
        return math.hypot(u_one, u_two)
    mean_u = (u_one + u_two) / 2
    if not before or not after:
        return NOT_SHARED * mean_u
    return math.hypot(NOT_SHARED * mean_u, (after - before) * u_one / before)


def _beyond(count: int) -> float:
    """How many standard uncertainties none of ``count`` unchanged spokes exceeds, with 95 % (Sidak, 1967)."""
    each = 0.95 ** (1 / max(count, 1))
    return NormalDist().inv_cdf((1 + each) / 2)


def _word(change: float | None, u: float | None, surely: float) -> Word | None:
    if change is None or u is None:
        return None
    if abs(change) > surely * u:
        return "moved"
    return "perhaps" if abs(change) > COVERAGE * u else "still"


def _side_change(before: Reading, after: Reading, side: str, terms: Terms) -> SideChange:
    """The change of a side's mean and spread."""
    one, two = before.sides[side], after.sides[side]
    spreads = (one.spread_percent, two.spread_percent)
    if terms.basis == "evenness" or one.mean_n is None or two.mean_n is None:
        return SideChange(None, None, None, None, None, None, *spreads)
    own = math.hypot(_own_mean(before, side), _own_mean(after, side))
    u = math.hypot(own, _common(one.u_mean_n or 0.0, two.u_mean_n or 0.0, one.mean_n, two.mean_n, terms))
    change = two.mean_n - one.mean_n
    percents = (100 * change / one.mean_n, 100 * u / one.mean_n)
    return SideChange(one.mean_n, two.mean_n, change, u, *percents, *spreads)


def _own_mean(reading: Reading, side: str) -> float:
    """What the spokes' own uncertainties leave in the mean of their side."""
    found = [
        spoke.u_individual_n for spoke in reading.spokes if spoke.side == side and spoke.u_individual_n is not None
    ]
    return math.sqrt(fmean(u * u for u in found) / len(found)) if found else 0.0
