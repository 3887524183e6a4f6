"""One ring heard: its partials at vanishing swing, named by mode and bending plane. Imports the other modules of ``pitch``.

Steps: peaks of two spectra; the scan for the series they form; a joint non-linear fit of the bands around them.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from .ringfit import Bands, Components, Glide, RingFit, Standing, bands_of, fit_ring, residual_of
from .series import Candidate, Found, SeriesGrid, find_series, rank, scan, tolerance_of
from .spectrum import Array, Peaks, ring_peaks

SKIP_S = 0.025
_LONG_S, _SHORT_S = 0.45, 0.09
_BEFORE_END_S = 0.006
_FIRST_MODE_REACH = 0.025  # the first mode is looked for farther off than the others
_BAND_HZ = 75.0
_STRANGER_DB = 60.0  # strangers further below the named line beside them do not disturb it
_MOST_COMPONENTS = 3
_MOST_LINES = 26
_OLD_REACH_HZ, _COLLINEAR_HZ = 90.0, 1.5
_SAME_LINE_HZ = 5.0
_OLD_LOWEST_DB = -45.0
_PAIR_MODES = 4
_PAIR_COST = 14.0
_PAIR_WIDEST, _CLOSEST_HZ = 0.013, 0.3
_TWIN_DB = 18.0
_RENAME_REACH, _RENAME_WIDTH, _RENAME_DB = 0.006, 0.0015, 8.0
_GLIDE_SHARE = 0.15  # of the stretch: how well its course is known
_WEAKEST_OF_PAIR = 0.06
_ROOM, _ROOM_S, _ROOM_MOST = 0.45, 0.05, 2.0
_UNRESOLVED = 1.0e-4
_SHORTEST_RING_S = 0.06
_WORST, _SHORTEST_DECAY_S = 0.004, 0.02
_PEAK_U = 0.002  # of f: how well a spectral peak alone tells a frequency among others


@dataclass(frozen=True, slots=True)
class Line:
    """One partial of a ring.

    ``plane`` is an index into the grid's planes and ``mode`` counts from 1; both None where the line fits no partial of the
    spoke. ``level_db`` is the amplitude at the pluck re full scale; ``twin`` marks the weaker of two lines of one mode.
    """

    frequency_hz: float
    u_frequency_hz: float
    decay_rate: float
    level_db: float
    plane: int | None
    mode: int | None
    twin: bool

    @property
    def energy_db(self) -> float:
        """Energy of the ring in dB: level less decay, which an amplitude extrapolated to the pluck would hide."""
        return self.level_db - 10 * float(np.log10(self.decay_rate))


@dataclass(frozen=True, slots=True, eq=False)
class Heard:
    """What was heard in a ring: its lines, the states that explain them (best first), and the stretch of the pluck."""

    lines: tuple[Line, ...]
    candidates: tuple[Candidate, ...]
    peaks: tuple[Peaks, Peaks]
    stretch: float
    start_s: float

    def first_modes(self, plane: int) -> tuple[Line, ...]:
        """Lines of mode 1 in a plane, strongest first."""
        found = [line for line in self.lines if line.plane == plane and line.mode == 1]
        return tuple(sorted(found, key=lambda line: -line.energy_db))


def renamed(heard: Heard, log_frequency: Array, alike: bool) -> Heard:
    """The same ring with its lines named anew, now that more is known of the spoke than one ring tells.

    Parameters
    ----------
    heard : Heard
    log_frequency : ndarray, shape (2, modes)
        ln f of the partials of both planes as the whole side makes them expected.
    alike : bool
        Whether the planes share a name (round spokes).
    """
    logs = np.log([line.frequency_hz for line in heard.lines])
    energy = np.array([line.energy_db for line in heard.lines])
    away = np.abs(logs[:, None, None] - log_frequency)
    cost = away / _RENAME_WIDTH - (energy - energy.max(initial=-300.0))[:, None, None] / _RENAME_DB
    cost = np.where(away < _RENAME_REACH, cost, np.inf)
    names: dict[int, tuple[int, int]] = {}
    while np.isfinite(cost).any():
        line, plane, mode = (int(at) for at in np.unravel_index(int(np.argmin(cost)), cost.shape))
        names[line] = (0 if alike else plane, mode + 1)
        cost[line], cost[:, plane, mode] = np.inf, np.inf
    lines = [
        replace(line, plane=names.get(at, (None, None))[0], mode=names.get(at, (None, None))[1], twin=False)
        for at, line in enumerate(heard.lines)
    ]
    return replace(heard, lines=tuple(_with_twins(lines)))


@dataclass(frozen=True, slots=True)
class Ringing:
    """A line that was ringing at ``time_s`` with this level; where it still is when the next pluck comes can be foretold."""

    frequency_hz: float
    decay_rate: float
    level_db: float
    time_s: float

    def level_at(self, time_s: float) -> float:
        """Level in dB at a later time."""
        return self.level_db - 8.686 * self.decay_rate * (time_s - self.time_s)


@dataclass(frozen=True, slots=True)
class Expectation:
    """What is known before listening: the grid of states, and for each the stretch D that a usual pluck makes."""

    grid: SeriesGrid
    stretch: Array


def ringing_after(heard: Heard, onset_s: float, old: Sequence[Ringing]) -> tuple[Ringing, ...]:
    """What may still ring when the next pluck comes: the lines of this one, and those before it that are not yet gone."""
    new = tuple(Ringing(line.frequency_hz, line.decay_rate, line.level_db, onset_s) for line in heard.lines)
    if not new:
        return tuple(old)
    loudest = max(line.level_db for line in new)
    kept = (
        line
        for line in old
        if line.level_at(onset_s) > loudest + _OLD_LOWEST_DB
        and all(abs(line.frequency_hz - other.frequency_hz) > _SAME_LINE_HZ for other in new)
    )
    return (*new, *kept)


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
    named = _name_peaks(seen.peaks, series, expected.grid)
    clusters = _clusters(named)
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
    fit = _with_pairs(bands, fit, standing, share, glide, clusters, expected)
    return replace(seen, lines=_lines(fit, clusters), stretch=fit.stretch)


def without_old(peaks: Peaks, old: Sequence[Ringing], onset_s: float) -> Peaks:
    """Peaks less the power that lines of earlier plucks still have: between two beats they may seem new."""
    if not old or len(peaks.frequency_hz) == 0:
        return peaks
    frequency = np.array([line.frequency_hz for line in old])
    amplitude = np.array([10 ** (line.level_at(onset_s + SKIP_S) / 20) for line in old])
    near = np.abs(peaks.frequency_hz[:, None] - frequency) < _SAME_LINE_HZ
    power = 10 ** (peaks.level_db / 10)
    left = 1 - (near @ amplitude) ** 2 / power
    height = np.maximum(peaks.height_db + 10 * np.log10(np.clip(left, 1e-3, 1)), 0)
    return Peaks(peaks.frequency_hz, height, peaks.level_db)


@dataclass(frozen=True, slots=True)
class _Named:
    """A peak with the partial it may be; ``plane`` None for a stranger that is only fitted to keep it out of the others."""

    frequency_hz: float
    level_db: float
    plane: int | None
    mode: int | None


def _name_peaks(peaks: tuple[Peaks, Peaks], series: Found, grid: SeriesGrid) -> list[_Named]:
    """Peaks at the partials of the series, each named once, and the strangers close to them."""
    frequency = np.concatenate([found.frequency_hz for found in peaks])
    level = np.concatenate([found.level_db for found in peaks])
    kept = _distinct(frequency, level, len(peaks[0].frequency_hz))
    names: dict[int, tuple[int, int]] = {}
    for plane, logs in enumerate(series.log_frequency):
        if logs is None:
            continue
        width = tolerance_of(np.arange(1.0, len(logs) + 1))
        for mode, (target, near) in enumerate(zip(np.exp(logs), width, strict=True), start=1):
            close = [at for at in kept if abs(frequency[at] / target - 1) < near and at not in names]
            if not close and plane == 0 and mode == 1:
                close = [at for at in kept if abs(frequency[at] / target - 1) < _FIRST_MODE_REACH and at not in names]
            if close:
                best = max(close, key=lambda at: level[at] - 8 * abs(frequency[at] / target - 1) / near)
                names[best] = (0 if grid.alike else plane, mode)
    if grid.alike:
        new = np.concatenate([found.height_db for found in peaks]) > 0
        _name_twins(names, frequency, level, [at for at in kept if new[at]])
    named = [_Named(float(frequency[at]), float(level[at]), *names[at]) for at in names]
    strangers = [
        _Named(float(frequency[at]), float(level[at]), None, None)
        for at in kept
        if at not in names
        and any(
            abs(frequency[at] - line.frequency_hz) < _BAND_HZ and level[at] > line.level_db - _STRANGER_DB
            for line in named
        )
    ]
    return sorted(named + strangers[:8], key=lambda line: line.frequency_hz)[:_MOST_LINES]


def _name_twins(names: dict[int, tuple[int, int]], frequency: Array, level: Array, new: list[int]) -> None:
    """Name the other plane's line of a round spoke where its series was too weak to be found: near, new and loud enough.

    A neighbour's ring lies as near, but 20 dB and more below.
    """
    for at, (plane, mode) in list(names.items()):
        if sum(other == (plane, mode) for other in names.values()) > 1:
            continue
        close = [
            other
            for other in new
            if other not in names
            and abs(frequency[other] / frequency[at] - 1) < _PAIR_WIDEST
            and level[other] > level[at] - _TWIN_DB
        ]
        if close:
            names[max(close, key=lambda other: level[other])] = (plane, mode)


def _distinct(frequency: Array, level: Array, sharp: int) -> list[int]:
    """Indices of the peaks that are not the shoulder of a louder one; the first ``sharp`` come from the long window."""
    kept: list[int] = []
    for at in np.argsort(-level, kind="stable"):
        width = 4.0 if at < sharp else 25.0
        if all(abs(frequency[at] - frequency[other]) > width for other in kept):
            kept.append(int(at))
    return kept


def _clusters(named: list[_Named]) -> list[list[_Named]]:
    """Lines nearer than a band's width share one band; a full band keeps its named and strongest lines."""
    clusters: list[list[_Named]] = []
    for line in named:
        if clusters and line.frequency_hz - clusters[-1][0].frequency_hz < _BAND_HZ:
            clusters[-1].append(line)
        else:
            clusters.append([line])
    kept = []
    for cluster in clusters:
        ranked = sorted(cluster, key=lambda line: (line.plane is None, -line.level_db))[:_MOST_COMPONENTS]
        if any(line.plane is not None for line in ranked):
            kept.append(sorted(ranked, key=lambda line: line.frequency_hz))
    return kept


