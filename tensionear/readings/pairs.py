"""Touching spokes of a round: both plucks of each pair brought together, and what is said of them. Imports listening, wheel."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from tensionear.listening import Strike
from tensionear.physics.rounding import rounded
from tensionear.reading import Finding
from tensionear.wheel.geometry import Side
from tensionear.wheel.model import Wheel
from tensionear.wheel.pairside import SidePairs, can_split, fit_pair_side
from tensionear.wheel.sequence import Naming
from tensionear.wheel.sidefit import Rings

from .plucks import fault_of
from .rounds import SpokeRings


@dataclass(frozen=True, slots=True)
class PairReadings:
    """Sides of touching pairs; ``rings`` of the spokes that were split, ``told`` all of whom something is said."""

    sides: Mapping[Side, SidePairs]
    rings: Mapping[int, SpokeRings]
    told: frozenset[int]
    findings: list[Finding]


def touching_pairs(
    strikes: Sequence[Strike], naming: Naming, wheel: Wheel, crossing: Mapping[int, str | None]
) -> PairReadings:
    """Read the touching spokes of a wheel, side by side."""
    chosen = {
        place.number: index
        for place in wheel.places
        if crossing[place.number] == "touching" and can_split(place)
        if (index := pluck_of(strikes, naming, place.number)) is not None
    }
    sides: dict[Side, SidePairs] = {}
    for side in wheel.sides:
        places = [place for place in wheel.places if place.side == side and place.number in chosen]
        kept = {n: ring for n, index in chosen.items() if (ring := strikes[index].kept) is not None}
        found = fit_pair_side(places, kept)
        if found is not None and found.tensions.spokes:
            sides[side] = found
    rings = {}
    for found in sides.values():
        for number, one in found.tensions.spokes.items():
            heard = strikes[chosen[number]].heard[strikes[chosen[number]].best]
            rings[number] = SpokeRings(Rings((heard,), float(np.log(one.tension_n))), (chosen[number],), None, 1.0)
    means = [mean for found in sides.values() for mean in found.means]
    told = frozenset([*rings, *(number for mean in means for number in mean.spokes)])
    return PairReadings(sides, rings, told, _findings(wheel, sides))


def pluck_of(strikes: Sequence[Strike], naming: Naming, spoke: int) -> int | None:
    """The loudest good pluck that is surely this spoke's."""
    own = [
        index
        for index, strike in enumerate(strikes)
        if naming.spokes[index] == spoke and naming.sure[index] and fault_of(strike) is None and strike.kept is not None
    ]
    return max(own, key=lambda index: strikes[index].level_db) if own else None


def _findings(wheel: Wheel, sides: Mapping[Side, SidePairs]) -> list[Finding]:
    """The means of pairs that could not be split."""
    means = [mean for found in sides.values() for mean in found.means]
    if not means:
        return []
    each = "; ".join(
        f"{wheel.place(mean.spokes[0]).label} and {wheel.place(mean.spokes[1]).label} mean "
        f"{' +/- '.join(rounded(mean.tension_n, 1.96 * mean.u_tension_n))} N"
        for mean in means
    )
    text = f"touching spokes whose difference cannot be told, only their mean: {each}"
    return [Finding("pair-not-split", text, tuple(number for mean in means for number in mean.spokes))]
