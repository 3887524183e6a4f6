"""How well a series of partials explains all that is new in a ring, whatever its lines were named. Imports ``lines``.

What stands out of a ring - fitted lines, and peaks where none was fitted - is weighted by its level and by how much of it is
new. A series scores the weight of what its partials meet, less something for low partials that are not there.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from .lines import Heard
from .spectrum import Array

_DEPTH_DB, _FRESH_DB, _LEAST_WEIGHT = 30.0, 20.0, 0.03
_PEAK_U = (0.0008, 0.002)  # of f, in the long and the short spectrum
_SAME_HZ, _LINE_HZ, _WORST_LINE = (4.0, 20.0), 3.0, 0.002
_LOG_LOW, _LOG_HIGH, _STEP = float(np.log(45.0)), float(np.log(7200.0)), 0.00025
_BINS = round((_LOG_HIGH - _LOG_LOW) / _STEP) + 1
_MISSING = np.array([0.30, 0.22, 0.18, 0.14, 0.10, 0.04])
_STRAY = 0.3  # of what is heard: neighbours, rim, noise; judgement, no source
_THERE = 0.15  # a partial that meets so much is not missing
#: How near, in ln f, a partial must come to what it explains.
WIDTH = 0.0012


@dataclass(frozen=True, slots=True, eq=False)
class Salient:
    """What stands out of a ring, each shape (items,): ln f with its standard deviation, and weight 0..1."""

    log_frequency: Array
    u: Array
    weight: Array

    @property
    def total(self) -> float:
        """The weight of it all."""
        return float(np.sum(self.weight))

    def explained(self, series: Sequence[Array]) -> float:
        """The share, 0..1, of the weight that lies on partials of any of these series (ln f)."""
        if len(self.weight) == 0:
            return 1.0
        away = np.min(np.abs(self.log_frequency[:, None] - np.concatenate(series)), axis=1)
        met = np.exp(-0.5 * (away / np.hypot(self.u, WIDTH)) ** 2)
        return float(np.sum(self.weight * met) / np.sum(self.weight))

    def log_likelihood(self, series: Sequence[Array]) -> float:
        """ln of the likelihood of what was heard, each item in proportion to its weight.

        An item lies on a partial of these series (ln f), on any alike, or is a stray: anywhere in the range of ln f.
        """
        partials = np.concatenate(series)
        spread = np.hypot(self.u, WIDTH)[:, None]
        bells = np.exp(-0.5 * ((self.log_frequency[:, None] - partials) / spread) ** 2) / (
            math.sqrt(2 * math.pi) * spread
        )
        density = (1 - _STRAY) * bells.mean(axis=1) + _STRAY / (_LOG_HIGH - _LOG_LOW)
        return float(np.sum(self.weight * np.log(density)))

    def landscape(self, width: float) -> Array:
        """Weight on an even grid of ln f, each item spread by this width."""
        found = np.zeros(_BINS)
        for log, u, weight in zip(self.log_frequency, self.u, self.weight, strict=True):
            spread = float(np.hypot(u, width))
            reach, middle = int(3 * spread / _STEP), (log - _LOG_LOW) / _STEP
            low, high = max(int(middle) - reach, 1), min(int(middle) + reach + 2, _BINS - 1)
            if low < high:
                bell = weight * np.exp(-0.5 * ((np.arange(low, high) - middle) * _STEP / spread) ** 2)
                np.maximum(found[low:high], bell, out=found[low:high])
        return found


def salient(heard: Heard) -> Salient:
    """What stands out of a ring, loudest first, down to 30 dB below the loudest."""
    loudest = max((float(peaks.level_db.max()) for peaks in heard.peaks if len(peaks.level_db)), default=0.0)
    taken: list[float] = []
    found: list[tuple[float, float, float]] = []
    for peaks, peak_u, near in zip(heard.peaks, _PEAK_U, _SAME_HZ, strict=True):
        heard_db = np.clip(1 - (loudest - peaks.level_db) / _DEPTH_DB, 0, 1)
        for hz, weight in zip(peaks.frequency_hz, heard_db * np.clip(peaks.height_db / _FRESH_DB, 0, 1), strict=True):
            if weight > _LEAST_WEIGHT and all(abs(hz - other) >= near for other in taken):
                taken.append(float(hz))
                found.append((*_placed(heard, float(hz), peak_u), float(weight)))
    log_frequency, u, weights = np.array(found).reshape(-1, 3).T
    return Salient(log_frequency, u, weights)


def _placed(heard: Heard, hz: float, peak_u: float) -> tuple[float, float]:
    """ln f and its standard deviation of a peak: those of the line fitted there, if there is a good one."""
    line = min(heard.lines, key=lambda each: abs(each.frequency_hz - hz), default=None)
    if line is None or abs(line.frequency_hz - hz) > _LINE_HZ or line.u_frequency_hz > _WORST_LINE * hz:
        return float(np.log(hz)), peak_u
    return float(np.log(line.frequency_hz)), max(line.u_frequency_hz / line.frequency_hz, 1e-4)


def score(landscape: Array, series: Sequence[Array]) -> Array:
    """How well states explain what a landscape shows.

    Parameters
    ----------
    landscape : ndarray
        As ``Salient.landscape`` makes it.
    series : sequence of ndarray, each shape (..., modes)
        ln f of a series a bending plane, the main one first.

    Returns
    -------
    ndarray, shape (...)
        The weight met, less what the low partials of the main plane owe.
    """
    met = [landscape[np.clip(np.round((logs - _LOG_LOW) / _STEP), 0, _BINS - 1).astype(np.intp)] for logs in series]
    low = met[0][..., : len(_MISSING)]
    owed = np.sum(_MISSING * (1 - np.minimum(low / _THERE, 1)), axis=-1)
    return np.asarray(sum(each.sum(axis=-1) for each in met) - owed)
