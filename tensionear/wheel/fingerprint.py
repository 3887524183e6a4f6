"""How alike two plucks sound, by their overtones: the same spoke twice, or another one. Imports numpy only."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]
Indices = NDArray[np.intp]

_MOST_LINES, _WITHIN_DB = 12, 30.0
_WEIGHT = 0.3  # power of the amplitude
FARTHEST_CENTS, NEAREST_CENTS = 20.0, 0.5

#: Same spoke twice, (middle in cents, sd of ln): well heard, and with a ring that was cut short or hardly heard. Fitted to
#: 223 repeats in simulated rounds: half of them within 1.6 cents, 80 % within 3, 90 % within 5.
_SHARP, _BLURRED = (1.3, 0.65), (5.0, 0.8)
_BLURRED_SHARE, _BLURRED_SHARE_POOR = 0.06, 0.5
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

        Each strong line's distance to the nearest line of the other, between what is as good as the same and what is as good
        as anything; the weighted geometric mean of them (the planes of a spoke are not plucked alike twice, so some lines
        have no fellow, and by chance some have one), and that of both directions; the farthest distance where one of the two
        has no line.

        Parameters
        ----------
        first, second : ndarray of int, shape (pairs,)

        Returns
        -------
        ndarray, shape (pairs,)
        """
        both = (self._directed(first, second) + self._directed(second, first)) / 2
        return np.asarray(np.exp(both))

    def _directed(self, start: Indices, end: Indices) -> Array:
        away = np.min(np.abs(self._strong[start][:, :, None] - self._cents[end][:, None, :]), axis=2)
        weight = self._weight[start]
        total = np.sum(weight * np.log(np.clip(away, NEAREST_CENTS, FARTHEST_CENTS)), axis=1)
        some = weight.sum(axis=1)
        return np.asarray(np.where(some > 0, total / np.where(some > 0, some, 1.0), np.log(FARTHEST_CENTS)))


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
    # Flat in ln d, but towards nothing as its square does: all lines of two spokes seldom agree by chance.
    flat = 0.5 + float(np.log(FARTHEST_CENTS / _CHANCE_CENTS))
    uniform = np.minimum((distance / _CHANCE_CENTS) ** 2, 1.0) / flat
    if len(sample) < _FEWEST_OTHERS:
        return np.asarray(np.log(uniform))
    kernel = np.mean(_normal(x[:, None], np.log(sample), _KERNEL_SD), axis=1)
    return np.asarray(np.log((1 - _UNIFORM_SHARE) * kernel + _UNIFORM_SHARE * uniform))


def _normal(x: Array, middle: float | Array, sd: float) -> Array:
    return np.asarray(np.exp(-0.5 * ((x - middle) / sd) ** 2) / (sd * np.sqrt(2 * np.pi)))