def _starting(clusters: list[list[_Named]]) -> Components:
    widest = max(len(cluster) for cluster in clusters)
    frequency, used = np.zeros((len(clusters), widest)), np.zeros((len(clusters), widest), bool)
    for row, cluster in enumerate(clusters):
        frequency[row] = cluster[0].frequency_hz
        frequency[row, : len(cluster)] = [line.frequency_hz for line in cluster]
        used[row, : len(cluster)] = True
    return Components(frequency, 2.0 + 4.0 * (frequency / 1000) ** 0.8, used)


def _standing(centre: Array, old: Sequence[Ringing], onset_s: float) -> Standing:
    """Old lines near each band, as columns of known frequency and decay."""
    loud = [line for line in old if line.level_at(onset_s) > _OLD_LOWEST_DB + max(o.level_at(onset_s) for o in old)]
    rows = [[line for line in loud if _COLLINEAR_HZ < abs(line.frequency_hz - f) < _OLD_REACH_HZ][:3] for f in centre]
    widest = max((len(row) for row in rows), default=0)
    frequency, decay = np.zeros((len(centre), widest)), np.ones((len(centre), widest))
    used = np.zeros((len(centre), widest), bool)
    for at, row in enumerate(rows):
        frequency[at, : len(row)] = [line.frequency_hz for line in row]
        decay[at, : len(row)] = [line.decay_rate for line in row]
        used[at, : len(row)] = True
    return Standing(frequency, decay, used)


