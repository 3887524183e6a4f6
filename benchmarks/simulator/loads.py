"""Something that sits on a spoke - a magnet, a reflector, a tag, tape - or rattles there, drawn by chance. Numpy only."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from benchmarks.simulator.beam import PointMass

PLACE = (0.15, 0.85)
EXTENT_M = (0.006, 0.025)
DAMPING = (1.0, 3.0)
"""By what factor a thing that sits on a spoke shortens its ring; judgement, no source."""


@dataclass(frozen=True, slots=True)
class Load:
    """A thing on spoke ``spoke``: two halves of ``mass_kg``, ``extent_m`` apart about ``place`` (share of the length from
    the hub), so that it resists being turned too; every partial dies ``damping`` times sooner."""

    spoke: int
    mass_kg: float
    place: float
    extent_m: float
    damping: float

    def masses(self, length_m: float) -> tuple[PointMass, ...]:
        """The two halves on a spoke of this length; none where there is no mass."""
        if self.mass_kg == 0:
            return ()
        middle = self.place * length_m
        return tuple(PointMass(middle + half * self.extent_m / 2, self.mass_kg / 2) for half in (-1, 1))


def draw_load(rng: np.random.Generator, spoke: int, mass_kg: float) -> Load:
    """A thing of this mass anywhere but close to the ends."""
    place, extent_m = float(rng.uniform(*PLACE)), float(rng.uniform(*EXTENT_M))
    return Load(spoke, mass_kg, place, extent_m, float(np.exp(rng.uniform(*np.log(DAMPING)))))


def rattle(spoke: int, damping: float) -> Load:
    """Nothing of weight, but the ring dies this many times sooner: it buzzes against something, or is cracked."""
    return Load(spoke, 0.0, 0.5, EXTENT_M[0], damping)
