"""Pinched spokes of a round, side by side. Imports listening, wheel, readings.pairs."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from tensionear.listening import Strike
from tensionear.wheel.geometry import Side
from tensionear.wheel.heldside import can_hold, fit_held_side
from tensionear.wheel.model import Wheel
from tensionear.wheel.sequence import Naming
from tensionear.wheel.sidefit import Rings, SideTensions

from .pairs import pluck_of
from .rounds import SpokeRings


@dataclass(frozen=True, slots=True)
class HeldReadings:
    """Sides of pinched spokes, and the rings of those that were told."""

    sides: Mapping[Side, SideTensions]
    rings: Mapping[int, SpokeRings]


def pinched_spokes(
    strikes: Sequence[Strike], naming: Naming, wheel: Wheel, crossing: Mapping[int, str | None]
) -> HeldReadings:
    """Read the pinched spokes of a wheel, side by side."""
    chosen = {
        place.number: index
        for place in wheel.places
        if crossing[place.number] == "pinched" and can_hold(place)
        if (index := pluck_of(strikes, naming, place.number)) is not None
    }
    sides: dict[Side, SideTensions] = {}
    rings: dict[int, SpokeRings] = {}
    for side in wheel.sides:
        places = [place for place in wheel.places if place.side == side and place.number in chosen]
        kept = {n: ring for n, index in chosen.items() if (ring := strikes[index].kept) is not None}
        found = fit_held_side(places, kept)
        if found is None:
            continue
        sides[side] = found
        for number, one in found.spokes.items():
            strike = strikes[chosen[number]]
            heard = Rings((strike.heard[strike.best],), float(np.log(one.tension_n)))
            rings[number] = SpokeRings(heard, (chosen[number],), None, 1.0)
    return HeldReadings(sides, rings)
