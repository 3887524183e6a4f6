"""How alike two plucks sound, by their overtones: the same spoke twice, or another one. Imports numpy only."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]

_MOST_LINES, _WITHIN_DB = 12, 30.0
_QUANTILE = 0.4
_WEIGHT = 0.3  # power of the amplitude
FARTHEST_CENTS, NEAREST_CENTS = 1000.0, 0.05


def distance_cents(first_hz: Array, first_db: Array, second_hz: Array, second_db: Array) -> float:
    """Distance of two sets of lines in cents.

    Each strong line's distance to the nearest line of the other, a weighted quantile of that below the median (the planes of
    a spoke are not plucked alike twice), and the geometric mean of both directions; the farthest distance where one is empty.
    """
    if len(first_hz) == 0 or len(second_hz) == 0:
        return FARTHEST_CENTS
    one = _directed(first_hz, first_db, second_hz)
    other = _directed(second_hz, second_db, first_hz)
    return float(np.clip(np.sqrt(one * other), NEAREST_CENTS, FARTHEST_CENTS))


def _directed(from_hz: Array, from_db: Array, to_hz: Array) -> float:
    strong = np.argsort(-from_db)[:_MOST_LINES]
    strong = strong[from_db[strong] > from_db[strong[0]] - _WITHIN_DB]
    away = np.min(np.abs(np.log2(from_hz[strong][:, None] / to_hz)), axis=1) * 1200
    weight = 10 ** (_WEIGHT * from_db[strong] / 20)
    order = np.argsort(away)
    share = np.cumsum(weight[order]) / weight.sum()
    return float(away[order][int(np.searchsorted(share, _QUANTILE))])


def log_same_density(distance: Array) -> Array:
    """ln of the density of ln distance for the same spoke plucked twice: sharp, with a tail for poorly heard plucks."""
    x = np.log(distance)
    sharp = _normal(x, np.log(1.3), 0.85)
    poor = _normal(x, np.log(4.0), 0.6)
    return np.asarray(np.log(0.87 * sharp + 0.125 * poor + 0.005 * _uniform()))


def log_other_density(distance: Array, sample: Array) -> Array:
    """ln of the density of ln distance for another spoke, learnt from the take itself.

    Parameters
    ----------
    distance : ndarray
        Where to evaluate.
    sample : ndarray
        Distances of plucks that are surely of different spokes.
    """
    x = np.log(distance)
    if len(sample) < 4:
        return np.full(len(x), np.log(_uniform()))
    kernel = np.mean(_normal(x[:, None], np.log(sample), 0.4), axis=1)
    return np.asarray(np.log(0.985 * kernel + 0.015 * _uniform()))


def _normal(x: Array, middle: float | Array, sd: float) -> Array:
    return np.asarray(np.exp(-0.5 * ((x - middle) / sd) ** 2) / (sd * np.sqrt(2 * np.pi)))


def _uniform() -> float:
    return 1 / float(np.log(FARTHEST_CENTS / NEAREST_CENTS))
