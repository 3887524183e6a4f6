"""What the fit of touching pairs is told of a side, and what it finds. Imports ``spoke`` only."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from .spoke import Stretch

Array = NDArray[np.float64]


@dataclass(frozen=True, slots=True, eq=False)
class PairSide:
    """What is known of a side's touching pairs: the spoke, where it crosses (m from the hub, rad), tolerances as in
    ``inverse.SpokeModel`` (sources, 4)."""

    stretches: tuple[Stretch, ...]
    place_m: float
    angle_rad: float
    tolerances: Array


@dataclass(frozen=True, slots=True, eq=False)
class PairsFit:
    """Posterior of a side's pairs: ``log_tension`` (pairs, 2); ``individual`` (pairs, 2, 2) with the shared held; ``loading``
    (pairs, 2, shared) and ``shared_covariance``; ``matched`` lines and their ``share`` of what was heard, the ``misfit`` and by
    how much the ``mirror``
    solution is dearer, all (pairs,); ``told`` (pairs,) whether a low mode of the wheel plane was heard in both plucks."""

    log_tension: Array
    individual: Array
    loading: Array
    shared: Array
    shared_covariance: Array
    matched: NDArray[np.intp]
    share: Array
    misfit: Array
    mirror: Array
    told: NDArray[np.bool_]
    cost: float

    def covariance(self) -> Array:
        """Of all ln T, shape (2 pairs, 2 pairs)."""
        pairs = len(self.log_tension)
        through = self.loading.reshape(2 * pairs, -1)
        total = through @ self.shared_covariance @ through.T
        for pair in range(pairs):
            own = slice(2 * pair, 2 * pair + 2)
            total[own, own] += self.individual[pair]
        return np.asarray(total)
