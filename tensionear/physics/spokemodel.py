"""A spoke as the joint fit takes it: mode tables, and what its tolerances do to them. Imports ``modes``."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from .modes import MODES, ModeTable

Array = NDArray[np.float64]


@dataclass(frozen=True, slots=True, eq=False)
class ThickEnds:
    """Ends that change otherwise than the middle: the round ends of a flat spoke.

    ``slopes`` gives for each plane the derivatives of ln f by ln of their mass and of their stiffness; ``beyond`` (tolerances,
    3) by how much one standard deviation of each tolerance changes mass per length, flat and edge stiffness of the ends more
    than those of the middle.
    """

    slopes: tuple[tuple[ModeTable, ModeTable], tuple[ModeTable, ModeTable]]
    beyond: Array

    def log_frequencies(self, plane: int, *at: Array) -> Array:
        """What each tolerance adds to ln f at ln T and both ln k, all (points,); shape (points, MODES, tolerances)."""
        by_mass, by_stiffness = (table.log_frequencies(*at)[0] for table in self.slopes[plane])
        return by_mass[..., None] * self.beyond[:, 0] + by_stiffness[..., None] * self.beyond[:, 1 + plane]


@dataclass(frozen=True, slots=True, eq=False)
class SpokeModel:
    """One kind of spoke at one free length: a table for each plane and the effect of each tolerance.

    ``tables`` has two entries (twice the same for a round spoke). ``tolerances`` (sources, 4) gives, for one standard
    deviation of each source, the relative change of length, mass per length, flat and edge stiffness. ``bends`` (further
    sources, 2, MODES) gives for others what they add to ln f of each plane's partials. The tolerances hold for the spoke from
    end to end but for its ``thick_ends``.
    """

    tables: tuple[ModeTable, ModeTable]
    tolerances: Array
    sources: tuple[str, ...]
    bends: Array = field(default_factory=lambda: np.zeros((0, 2, MODES)))
    thick_ends: ThickEnds | None = None
