"""Which series of partials a ring holds: a scan of everything a spoke could do against the peaks heard. Imports ``spectrum``.

The scan never refits freely first: free series walk away to octaves, hum and the neighbour's ring. Each hypothesis is a
state the spoke can be in (a tension and an end stiffness); its score adds the heights of the peaks its partials meet and
takes off for low partials that are not there. A coarse scan over all states names the candidates; a sharp one around a
candidate then finds the series of either bending plane, which differ by their ends but share their tension - that is what
tells the second plane from a neighbour's ring.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from .spectrum import Array, Peaks

_LOG_LOW, _LOG_HIGH = float(np.log(45.0)), float(np.log(7200.0))
_COARSE_STEP, _COARSE_WIDTH = 0.0005, 0.0035  # of ln f: a peak and a partial meet within this standard deviation
_SHARP_STEP = 0.0002
_SHARP_WIDTHS = (0.0016, 0.003)  # of the long and the short spectrum
_HIGHEST_DB, _SHARP_HIGHEST_DB = 30.0, 48.0
_MISSING = np.array([9.0, 6.0, 5.0, 4.0, 3.0, 1.0, 0.0, 0.0])
SCANNED_MODES = len(_MISSING)
_LOW_MODES = np.array([2.0, 1.6, 1.3, 1.0, 0.9, 0.8, 0.7, 0.7])  # the sharp scan trusts them more
_EVERY_END = 3
#: The leeway of a grid changes slowly with the state: it is given at every so many of them.
LEEWAY_STEP = 20
_RIVAL_DISTANCE = 0.06
_NO_FIRST_MODE, _FIRST_DB = 0.5, 30.0  # what is left of the rank if the first mode is missing or so far down
_HIDDEN = 0.011  # of f: so near to what rings on, a first mode may be hidden by it
_EDGE_FIRST, _EDGE_LOUDER_DB = 0.35, 10.0  # taken off a state whose edge plane outshouts its flat one by so much
_USUAL_BONUS, _USUAL_WIDTH = 0.35, 0.07
_LEFT_OVER = 0.6  # of the score is lost if nothing heard belongs to the series
_NEIGHBOURHOOD = 0.10  # of ln f
_OUTDONE_FROM_DB, _OUTDONE_OVER_DB, _OUTDONE_LEAST = 8.0, 18.0, 0.03
_SECOND_WEIGHT, _SECOND_SHARP = 0.7, 0.1
_AROUND, _SAME_TENSION = (
    3,
    0.5,
)  # steps of the grid: how far a candidate is refined, and how alike the planes' states are
_FINE = 4  # parts of a step
_SECOND_PLANE_DB = 36.0
_WIDEST_SPLIT = 0.012  # of f1, between the planes of a round spoke
_MATCH = np.array([0.0065, 0.0065])  # of f, at the first mode and at the twelfth


@dataclass(frozen=True, slots=True, eq=False)
class SeriesGrid:
    """What can be heard: ln f of the partials over a grid of states.

    ``log_frequency`` has one array (states, ends, modes) a distinct bending plane, the main plane first; ``state`` (states,)
    is what the states are called (ln T, or ln f1 where no spoke is known), ascending in even steps. ``planes`` are always
    two; a round spoke's share their array. ``leeway``, one array (states / LEEWAY_STEP, ends, ways, modes) a plane, is what
    one standard deviation of each thing that the grid holds fixed would add to ln f.
    """

    planes: tuple[str, str]
    log_frequency: tuple[Array, Array]
    leeway: tuple[Array, Array]
    state: Array
    index: tuple[NDArray[np.intp], ...]

    @property
    def alike(self) -> bool:
        """Whether both planes have the same series but for their ends."""
        return self.log_frequency[0] is self.log_frequency[1]


@dataclass(frozen=True, slots=True)
class Candidate:
    """A state that explains the ring: its place on the grid, its score, and the score less what it leaves unexplained."""

    state_index: int
    score: float
    rank: float


@dataclass(frozen=True, slots=True, eq=False)
class Found:
    """The series found around a candidate: the state, and for either plane ln f of its partials (None if not heard)."""

    state: float
    log_frequency: tuple[Array, Array | None]


def series_grid(
    planes: tuple[str, str], log_frequency: tuple[Array, Array], leeway: tuple[Array, Array], state: Array
) -> SeriesGrid:
    """Build a grid (see ``SeriesGrid``), with the places of its partials among the salience bins of the coarse scan."""
    top = round((_LOG_HIGH - _LOG_LOW) / _COARSE_STEP)
    distinct = log_frequency[:1] if log_frequency[0] is log_frequency[1] else log_frequency
    places = tuple(
        np.clip(np.round((logs[:, ::_EVERY_END, :SCANNED_MODES] - _LOG_LOW) / _COARSE_STEP), 0, top).astype(np.intp)
        for logs in distinct
    )
    return SeriesGrid(planes, log_frequency, leeway, state, places)


def scan(peaks: Sequence[Peaks], grid: SeriesGrid, most: int = 6) -> tuple[Candidate, ...]:
    """The best states, best first; each at least 6 % away (in the state's own measure) from those before it."""
    total = scores(coarse_salience(peaks), grid)
    remaining = total.copy()
    away = round(_RIVAL_DISTANCE / float(grid.state[1] - grid.state[0]))
    found = []
    for _ in range(most):
        at = int(np.argmax(remaining))
        if not remaining[at] > 0:
            break
        found.append(Candidate(at, float(total[at]), float(total[at])))
        remaining[max(0, at - away) : at + away + 1] = -np.inf
    return tuple(found)


def coarse_salience(peaks: Sequence[Peaks]) -> Array:
    """What a scan looks at: the height of what was heard over ln f, shape (bins,)."""
    return _salience(peaks, _COARSE_STEP, (_COARSE_WIDTH,) * len(peaks), _HIGHEST_DB)


def scores(salience: Array, grid: SeriesGrid) -> Array:
    """How well each state explains what was heard, at its best ends, shape (states,)."""
    total = np.zeros(len(grid.state))
    for plane, index in enumerate(grid.index):
        met = salience[index]
        if plane == 0:
            score = np.sum(met - _MISSING * (1 - np.minimum(met / 6.0, 1.0)), axis=2)
        else:
            score = _SECOND_WEIGHT * np.sum(met, axis=2)
        total += score.max(axis=1)
    return total


def rank(
    peaks: Sequence[Peaks], grid: SeriesGrid, candidates: Sequence[Candidate], usual: Sequence[float] | Array
) -> tuple[Candidate, ...]:
    """Candidates again, by score and by how much of the new sound they account for: strong lines must not be left over.

    Of two that explain a ring about as well, the one near a ``usual`` state (of clear plucks before) is likelier.
    """
    long = peaks[0]
    new = long.height_db > 0
    frequency = long.frequency_hz[new]
    power = 10 ** (long.level_db[new] / 14)
    ranked, salience = [], _sharp_salience(peaks)
    for candidate in candidates:
        found = _series_at(salience, grid, candidate)
        series = np.exp(np.concatenate([logs for logs in found.log_frequency if logs is not None]))
        met = np.min(np.abs(frequency[:, None] / series - 1), axis=1, initial=1.0) < _MATCH[0]
        left = 1 - float(np.sum(power * met) / max(np.sum(power), 1e-30))
        first = np.exp(found.log_frequency[0][0])
        loud = long.level_db > np.max(long.level_db, initial=-300.0) - _FIRST_DB
        reach = np.where(long.height_db > 0, _MATCH[0], _HIDDEN)
        has_first = bool(np.any((np.abs(long.frequency_hz / first - 1) < reach)[loud]))
        share = (1 - _LEFT_OVER * left) * (1.0 if has_first else _NO_FIRST_MODE)
        if found.log_frequency[1] is not None and not grid.alike:
            share *= 1 - _EDGE_FIRST * float(
                _level_near(long, np.exp(found.log_frequency[1][0]), first) > _EDGE_LOUDER_DB
            )
        away = np.min(np.abs(np.asarray(usual) - found.state), initial=1.0)
        share *= 1 + _USUAL_BONUS * float(np.exp(-0.5 * (away / _USUAL_WIDTH) ** 2))
        ranked.append(replace(candidate, rank=candidate.score * share))
    return tuple(sorted(ranked, key=lambda candidate: -candidate.rank))


def _level_near(peaks: Peaks, one_hz: float, other_hz: float) -> float:
    """How much louder what is heard at one frequency is than at another, in dB."""
    levels = [
        np.max(peaks.level_db[np.abs(peaks.frequency_hz / hz - 1) < _MATCH[0]], initial=-200.0)
        for hz in (one_hz, other_hz)
    ]
    return float(levels[0] - levels[1])


def find_series(peaks: Sequence[Peaks], grid: SeriesGrid, candidate: Candidate) -> Found:
    """The series of both planes around a candidate state; the planes of a flat spoke choose the state together."""
    return _series_at(_sharp_salience(peaks), grid, candidate)


def _sharp_salience(peaks: Sequence[Peaks]) -> Array:
    return _salience(peaks, _SHARP_STEP, _SHARP_WIDTHS, _SHARP_HIGHEST_DB)


def _series_at(salience: Array, grid: SeriesGrid, candidate: Candidate) -> Found:
    """``find_series`` in the salience of the peaks, for whoever tries several candidates."""
    places = candidate.state_index + np.arange(-_AROUND * _FINE, _AROUND * _FINE + 1) / _FINE
    first_logs, second_logs = grid.log_frequency
    first = _Sharp(salience, first_logs, places)
    total = first.score.max(axis=1)
    if not grid.alike:
        total = total + _SECOND_SHARP * _Sharp(salience, second_logs, places).score.max(axis=1)
    at = int(np.argmax(total))
    series, _ = first.best(at)
    if grid.alike:
        second_logs = second_logs[:, np.abs(second_logs[round(first.places[at]), :, 0] - series[0]) < _WIDEST_SPLIT]
    near = first.places[at] + np.arange(-_SAME_TENSION, _SAME_TENSION + 1e-9, 1 / _FINE)
    second = _Sharp(_without(salience, series), second_logs, near)
    other, support = second.best(int(np.argmax(second.score.max(axis=1))))
    state = float(np.interp(first.places[at], np.arange(len(grid.state)), grid.state))
    return Found(state, (series, other if support >= _SECOND_PLANE_DB else None))


def tolerance_of(mode: Array) -> Array:
    """How far, relatively, a peak may lie from the predicted partial of this mode (from 1)."""
    return np.asarray(np.interp(mode, [1, 12], _MATCH))


class _Sharp:
    """One plane's series at fractional places of the grid, with their scores (places, ends)."""

    def __init__(self, salience: Array, logs: Array, places: Array) -> None:
        self.places = np.clip(places, 0, len(logs) - 1.001)
        low = self.places.astype(np.intp)
        part = (self.places - low)[:, None, None]
        self._series = logs[low] * (1 - part) + logs[low + 1] * part
        self._met = _met(salience, self._series[:, :, :SCANNED_MODES])
        missing = 0.5 * _MISSING * (1 - np.minimum(self._met / 6.0, 1.0))
        self.score = np.sum(self._met * _LOW_MODES - missing, axis=2)

    def best(self, place: int) -> tuple[Array, float]:
        """The best series at one place, and what its first three partials meet in dB."""
        end = int(np.argmax(self.score[place]))
        return self._series[place, end], float(self._met[place, end, :3].sum())


def _met(salience: Array, series: Array) -> Array:
    index = np.clip(np.round((series - _LOG_LOW) / _SHARP_STEP), 0, len(salience) - 1).astype(np.intp)
    return np.asarray(salience[index])


def _without(salience: Array, series: Array) -> Array:
    """Salience with the surroundings of a series' partials taken out."""
    left = salience.copy()
    reach = round(1.2 * _SHARP_WIDTHS[0] / _SHARP_STEP)
    for place in np.round((series - _LOG_LOW) / _SHARP_STEP).astype(int):
        left[max(0, place - reach) : max(0, place + reach + 1)] = 0.0
    return left


def _salience(peaks: Sequence[Peaks], step: float, widths: Sequence[float], highest_db: float) -> Array:
    """Height of what was heard, in dB, on the even grid of ln f: each peak spread by the matching width."""
    bins = round((_LOG_HIGH - _LOG_LOW) / step) + 1
    salience = np.zeros(bins)
    for found, width in zip(peaks, widths, strict=True):
        reach = round(3 * width / step)
        bell = np.exp(-0.5 * (np.arange(-reach, reach + 1) * step / width) ** 2)
        places = np.round((np.log(found.frequency_hz) - _LOG_LOW) / step).astype(int)
        for place, height in zip(places, _outdone(found, highest_db), strict=True):
            low, high = max(place - reach, 0), min(place + reach + 1, bins)
            if low < high:
                piece = height * bell[low - place + reach : high - place + reach]
                np.maximum(salience[low:high], piece, out=salience[low:high])
    salience[[0, -1]] = 0.0
    return salience


def _outdone(found: Peaks, highest_db: float) -> Array:
    """Heights, lowered where a near peak is far louder: beside a spoke's own line its neighbour's ring counts for little."""
    if len(found.frequency_hz) == 0:
        return found.height_db
    logs = np.log(found.frequency_hz)
    near = np.abs(logs[:, None] - logs) < _NEIGHBOURHOOD
    below = np.max(np.where(near, found.level_db, -np.inf), axis=1) - found.level_db
    share = np.clip(1 - (below - _OUTDONE_FROM_DB) / _OUTDONE_OVER_DB, _OUTDONE_LEAST, 1.0)
    return np.asarray(np.minimum(found.height_db, highest_db) * share)
