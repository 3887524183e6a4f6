"""Whether overtones contradict the spoke a wheel file states, and which would fit them. Imports physics, pitch, catalogue.

By similarity a spoke of the same shape that is x times as thick, or sqrt(x) times as short, has the same partials but at
another tension and another stiffness of its ends, all ln f raised by ln x. So one grid of states serves all sizes of a shape;
whatever tension and ends a pluck has, its overtones tell x alone. Materials of one stiffness per weight sound the same.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from tensionear.catalogue import library_spoke, spoke_ids
from tensionear.physics.expectation import END_SHARES, bending_planes
from tensionear.physics.modes import even_table
from tensionear.physics.spoke import Spoke
from tensionear.pitch.salience import Salient, score

Array = NDArray[np.float64]

#: Of the best fit's score: below this the stated spoke is contradicted. Chosen on simulated rounds, seeds 3000 to 3015.
#: ``ALONE`` where fewer plucks than ``ENOUGH`` tell.
CONTRADICTED, ALONE, ENOUGH = 0.9, 0.75, 4
_MOST = 12  # plucks that are asked
_LOG_TENSION = np.arange(math.log(60.0), math.log(3000.0), 0.005)
_ENDS = END_SHARES[2::2]
_MODES = 10
_WIDTH = 0.002  # of ln f: as near a partial must come, with the grid no finer than it is
_STEP, _SIZES = 0.015, 24  # of ln x, and how many steps other sizes are tried to either side
_LEAST_TOLERANCE, _SIGMAS = 0.02, 2.0  # of ln x, and standard uncertainties of it that the file leaves open
_SURE = 0.6  # a stated kind that explains so much, and no other size clearly more, is not asked further
_AS_GOOD, _NEAR = 0.95, 0.06
_ALIKE = 0.88  # of the best score: a spoke of the stated material that fits so well is the one that is named


@dataclass(frozen=True, slots=True)
class Fit:
    """How well a kind of spoke fits: score, median share 0..1 of what was heard that it explains, ln of the likelihood, ln x."""

    score: float
    explained: float
    log_likelihood: float
    log_size: float = 0.0


@dataclass(frozen=True, slots=True)
class Contradiction:
    """What the stated spoke makes of the overtones, the best of the library (its id), and the stated shape at its best size."""

    stated: Fit
    kind_id: str
    catalogued: Fit
    resized: Fit

    @property
    def odds(self) -> float:
        """Common logarithm of the likelihood ratio of the best fit to the stated spoke."""
        best = max(self.catalogued.log_likelihood, self.resized.log_likelihood)
        return (best - self.stated.log_likelihood) / math.log(10)


def contradiction(
    rings: Sequence[Salient], spoke: Spoke, free_lengths_m: Sequence[float], u_length_m: float
) -> Contradiction | None:
    """Whether plucks of one stated kind of spoke are another's.

    Parameters
    ----------
    rings : sequence of Salient
        What stands out of each pluck, the loudest first.
    spoke : Spoke
        As stated.
    free_lengths_m : sequence of float
        Of its places; which pluck has which is not asked.
    u_length_m : float
        Standard uncertainty of the lengths.

    Returns
    -------
    Contradiction or None
        None where the stated spoke fits, or nothing was plucked.
    """
    if not rings:
        return None
    limit = CONTRADICTED if len(rings) >= ENOUGH else ALONE
    heard = _Heard(rings[:_MOST])
    length_m = float(np.median(free_lengths_m))
    grids = _grids(spoke, length_m)
    open_ = _tolerance(spoke, u_length_m / length_m)
    low, high = (-2 * math.log(end / length_m) for end in (max(free_lengths_m), min(free_lengths_m)))
    stated = heard.best(grids, low - open_ + (high - low + 2 * open_) * np.arange(5) / 4)
    others = _STEP * np.arange(-_SIZES, _SIZES + 1)
    resized = heard.best(grids, np.asarray(others[(others < low - open_) | (others > high + open_)]))
    if stated.score > limit * resized.score and stated.explained > _SURE:
        return None
    fits = {
        name: heard.best(_grids(library_spoke(name), length_m), np.array([-0.015, 0.0, 0.015])) for name in spoke_ids()
    }
    top = max(fit.score for fit in fits.values())
    if stated.score > limit * max(top, resized.score):
        return None
    good = [name for name, fit in fits.items() if fit.score >= _ALIKE * top]
    kin = [name for name in good if library_spoke(name).material.name == spoke.material.name] or good
    named = max(kin, key=lambda name: fits[name].score)
    return Contradiction(stated, named, fits[named], resized)


def _tolerance(spoke: Spoke, u_length: float) -> float:
    """How far ln x may be off by what the file itself leaves open."""
    made = [(each.flat_stiffness - each.linear_density) / 2 for each in spoke.tolerances()]
    return max(_LEAST_TOLERANCE, _SIGMAS * math.hypot(2 * u_length, *made))


@lru_cache(maxsize=128)
def _grids(spoke: Spoke, free_length_m: float) -> tuple[Array, ...]:
    """ln f over tensions and ends, shape (tensions, ends, modes), a bending plane."""
    found = []
    for plane in bending_planes(spoke):
        table = even_table(spoke.stretches(free_length_m), plane)
        ends = np.log(table.middle_stiffness_n_m * _ENDS / (1 - _ENDS))
        found.append(table.over_grid(_LOG_TENSION, ends)[:, :, :_MODES])
    return tuple(found)


class _Heard:
    """Rings, each with its landscape."""

    def __init__(self, rings: Sequence[Salient]) -> None:
        self.rings = rings
        self.landscapes = [ring.landscape(_WIDTH) for ring in rings]

    def best(self, grids: Sequence[Array], sizes: Array) -> Fit:
        """The best of these sizes (ln x), every ring at its own best state; its size is the middle of those about as good."""
        fits = [self._fit(grids, float(size)) for size in sizes]
        top = max(fits, key=lambda fit: fit.score)
        near = [
            fit.log_size
            for fit in fits
            if fit.score > _AS_GOOD * top.score and abs(fit.log_size - top.log_size) < _NEAR
        ]
        return replace(top, log_size=float(np.mean(near or [top.log_size])))

    def _fit(self, grids: Sequence[Array], log_size: float) -> Fit:
        series = [logs + log_size for logs in grids]
        total, explained, log_likelihood = 0.0, [], 0.0
        for ring, landscape in zip(self.rings, self.landscapes, strict=True):
            scores = score(landscape, series)
            at = np.unravel_index(int(np.argmax(scores)), scores.shape)
            found = [logs[at] for logs in series]
            total += float(scores[at])
            explained.append(ring.explained(found))
            log_likelihood += ring.log_likelihood(found)
        return Fit(total / len(self.rings), float(np.median(explained)), log_likelihood, log_size)
