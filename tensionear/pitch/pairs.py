"""One more line in a band whose fit leaves one: another plane, a neighbour's ring. Imports ``ringfit``, ``naming``."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from .naming import WIDEST_PAIR, Named
from .ringfit import Bands, Components, Glide, RingFit, Standing, fit_ring, residual_of
from .spectrum import Array

_HIGHEST_MODE, _COST = 5, 14.0
_CLOSEST_HZ, _WEAKEST_OF_PAIR = 0.3, 0.06
_REACH_HZ, _SIZE = 55.0, 1024
_LEFT = 3e-4  # of the power of a band is worth a look
_CORRELATED = 5  # samples a filter's length


def with_more(
    bands: Bands,
    single: RingFit,
    expected_decay: Array,
    standing: Standing,
    share: Array,
    glide: Glide,
    clusters: list[list[Named]],
) -> RingFit:
    """Fit again with a further line in the bands of the low modes where the residual asks for it.

    The further line takes the last column; it is kept if it explains enough, and next to a named line if it is strong enough.
    """
    start = Components(single.frequency_hz, expected_decay, single.used)
    named = {row: at for row, cluster in enumerate(clusters) if (at := _lowest_named(cluster)) is not None}
    rows = {row: at for row, at in named.items() if single.residual[row] > _LEFT * single.power[row]}
    if not rows:
        return fit_ring(bands, start, standing, share, glide)
    left = residual_of(bands, single, standing, share, glide)
    trial, share = _with_one_more(start, share, bands, left, rows)
    more = fit_ring(bands, trial, standing, share, glide)
    count = len(bands.time_s) / _CORRELATED
    kept = np.zeros(len(clusters), bool)
    for row, at in rows.items():
        gain = count * 2 * np.log(single.residual[row] / more.residual[row])
        sizes = np.sort(np.abs(more.amplitude[row, [at, -1]]) / np.sqrt(more.decay_rate[row, [at, -1]]))
        apart = np.min(np.abs(more.frequency_hz[row, :-1] - more.frequency_hz[row, -1])[more.used[row, :-1]])
        pair = share[row, -1] > 0
        kept[row] = gain > _COST and (sizes[0] > _WEAKEST_OF_PAIR * sizes[1] if pair else apart > _CLOSEST_HZ)
    if all(kept[row] for row in rows):
        return more
    glide = replace(glide, start=more.stretch)
    used = trial.used & (kept[:, None] | (np.arange(trial.used.shape[1]) < trial.used.shape[1] - 1))
    frequency = np.where(kept[:, None], more.frequency_hz, trial.frequency_hz)
    return fit_ring(bands, Components(frequency, trial.decay_rate, used), standing, share, glide)


def _lowest_named(cluster: list[Named]) -> int | None:
    """Place of the strongest named line of a band of low modes."""
    named = [at for at, line in enumerate(cluster) if line.mode is not None and line.mode <= _HIGHEST_MODE]
    return max(named, key=lambda at: cluster[at].level_db) if named else None


def _with_one_more(
    start: Components, share: Array, bands: Bands, left: np.ndarray, rows: dict[int, int]
) -> tuple[Components, Array]:
    """A further component in these rows, in a column of its own, where the residual's spectrum is highest."""
    frequency, decay = (np.concatenate([each, each[:, :1]], axis=1) for each in (start.frequency_hz, start.decay_rate))
    used = np.concatenate([start.used, np.zeros((len(start.used), 1), bool)], axis=1)
    share = np.concatenate([share, np.zeros((len(share), 1))], axis=1)
    step_s = bands.time_s[1] - bands.time_s[0] if len(bands.time_s) > 1 else 1.0
    offsets = np.fft.fftfreq(_SIZE, step_s)
    inside = np.abs(offsets) < _REACH_HZ
    for row, at in rows.items():
        first = start.frequency_hz[row, at]
        spectrum = np.where(inside, np.abs(np.fft.fft(left[row], _SIZE)), 0)
        second = bands.centre_hz[row] + offsets[int(np.argmax(spectrum))]
        if abs(second - first) < _CLOSEST_HZ:
            second = first + (_CLOSEST_HZ if second >= first else -_CLOSEST_HZ)
        frequency[row, -1], used[row, -1], decay[row, -1] = second, True, decay[row, at]
        share[row, -1] = share[row, at] if abs(second / first - 1) < WIDEST_PAIR else 0.0
    return Components(frequency, decay, used), share
