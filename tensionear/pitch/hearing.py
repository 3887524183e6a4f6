"""One ring heard: its partials at vanishing swing, named by mode and bending plane. Imports the other modules of ``pitch``.

Steps: peaks of two spectra; the scan for the series they form; a joint non-linear fit of the bands around them.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from .consistency import belonging
from .gliding import decay_law, first_stretch, starting_decay, still_or_gliding
from .lines import GONE_DB, SAME_LINE_HZ, Expectation, Heard, Line, Ringing, with_twins
from .naming import Named, clusters_of, name_peaks
from .pairs import with_more
from .ringfit import Bands, Components, Glide, RingFit, Standing, bands_of, fit_ring, growth_after, growth_of
from .series import Found, find_series, rank, scan
from .spectrum import Array, Peaks, ring_peaks

SKIP_S = 0.025
_LONG_S, _SHORT_S = 0.45, 0.09
_KNOWN_HZ, _KNOWN_DB = 2.5, 10.0
_OLD_REACH_HZ, _MOST_OLD = 80.0, 4
HIGHER_SHARE = 2 / 3  # of the stretch, felt by all but the first mode that makes it
_STRETCH_MEAN, _STRETCH_SD, _SAME_STRETCH = 0.5, 1.5, 0.02  # of a usual pluck's
_GLIDE_SHARE = 0.15  # of the stretch: how well its course is known
_ROOM, _ROOM_S, _ROOM_MOST = 0.45, 0.05, 2.0
_UNRESOLVED = 1.0e-4
_SHORTEST_RING_S = 0.06
_FIRST_LOOK = 5  # iterations: it only has to find which way to go
_WORST, _SHORTEST_DECAY_S = 0.004, 0.02
_PEAK_U = 0.002  # of f: how well a spectral peak alone tells a frequency among others
_ENOUGH_OVERTONES, _FORETOLD_U = 3, 0.003


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
    named = _without_known(name_peaks(seen.peaks, series, expected.grid), old, seen.start_s)
    clusters = clusters_of(named)
    if not clusters:
        return seen
    centre = np.array([np.mean([peak.frequency_hz for peak in cluster]) for cluster in clusters])
    bands = bands_of(ring, rate_hz, SKIP_S, centre)
    start = _starting(clusters, bands)
    share = _shares(clusters, start)
    standing = _standing(centre, old, seen.start_s)
    usual = float(expected.stretch[seen.candidates[0].state_index])
    first = start.decay_rate[(share >= 1) & start.used]
    glide = Glide(usual * _STRETCH_MEAN, usual * _STRETCH_SD, 0.0, growth_of(bands.time_s, first, np.ones(len(first))))
    starts = (first_stretch(bands, start, share, glide, usual), (glide.mean, start))
    fits = [fit_ring(bands, begin, standing, share, replace(glide, start=at), _FIRST_LOOK) for at, begin in starts]
    if abs(fits[0].stretch - fits[1].stretch) < _SAME_STRETCH * usual:
        fits = [min(fits, key=lambda each: each.cost)]
    fit = min((_completed(bands, each, standing, share, glide, clusters) for each in fits), key=lambda each: each.cost)
    if expected.still:
        fit = still_or_gliding(bands, fit, standing, replace(glide, growth=growth_after(bands, fit, fit.share)))
    fitted = _lines(fit)
    lines = belonging(fitted, _fresh(fitted, old, seen.start_s), series, expected.grid)
    return replace(seen, lines=tuple(with_twins(_with_first_mode(lines, clusters, series))), stretch=fit.stretch)


def _completed(
    bands: Bands, fit: RingFit, standing: Standing, share: Array, glide: Glide, clusters: list[list[Named]]
) -> RingFit:
    """Fitted again with what the named lines teach of decay and glide, and with the lines that they leave over."""
    decays = decay_law(fit.frequency_hz, fit.decay_rate, np.where(share > 0, np.sqrt(np.abs(fit.amplitude)), 0.0))
    course = replace(glide, start=fit.stretch, growth=growth_after(bands, fit, share))
    return with_more(bands, fit, decays, standing, share, course, clusters)


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


def _without_known(named: list[Named], old: Sequence[Ringing], onset_s: float) -> list[Named]:
    """Less the strangers that are old lines ringing on, which the fit has anyway."""
    known = [(line.frequency_hz, line.level_at(onset_s)) for line in old]
    return [
        peak
        for peak in named
        if peak.mode is not None
        or all(abs(peak.frequency_hz - hz) > _KNOWN_HZ or level < peak.level_db - _KNOWN_DB for hz, level in known)
    ]


def _starting(clusters: list[list[Named]], bands: Bands) -> Components:
    widest = max(len(cluster) for cluster in clusters)
    frequency, used = np.zeros((len(clusters), widest)), np.zeros((len(clusters), widest), bool)
    for row, cluster in enumerate(clusters):
        frequency[row] = cluster[0].frequency_hz
        frequency[row, : len(cluster)] = [line.frequency_hz for line in cluster]
        used[row, : len(cluster)] = True
    decay = starting_decay(bands, bands.centre_hz)
    return Components(frequency, np.repeat(decay[:, None], widest, axis=1), used)


def _shares(clusters: list[list[Named]], start: Components) -> Array:
    """How much of the stretch each component feels: a first mode of the main plane all, others two thirds, strangers none."""
    share = np.zeros(start.used.shape)
    for row, cluster in enumerate(clusters):
        for at, peak in enumerate(cluster):
            if peak.mode is not None:
                share[row, at] = 1.0 if peak.mode == 1 and peak.plane == 0 else HIGHER_SHARE
    return share


def _standing(centre: Array, old: Sequence[Ringing], onset_s: float) -> Standing:
    """The loudest old lines near each band, with what they are foretold to be."""
    loud = [line for line in old if line.level_at(onset_s) > GONE_DB + max(o.level_at(onset_s) for o in old)]
    loud = sorted(loud, key=lambda line: -line.level_at(onset_s))
    rows = [[line for line in loud if abs(line.frequency_hz - f) < _OLD_REACH_HZ][:_MOST_OLD] for f in centre]
    shape = len(centre), max((len(row) for row in rows), default=0)
    frequency, decay, sd = np.zeros(shape), np.ones(shape), np.ones(shape)
    wave, used = np.zeros(shape, complex), np.zeros(shape, bool)
    for at, row in enumerate(rows):
        for place, line in enumerate(row):
            frequency[at, place], decay[at, place], used[at, place] = line.frequency_hz, line.decay_rate, True
            wave[at, place], sd[at, place] = line.wave_at(onset_s)
    return Standing(frequency, decay, wave, sd, used)


def _lines(fit: RingFit) -> list[Line]:
    """The fitted components, not yet named."""
    found = []
    for row in range(len(fit.used)):
        for at in np.flatnonzero(fit.used[row]):
            rate, frequency = float(fit.decay_rate[row, at]), float(fit.frequency_hz[row, at])
            room = _ROOM * rate / (2 * np.pi) * min(_ROOM_S * rate, _ROOM_MOST)
            course = _GLIDE_SHARE * fit.stretch * frequency
            u = float(np.sqrt(fit.sd_hz[row, at] ** 2 + room**2 + (_UNRESOLVED * frequency) ** 2 + course**2))
            level = 20 * np.log10(abs(fit.amplitude[row, at]) + 1e-12)
            if u < _WORST * frequency and 1 / rate > _SHORTEST_DECAY_S:
                phase = float(np.angle(fit.amplitude[row, at])) + 2 * np.pi * frequency * float(fit.glided_s[row, at])
                found.append(Line(frequency, u, rate, float(level), None, None, False, phase))
    return found


def _fresh(lines: list[Line], old: Sequence[Ringing], onset_s: float) -> Array:
    """Share of the power of each line (lines,) that no old line accounts for."""
    share = np.ones(len(lines))
    for at, line in enumerate(lines):
        near = [each for each in old if abs(each.frequency_hz - line.frequency_hz) < _KNOWN_HZ]
        share[at] -= min(sum(10 ** ((each.level_at(onset_s) - line.level_db) / 10) for each in near), 1.0)
    return share


def _with_first_mode(lines: list[Line], clusters: list[list[Named]], series: Found) -> list[Line]:
    """The lines, with the first mode of the main plane where none was found: as its overtones foretell it, or as the peak
    it was, for what that is worth.

    Beside a louder ring, or one that was there before, a first mode may not be seen at all.
    """
    own = [line for line in lines if line.plane == 0]
    if any(line.mode == 1 for line in own):
        return lines
    peaks = [peak for cluster in clusters for peak in cluster if peak.mode == 1 and peak.plane == 0]
    fitted = [peak for peak in peaks if any(abs(line.frequency_hz - peak.frequency_hz) < _KNOWN_HZ for line in lines)]
    if len(own) >= _ENOUGH_OVERTONES:
        frequency, u = float(np.exp(series.log_frequency[0][0])), _FORETOLD_U
        level = max(line.level_db for line in own)
    elif peaks and not fitted:
        frequency, u, level = peaks[0].frequency_hz, _PEAK_U, peaks[0].level_db
    else:
        return lines
    return [*lines, Line(frequency, u * frequency, 4.0, level, 0, 1, False)]
