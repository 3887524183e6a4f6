"""One ring heard: its partials at vanishing swing, named by mode and bending plane. Imports the other modules of ``pitch``.

Steps: peaks of two spectra; the scan for the series they form; a joint non-linear fit of the bands around them.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from .lines import GONE_DB, SAME_LINE_HZ, Expectation, Heard, Line, Ringing, with_twins
from .naming import Named, clusters_of, name_peaks
from .pairs import sole_named, with_pairs
from .ringfit import Components, Glide, RingFit, Standing, bands_of, fit_ring
from .series import find_series, rank, scan
from .spectrum import Array, Peaks, ring_peaks

SKIP_S = 0.025
_LONG_S, _SHORT_S = 0.45, 0.09
_OLD_REACH_HZ, _COLLINEAR_HZ = 90.0, 1.5
_GLIDE_SHARE = 0.15  # of the stretch: how well its course is known
_ROOM, _ROOM_S, _ROOM_MOST = 0.45, 0.05, 2.0
_UNRESOLVED = 1.0e-4
_SHORTEST_RING_S = 0.06
_WORST, _SHORTEST_DECAY_S = 0.004, 0.02
_PEAK_U = 0.002  # of f: how well a spectral peak alone tells a frequency among others


def survey(
    ring: Array,
    before: Array,
    rate_hz: float,
    expected: Expectation,
    old: Sequence[Ringing],
    onset_s: float,
    usual: Sequence[float] = (),
) -> Heard:
    """Look at a ring: its peaks and the states that explain them, no lines fitted yet.

    Parameters
    ----------
    ring : ndarray, shape (n,)
        From 25 ms after the pluck on.
    before : ndarray, shape (m,)
        What was heard up to shortly before the pluck.
    rate_hz : float
    expected : Expectation
    old : sequence of Ringing
        Lines of earlier plucks that may ring on.
    onset_s : float
    usual : sequence of float
        States in which clear plucks before this one were found.
    """
    peaks = (
        without_old(ring_peaks(ring, before, rate_hz, _LONG_S), old, onset_s),
        without_old(ring_peaks(ring, before, rate_hz, _SHORT_S), old, onset_s),
    )
    return Heard((), rank(peaks, expected.grid, scan(peaks, expected.grid), usual), peaks, 0.0, onset_s)


def hear(ring: Array, rate_hz: float, expected: Expectation, seen: Heard, old: Sequence[Ringing]) -> Heard:
    """Fit the lines that the best state of a survey names among the peaks; the ring as in ``survey``."""
    if not seen.candidates or len(ring) < _SHORTEST_RING_S * rate_hz:
        return seen
    series = find_series(seen.peaks, expected.grid, seen.candidates[0])
    named = name_peaks(seen.peaks, series, expected.grid)
    clusters = clusters_of(named)
    if not clusters:
        return seen
    start = _starting(clusters)
    centre = np.array([np.mean([peak.frequency_hz for peak in cluster]) for cluster in clusters])
    bands = bands_of(ring, rate_hz, SKIP_S, centre)
    share = np.array([1.0 if any(peak.mode == 1 for peak in cluster) else 2 / 3 for cluster in clusters])
    standing = _standing(centre, old, seen.start_s)
    usual = float(expected.stretch[seen.candidates[0].state_index])
    fit = fit_ring(bands, start, standing, share, Glide(usual / 2, usual, (3.0,), (1.0,)))
    glide = Glide(usual / 2, usual, *_first_mode_decay(clusters, fit))
    start = Components(fit.frequency_hz, fit.decay_rate, fit.used)
    if expected.grid.alike:
        fit = with_pairs(bands, fit, standing, share, glide, clusters)
    else:
        fit = fit_ring(bands, start, standing, share, glide)
    return replace(seen, lines=_lines(fit, clusters), stretch=fit.stretch)


def without_old(peaks: Peaks, old: Sequence[Ringing], onset_s: float) -> Peaks:
    """Peaks less the power that lines of earlier plucks still have: between two beats they may seem new."""
    if not old or len(peaks.frequency_hz) == 0:
        return peaks
    frequency = np.array([line.frequency_hz for line in old])
    amplitude = np.array([10 ** (line.level_at(onset_s + SKIP_S) / 20) for line in old])
    near = np.abs(peaks.frequency_hz[:, None] - frequency) < SAME_LINE_HZ
    power = 10 ** (peaks.level_db / 10)
    left = 1 - (near @ amplitude) ** 2 / power
    height = np.maximum(peaks.height_db + 10 * np.log10(np.clip(left, 1e-9, 1)), 0)
    return Peaks(peaks.frequency_hz, height, peaks.level_db)


def _starting(clusters: list[list[Named]]) -> Components:
    widest = max(len(cluster) for cluster in clusters)
    frequency, used = np.zeros((len(clusters), widest)), np.zeros((len(clusters), widest), bool)
    for row, cluster in enumerate(clusters):
        frequency[row] = cluster[0].frequency_hz
        frequency[row, : len(cluster)] = [line.frequency_hz for line in cluster]
        used[row, : len(cluster)] = True
    return Components(frequency, 2.0 + 4.0 * (frequency / 1000) ** 0.8, used)


def _standing(centre: Array, old: Sequence[Ringing], onset_s: float) -> Standing:
    """Old lines near each band, as columns of known frequency and decay."""
    loud = [line for line in old if line.level_at(onset_s) > GONE_DB + max(o.level_at(onset_s) for o in old)]
    rows = [[line for line in loud if _COLLINEAR_HZ < abs(line.frequency_hz - f) < _OLD_REACH_HZ][:3] for f in centre]
    widest = max((len(row) for row in rows), default=0)
    frequency, decay = np.zeros((len(centre), widest)), np.ones((len(centre), widest))
    used = np.zeros((len(centre), widest), bool)
    for at, row in enumerate(rows):
        frequency[at, : len(row)] = [line.frequency_hz for line in row]
        decay[at, : len(row)] = [line.decay_rate for line in row]
        used[at, : len(row)] = True
    return Standing(frequency, decay, used)


def _first_mode_decay(clusters: list[list[Named]], fit: RingFit) -> tuple[tuple[float, ...], tuple[float, ...]]:
    """Decay rates of the first modes and their shares of the power at the pluck."""
    found = [
        (float(np.clip(fit.decay_rate[row, at], 0.5, 20.0)), float(abs(fit.amplitude[row, at]) ** 2))
        for row, cluster in enumerate(clusters)
        for at, line in enumerate(cluster)
        if line.mode == 1 and 1 / fit.decay_rate[row, at] > _SHORTEST_DECAY_S
    ]
    if not found:
        return (3.0,), (1.0,)
    total = sum(power for _, power in found) + 1e-30
    return tuple(rate for rate, _ in found), tuple(power / total for _, power in found)


def _lines(fit: RingFit, clusters: list[list[Named]]) -> tuple[Line, ...]:
    """The fitted components under their names; an extra component of a band is the twin of its one named line."""
    found = []
    for row, cluster in enumerate(clusters):
        for at in np.flatnonzero(fit.used[row]):
            name = cluster[at] if at < len(cluster) else cluster[sole_named(cluster) or 0]
            rate, frequency = float(fit.decay_rate[row, at]), float(fit.frequency_hz[row, at])
            room = _ROOM * rate / (2 * np.pi) * min(_ROOM_S * rate, _ROOM_MOST)
            course = _GLIDE_SHARE * fit.stretch * frequency
            u = float(np.sqrt(fit.sd_hz[row, at] ** 2 + room**2 + (_UNRESOLVED * frequency) ** 2 + course**2))
            level = 20 * np.log10(abs(fit.amplitude[row, at]) + 1e-12)
            if u < _WORST * frequency and 1 / rate > _SHORTEST_DECAY_S:
                found.append(Line(frequency, u, rate, float(level), name.plane, name.mode, False))
    return tuple(with_twins(found + _lost_first_modes(found, clusters)))


def _lost_first_modes(found: list[Line], clusters: list[list[Named]]) -> list[Line]:
    """A first mode whose fit failed is kept as the peak it was, for what that is worth."""
    have = {(line.plane, line.mode) for line in found}
    lost = [peak for cluster in clusters for peak in cluster if peak.mode == 1 and (peak.plane, 1) not in have]
    return [
        Line(peak.frequency_hz, _PEAK_U * peak.frequency_hz, 4.0, peak.level_db, peak.plane, 1, False) for peak in lost
    ]
