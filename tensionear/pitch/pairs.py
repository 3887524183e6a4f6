"""A second line beside the only one of a low mode, where a round spoke's ring asks for it. Imports ``ringfit``, ``naming``."""

from __future__ import annotations

import numpy as np

from .naming import WIDEST_PAIR, Named
from .ringfit import Bands, Components, Glide, RingFit, Standing, fit_ring, residual_of
from .spectrum import Array

_PAIR_MODES, _PAIR_COST = 4, 14.0
_CLOSEST_HZ, _WEAKEST_OF_PAIR = 0.3, 0.06


def with_pairs(
    bands: Bands,
    single: RingFit,
    standing: Standing,
    share: Array,
    glide: Glide,
    clusters: list[list[Named]],
) -> RingFit:
    """Fit again with a second line beside the only one of a low mode where the residual asks for it.

    The second line takes the last column; it is kept if it explains enough, is strong enough, and lies near enough.
    """
    start = Components(single.frequency_hz, single.decay_rate, single.used)
    sole = {row: at for row, cluster in enumerate(clusters) if (at := sole_named(cluster)) is not None}
    if not sole:
        return fit_ring(bands, start, standing, share, glide)
    left = residual_of(bands, single, standing, share, glide)
    trial = _with_second(start, bands, left, sole)
    paired = fit_ring(bands, trial, standing, share, glide)
    count = len(bands.time_s) / 5
    kept = np.zeros(len(clusters), bool)
    for row, at in sole.items():
        gain = count * 2 * np.log(single.residual[row] / paired.residual[row])
        sizes = np.sort(np.abs(paired.amplitude[row, [at, -1]]) / np.sqrt(paired.decay_rate[row, [at, -1]]))
        split = abs(paired.frequency_hz[row, at] / paired.frequency_hz[row, -1] - 1)
        kept[row] = gain > _PAIR_COST and sizes[0] > _WEAKEST_OF_PAIR * sizes[1] and split < WIDEST_PAIR
    used = trial.used & (kept[:, None] | (np.arange(trial.used.shape[1]) < trial.used.shape[1] - 1))
    frequency = np.where(kept[:, None], paired.frequency_hz, trial.frequency_hz)
    decay = np.where(kept[:, None], paired.decay_rate, trial.decay_rate)
    return fit_ring(bands, Components(frequency, decay, used), standing, share, glide)


def sole_named(cluster: list[Named]) -> int | None:
    """Place of the only named line of a band, if it is of a low mode; strangers do not count."""
    named = [at for at, line in enumerate(cluster) if line.mode is not None]
    if len(named) != 1 or (cluster[named[0]].mode or 0) > _PAIR_MODES:
        return None
    return named[0]


def _with_second(start: Components, bands: Bands, left: np.ndarray, sole: dict[int, int]) -> Components:
    """A second component in these rows, in a column of its own, where the residual's spectrum is highest."""
    frequency, decay = (np.concatenate([each, each[:, :1]], axis=1) for each in (start.frequency_hz, start.decay_rate))
    used = np.concatenate([start.used, np.zeros((len(start.used), 1), bool)], axis=1)
    step_s = bands.time_s[1] - bands.time_s[0] if len(bands.time_s) > 1 else 1.0
    size = 1024
    offsets = np.fft.fftfreq(size, step_s)
    for row, at in sole.items():
        first = start.frequency_hz[row, at]
        reach = np.abs(bands.centre_hz[row] + offsets - first) < WIDEST_PAIR * first
        spectrum = np.where(reach, np.abs(np.fft.fft(left[row], size)), 0)
        second = bands.centre_hz[row] + offsets[int(np.argmax(spectrum))]
        if abs(second - first) < _CLOSEST_HZ:
            second = first + (_CLOSEST_HZ if second >= first else -_CLOSEST_HZ)
        frequency[row, -1], used[row, -1], decay[row, -1] = second, True, decay[row, at]
    return Components(frequency, decay, used)
