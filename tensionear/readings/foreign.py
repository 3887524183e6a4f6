"""Spokes that something sits on, told by their overtones: left out of their side, and said. Imports wheel and reading."""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass

from tensionear.listening import Strike
from tensionear.pitch.lines import Heard
from tensionear.reading import Finding
from tensionear.wheel.foreign import Look, look_at
from tensionear.wheel.geometry import Side
from tensionear.wheel.judging import Judgement
from tensionear.wheel.model import Place, Wheel
from tensionear.wheel.sequence import Naming
from tensionear.wheel.sidefit import ReadTension, SideTensions, fit_side

from .rounds import SpokeRings


@dataclass(frozen=True, slots=True)
class BareSpokes:
    """The sides as fitted without the spokes that something sits on, what was seen of each spoke, and which those are."""

    fits: Mapping[Side, SideTensions]
    looks: Mapping[int, Look]
    foreign: tuple[int, ...]


def fit_bare(
    wheel: Wheel,
    rings: Mapping[int, SpokeRings],
    fitted: Mapping[Side, SideTensions],
    likely: Mapping[int, Heard],
) -> BareSpokes:
    """Look at the spokes of every fitted side, and fit it again without those that something sits on.

    ``likely`` are rings of spokes that cannot be read for a doubt about whose they are: these are looked at too.
    """
    fits = dict(fitted)
    looks: dict[int, Look] = {}
    for side, fit in fitted.items():
        places = [place for place in wheel.places if place.number in fit.spokes]
        own = {place.number: rings[place.number].rings for place in places}
        seen: dict[int, Look] = {}
        for group in fit.groups:
            like = group.places[0]
            unread = [place for place in wheel.places if place.number in likely and _alike(place, like)]
            heard = {place.number: own[place.number].heard for place in group.places}
            heard |= {place.number: (likely[place.number],) for place in unread}
            seen |= look_at(group.places, group.fit, heard, unread)
        bare = [place for place in places if not (place.number in seen and seen[place.number].is_loaded)]
        if not bare:
            del fits[side]
        elif len(bare) < len(places):
            fits[side] = fit_side(bare, own, wheel.learned)
        looks |= seen
    return BareSpokes(fits, looks, tuple(sorted(number for number, look in looks.items() if look.is_loaded)))


def _alike(one: Place, other: Place) -> bool:
    """Whether two spokes would be fitted together."""
    return (one.side, one.head, one.spoke) == (other.side, other.head, other.spoke)


def likely_rings(
    strikes: Sequence[Strike], naming: Naming, kind_of: Mapping[int, int], read: Collection[int]
) -> dict[int, Heard]:
    """The likeliest ring of every spoke that has one and is not among those that can be read."""
    found = {}
    for spoke, candidates in naming.candidates.items():
        if spoke in read or spoke not in kind_of:
            continue
        index = max(candidates, key=lambda each: each.probability).index if candidates else None
        if index is not None and naming.spokes[index] == spoke:
            found[spoke] = strikes[index].heard[kind_of[spoke]]
    return found


def foreign_findings(foreign: Sequence[int]) -> list[Finding]:
    """What is said of spokes that something sits on."""
    if not foreign:
        return []
    text = (
        "overtones of a spoke that something sits on (magnet, reflector, tag, tape): take it off and pluck again; "
        "no tension is given, and it does not count in the mean of its side"
    )
    return [Finding("something-on-spoke", text, tuple(foreign), "fault")]


def hardly_heard(
    looks: Mapping[int, Look], tensions: Mapping[int, ReadTension], judged: Mapping[int, Judgement]
) -> list[Finding]:
    """Spokes that read slack, and of whose overtones too little was heard to be sure that nothing sits on them."""
    doubtful = tuple(
        number
        for number, one in sorted(tensions.items())
        if one.deviation < 0
        and number in judged
        and judged[number].verdict != "within"
        and number in looks
        and not looks[number].is_surely_bare(one.deviation)
    )
    if not doubtful:
        return []
    text = "reads slack, but too few of its overtones were heard to be sure that nothing sits on it: look, and pluck it again"
    return [Finding("pluck-again", text, doubtful)]