def _first_mode_decay(clusters: list[list[_Named]], fit: RingFit) -> tuple[tuple[float, ...], tuple[float, ...]]:
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


def _with_pairs(
    bands: Bands,
    single: RingFit,
    standing: Standing,
    share: Array,
    glide: Glide,
    clusters: list[list[_Named]],
    expected: Expectation,
) -> RingFit:
    """Fit again with a second line beside the only one of a low mode where the residual asks for it.

    The second line takes the last column; it is kept if it explains enough, is strong enough, and lies near enough.
    """
    start = Components(single.frequency_hz, single.decay_rate, single.used)
    sole = {row: at for row, cluster in enumerate(clusters) if (at := _sole_named(cluster)) is not None}
    if not sole or not expected.grid.alike:
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
        kept[row] = gain > _PAIR_COST and sizes[0] > _WEAKEST_OF_PAIR * sizes[1] and split < _PAIR_WIDEST
    used = trial.used & (kept[:, None] | (np.arange(trial.used.shape[1]) < trial.used.shape[1] - 1))
    frequency = np.where(kept[:, None], paired.frequency_hz, trial.frequency_hz)
    decay = np.where(kept[:, None], paired.decay_rate, trial.decay_rate)
    return fit_ring(bands, Components(frequency, decay, used), standing, share, glide)


