"""How alike two plucks sound, by their overtones: the same spoke twice, or another one. Imports numpy only."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]
Indices = NDArray[np.intp]

_MOST_LINES, _WITHIN_DB = 12, 30.0
_QUANTILE = 0.4
_WEIGHT = 0.3  # power of the amplitude
FARTHEST_CENTS, NEAREST_CENTS = 1000.0, 0.05

#: Same spoke twice, (middle in cents, sd of ln): well heard, and with a ring that was cut short or hardly heard. Fitted to
#: 174 repeats in simulated rounds: half of them within 0.8 cents, 90 % within 5, one in thirty beyond 10.
_SHARP, _BLURRED = (0.7, 1.1), (10.0, 1.5)
_BLURRED_SHARE, _BLURRED_SHARE_POOR = 0.02, 0.35
_KERNEL_SD, _UNIFORM_SHARE = 0.5, 0.015
_FEWEST_OTHERS, _CHANCE_CENTS = 4, 3.0


class Fingerprints:
    """The lines of all plucks of a take, laid out so that many pairs are compared at once.

    Parameters
    ----------
    line_hz, line_level_db : sequences of ndarray, shape (lines,)
        Of each pluck.
    """

    def __init__(self, line_hz: Sequence[Array], line_level_db: Sequence[Array]) -> None:
        count, most = len(line_hz), max((len(hz) for hz in line_hz), default=0)
        self._cents = np.full((count, max(most, 1)), np.inf)
        self._strong = np.zeros((count, _MOST_LINES))
        self._weight = np.zeros((count, _MOST_LINES))
        for index, (hz, level) in enumerate(zip(line_hz, line_level_db, strict=True)):
            if len(hz) == 0:
                continue
            cents = 1200 * np.log2(hz)
            strong = np.argsort(-level, kind="stable")[:_MOST_LINES]
            strong = strong[level[strong] > level[strong[0]] - _WITHIN_DB]
            self._cents[index, : len(hz)] = cents
            self._strong[index, : len(strong)] = cents[strong]
            self._weight[index, : len(strong)] = 10 ** (_WEIGHT * (level[strong] - level[strong[0]]) / 20)

    def distance_cents(self, first: Indices, second: Indices) -> Array:
        """Distances of pairs of plucks in cents.

        Each strong line's distance to the nearest line of the other, a weighted quantile of that below the median (the planes
        of a spoke are not plucked alike twice), and the geometric mean of both directions; the farthest distance where
        one of the two has no line.

        Parameters
        ----------
        first, second : ndarray of int, shape (pairs,)

        Returns
        -------
        ndarray, shape (pairs,)
        """
        both = self._directed(first, second) * self._directed(second, first)
        return np.asarray(np.clip(np.sqrt(both), NEAREST_CENTS, FARTHEST_CENTS))

    def _directed(self, start: Indices, end: Indices) -> Array:
        away = np.min(np.abs(self._strong[start][:, :, None] - self._cents[end][:, None, :]), axis=2)
        order = np.argsort(away, axis=1)
        share = np.cumsum(np.take_along_axis(self._weight[start], order, axis=1), axis=1)
        reached = share >= _QUANTILE * share[:, -1:]
        place = np.argmax(reached & (share > 0), axis=1)
        found = np.take_along_axis(np.take_along_axis(away, order, axis=1), place[:, None], axis=1)[:, 0]
        return np.where(share[:, -1] > 0, np.minimum(found, FARTHEST_CENTS), FARTHEST_CENTS)


def log_same_density(distance: Array, poor: Array) -> Array:
    """ln of the density of ln distance for the same spoke plucked twice: sharp, with a tail for poorly heard plucks.

    Parameters
    ----------
    distance : ndarray, shape (pairs,)
        In cents.
    poor : ndarray, shape (pairs,)
        0..1, how probably one of the two was poorly heard.
    """
    x = np.log(distance)
    blurred = _BLURRED_SHARE + (_BLURRED_SHARE_POOR - _BLURRED_SHARE) * poor
    sharp = _normal(x, np.log(_SHARP[0]), _SHARP[1])
    return np.asarray(np.log((1 - blurred) * sharp + blurred * _normal(x, np.log(_BLURRED[0]), _BLURRED[1])))


def log_other_density(distance: Array, sample: Array) -> Array:
    """ln of the density of ln distance for another spoke, learnt from the take itself.

    Parameters
    ----------
    distance : ndarray, shape (pairs,)
        Where to evaluate, in cents.
    sample : ndarray, shape (others,)
        Distances of plucks that are most probably of different spokes, in cents.
    """
    x = np.log(distance)
    # Flat in ln d, but towards nothing as d does: what lies within 3 cents by chance is evenly spread there.
    uniform = np.minimum(distance / _CHANCE_CENTS, 1.0) / (1 + float(np.log(FARTHEST_CENTS / _CHANCE_CENTS)))
    if len(sample) < _FEWEST_OTHERS:
        return np.asarray(np.log(uniform))
    kernel = np.mean(_normal(x[:, None], np.log(sample), _KERNEL_SD), axis=1)
    return np.asarray(np.log((1 - _UNIFORM_SHARE) * kernel + _UNIFORM_SHARE * uniform))


def _normal(x: Array, middle: float | Array, sd: float) -> Array:
    return np.asarray(np.exp(-0.5 * ((x - middle) / sd) ** 2) / (sd * np.sqrt(2 * np.pi)))