def _sole_named(cluster: list[_Named]) -> int | None:
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
        reach = np.abs(bands.centre_hz[row] + offsets - first) < _PAIR_WIDEST * first
        spectrum = np.where(reach, np.abs(np.fft.fft(left[row], size)), 0)
        second = bands.centre_hz[row] + offsets[int(np.argmax(spectrum))]
        if abs(second - first) < _CLOSEST_HZ:
            second = first + (_CLOSEST_HZ if second >= first else -_CLOSEST_HZ)
        frequency[row, -1], used[row, -1], decay[row, -1] = second, True, decay[row, at]
    return Components(frequency, decay, used)


def _lines(fit: RingFit, clusters: list[list[_Named]]) -> tuple[Line, ...]:
    """The fitted components under their names; an extra component of a band is the twin of its one named line."""
    found = []
    for row, cluster in enumerate(clusters):
        for at in np.flatnonzero(fit.used[row]):
            name = cluster[at] if at < len(cluster) else cluster[_sole_named(cluster) or 0]
            rate, frequency = float(fit.decay_rate[row, at]), float(fit.frequency_hz[row, at])
            room = _ROOM * rate / (2 * np.pi) * min(_ROOM_S * rate, _ROOM_MOST)
            course = _GLIDE_SHARE * fit.stretch * frequency
            u = float(np.sqrt(fit.sd_hz[row, at] ** 2 + room**2 + (_UNRESOLVED * frequency) ** 2 + course**2))
            level = 20 * np.log10(abs(fit.amplitude[row, at]) + 1e-12)
            if u < _WORST * frequency and 1 / rate > _SHORTEST_DECAY_S:
                found.append(Line(frequency, u, rate, float(level), name.plane, name.mode, False))
    return tuple(_with_twins(found + _lost_first_modes(found, clusters)))


def _lost_first_modes(found: list[Line], clusters: list[list[_Named]]) -> list[Line]:
    """A first mode whose fit failed is kept as the peak it was, for what that is worth."""
    have = {(line.plane, line.mode) for line in found}
    lost = [peak for cluster in clusters for peak in cluster if peak.mode == 1 and (peak.plane, 1) not in have]
    return [
        Line(peak.frequency_hz, _PEAK_U * peak.frequency_hz, 4.0, peak.level_db, peak.plane, 1, False) for peak in lost
    ]


def _with_twins(lines: list[Line]) -> list[Line]:
    """Mark all but the strongest line of each mode of a plane as twins."""
    marked = []
    for line in lines:
        same = [other for other in lines if other.mode == line.mode and other.plane == line.plane]
        strongest = line.mode is None or line == max(same, key=lambda other: other.energy_db)
        marked.append(line if strongest else replace(line, twin=True))
    return marked
