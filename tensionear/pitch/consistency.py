"""Which of the fitted lines belong to the spoke: those that lie together on one smooth series. Imports ``lines``, ``series``.

A fitted line is known to a fraction of a cent, and the partials of one bending plane lie within about a cent of a curve that
the spoke could have: a state of the grid, then a shift and a share of the bending stiffness. A neighbour's ring, what rang
before and the pieces of a badly split band do not lie on it. The other plane of a round spoke has the same tension and
stiffness and other ends: its split over the modes follows one pattern.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import product

import numpy as np
from numpy.typing import NDArray

from .lines import Line
from .series import LEEWAY_STEP, Found, SeriesGrid
from .spectrum import Array

_CENT = float(np.log(2)) / 1200
_LOG_LOW, _LOG_HIGH, _STEP = float(np.log(45.0)), float(np.log(7500.0)), 0.3 * _CENT
#: Steps of the grid's state tried about the one found, by plane: the ends of one plane make up for much, those of two for more.
_PLACES = (np.arange(-30.0, 30.1, 0.5), np.arange(-20.0, 20.1, 1.0))
_WIDTHS = 2.0 * _CENT, 4.0 * _CENT  # of a state of the grid about the partials of a spoke
_REFINING = (5.0 * _CENT, 3.0 * _CENT, 2.0 * _CENT)
_SHIFT_SD = 6.0 * _CENT
_TRIED = (-1.0, 0.0, 1.0)  # standard deviations of what the grid holds fixed
_MODEL_SD = 1.2 * _CENT  # of the partials about the refined curve
_NEAR = 3.0  # standard deviations
_LEEWAY_COST = 0.1  # of the score, by squared standard deviations
_AWAY_COST = 0.03  # of the score, by steps of the grid away from the state found among the peaks
_LOW_MODES = np.array([2.3, 1.6, 1.4, 1.2])
_FAINT_DB, _SILENT_DB, _LEAST_FRESH = 45.0, 300.0, 0.02
_SPLIT_SHAPE = 0.15  # of a split: how far its course over the modes may be off
_WIDEST_SPLIT, _SPLIT_STEP, _SPLIT_COST = 40 * _CENT, 0.5 * _CENT, 0.03 / _CENT
_EDGE_MODES, _EDGE_DB, _EDGE_EVIDENCE = 4, 26.0, 0.5  # an edge plane fainter than that is a neighbour's
_BLEND, _BLENDED = 0.3, 8 * _CENT  # of the split, up to so wide a one
#: The decay rate rises with f to this power; ln of how far off that law a partial may be; from so many lines on it is known.
_LAW_POWER, _LAW_RANGE, _LAW_LEAST = 0.75, (-1.4, 1.3), 4
_TWIN_MODES, _TWIN_DB, _TWIN_EVIDENCE = 8, 24.0, 0.8


@dataclass(frozen=True, slots=True, eq=False)
class _Curve:
    """ln f by mode, with the leeway (ways, modes) it has, and what a change of the ends does to it, 1 at mode 1."""

    logs: Array
    leeway: Array
    ends: Array


@dataclass(frozen=True, slots=True, eq=False)
class _Heard:
    """Lines as arrays: ln f, its standard deviation, energy in dB below the strongest, weight 0.1..1."""

    logs: Array
    u: Array
    below_db: Array
    weight: Array


def belonging(lines: Sequence[Line], fresh: Array, series: Found, grid: SeriesGrid) -> list[Line]:
    """The same lines with new names: mode and plane where a line lies on the plane's curve, None elsewhere.

    Parameters
    ----------
    lines : sequence of Line
        As fitted; their names are not looked at.
    fresh : ndarray, shape (lines,)
        Share of the power of each that did not ring before, 0..1.
    series : Found
        The series found among the peaks, to start from.
    grid : SeriesGrid
    """
    if not lines:
        return []
    heard = _as_arrays(lines, fresh)
    names: dict[int, tuple[int, int]] = {}
    blended: dict[int, float] = {}
    main = _refined(_start(heard, grid, 0, series.state), heard, np.zeros(len(lines), bool))
    mine = _picked(main.logs, heard, names)
    wild = _wild(lines, list(mine.values()))
    names |= {line: (0, mode) for mode, line in mine.items() if mode == 1 or line not in wild}
    heard = _less(heard, wild)
    if grid.alike:
        split = _split(main, heard, names)
        if split is not None:
            other = _Curve(main.logs + split * main.ends, main.leeway, main.ends)
            second = _picked(other.logs, heard, names, _SPLIT_SHAPE * abs(split))
            names |= {line: (0, mode) for mode, line in second.items()}
            blended = _blended(main, split, names, second)
    elif series.log_frequency[1] is not None:
        taken = np.array([line in names for line in range(len(lines))])
        other = _refined(_start(heard, grid, 1, series.state), heard, taken)
        second = _picked(other.logs, heard, names)
        loud = sum(
            max(1 - float(heard.below_db[line]) / _EDGE_DB, 0.0) for mode, line in second.items() if mode <= _EDGE_MODES
        )
        if loud > _EDGE_EVIDENCE:
            names |= {line: (1, mode) for mode, line in second.items()}
    return [
        replace(
            line,
            plane=names.get(at, (None, None))[0],
            mode=names.get(at, (None, None))[1],
            u_frequency_hz=float(np.hypot(line.u_frequency_hz, blended.get(at, 0.0) * line.frequency_hz)),
        )
        for at, line in enumerate(lines)
    ]


def _wild(lines: Sequence[Line], own: Sequence[int]) -> set[int]:
    """Lines that die much faster or slower than the spoke's others of their pitch: pieces of a badly split band."""
    logs = np.log([line.decay_rate for line in lines]) - _LAW_POWER * np.log([line.frequency_hz for line in lines])
    if len(own) < _LAW_LEAST:
        return set()
    away = logs - np.median(logs[list(own)])
    return {int(at) for at in np.flatnonzero((away < _LAW_RANGE[0]) | (away > _LAW_RANGE[1]))}


def _blended(main: _Curve, split: float, names: dict[int, tuple[int, int]], second: dict[int, int]) -> dict[int, float]:
    """What is added to the relative uncertainty of lines that are the only one of their mode where two planes sound."""
    shifts = {line: abs(split * float(main.ends[mode - 1])) for line, (_, mode) in names.items() if mode not in second}
    return {line: _BLEND * shift for line, shift in shifts.items() if shift < _BLENDED}


def _as_arrays(lines: Sequence[Line], fresh: Array) -> _Heard:
    frequency = np.array([line.frequency_hz for line in lines])
    energy = np.array([line.energy_db for line in lines]) + 10 * np.log10(np.maximum(fresh, _LEAST_FRESH))
    below = energy.max() - energy
    u = np.array([line.u_frequency_hz for line in lines]) / frequency
    return _Heard(np.log(frequency), u, below, np.clip(1 - below / _FAINT_DB, 0.1, 1.0))


def _less(heard: _Heard, lines: set[int]) -> _Heard:
    """The same without the say of these lines."""
    without = np.array([at in lines for at in range(len(heard.logs))])
    return replace(
        heard, below_db=np.where(without, _SILENT_DB, heard.below_db), weight=np.where(without, 0.0, heard.weight)
    )


def _start(heard: _Heard, grid: SeriesGrid, plane: int, state: float) -> _Curve:
    """The state of the grid, near the one found, that meets the most of the lines."""
    logs = grid.log_frequency[plane]
    step = float(grid.state[1] - grid.state[0])
    places = np.clip((state - float(grid.state[0])) / step + _PLACES[plane], 0, len(logs) - 1.001)
    low = places.astype(np.intp)
    part = (places - low)[:, None, None]
    leeway = grid.leeway[plane][low // LEEWAY_STEP]  # (places, ends, ways, modes)
    tried = np.array(list(product(_TRIED, repeat=leeway.shape[2])))
    series = (logs[low] * (1 - part) + logs[low + 1] * part) + np.tensordot(tried, leeway, axes=(1, 2))
    met = _salience(heard, plane)[np.clip(np.round((series - _LOG_LOW) / _STEP), 0, _BINS - 1).astype(np.intp)]
    met[..., : len(_LOW_MODES)] *= _LOW_MODES
    score = met.sum(axis=3) - _LEEWAY_COST * np.sum(tried**2, axis=1)[:, None, None]
    score -= _AWAY_COST * np.abs(_PLACES[plane])[:, None]
    way, place, end = (int(at) for at in np.unravel_index(int(np.argmax(score)), score.shape))
    above, below = min(end + 1, logs.shape[1] - 1), max(end - 1, 0)
    by_ends = series[way, place, above] - series[way, place, below]
    shape = np.clip(by_ends / by_ends[0], 0.2, 1.6) if by_ends[0] > 1e-6 else np.ones_like(by_ends)
    return _Curve(series[way, place, end], leeway[place, end], shape)


_BINS = round((_LOG_HIGH - _LOG_LOW) / _STEP) + 1


def _salience(heard: _Heard, plane: int) -> Array:
    """The weight of the lines on an even grid of ln f, each spread by what a state may be off."""
    salience = np.zeros(_BINS)
    for log, u, weight in zip(heard.logs, heard.u, heard.weight, strict=True):
        width = float(np.hypot(_WIDTHS[plane], u))
        reach = round(3 * width / _STEP)
        middle = round((log - _LOG_LOW) / _STEP)
        low, high = max(middle - reach, 1), min(middle + reach + 1, _BINS - 1)
        if low < high:
            bell = weight * np.exp(-0.5 * ((np.arange(low, high) - middle) * _STEP / width) ** 2)
            np.maximum(salience[low:high], bell, out=salience[low:high])
    return salience


def _refined(start: _Curve, heard: _Heard, taken: NDArray[np.bool_]) -> _Curve:
    """The curve shifted and bent to the lines it meets, the nearest and strongest of each mode."""
    basis = np.concatenate([np.ones((1, len(start.logs))), start.leeway]).T
    prior = np.diag([_SHIFT_SD**-2, *np.ones(len(start.leeway))])
    logs = start.logs
    modes = np.arange(len(logs))
    for width in _REFINING:
        away = heard.logs[:, None] - logs
        near = heard.weight[:, None] * np.exp(-0.5 * away**2 / (width**2 + heard.u[:, None] ** 2))
        near[taken] = 0.0
        best = np.argmax(near, axis=0)
        weight = near[best, modes] / (_MODEL_SD**2 + heard.u[best] ** 2)
        residual = heard.logs[best] - start.logs
        normal = basis.T @ (weight[:, None] * basis) + prior
        logs = start.logs + basis @ np.linalg.solve(normal, basis.T @ (weight * residual))
    return _Curve(logs, start.leeway, start.ends)


def _picked(curve: Array, heard: _Heard, names: dict[int, tuple[int, int]], model_sd: float = 0.0) -> dict[int, int]:
    """Line of each mode that lies on the curve, by mode from 1."""
    away = np.abs(heard.logs[:, None] - curve) / np.hypot(np.hypot(_MODEL_SD, model_sd), heard.u)[:, None]
    away[list(names)] = np.inf
    cost = np.where(away < _NEAR, away + heard.below_db[:, None] / 10, np.inf)
    best = np.argmin(cost, axis=0)
    return {mode + 1: int(line) for mode, line in enumerate(best) if np.isfinite(cost[line, mode])}


def _split(main: _Curve, heard: _Heard, names: dict[int, tuple[int, int]]) -> float | None:
    """How far the other plane lies from the main one at mode 1 (of ln f), or None if nothing tells.

    Each line left over, no further below the main plane's line of its mode than a neighbour's ring would be, speaks for the
    split it needs.
    """
    own = {mode: line for line, (_, mode) in names.items()}
    left = [line for line in range(len(heard.logs)) if line not in names]
    splits = np.arange(-_WIDEST_SPLIT, _WIDEST_SPLIT + 1e-12, _SPLIT_STEP)
    evidence = np.zeros((len(splits), _TWIN_MODES))
    for line in left:
        away = heard.logs[line] - main.logs[:_TWIN_MODES]
        mode = int(np.argmin(np.abs(away)))
        if abs(away[mode]) > _WIDEST_SPLIT * 1.2 or mode + 1 not in own:
            continue
        loud = 1 - max(heard.below_db[line] - heard.below_db[own[mode + 1]], 0.5 * heard.below_db[line]) / _TWIN_DB
        width = np.hypot(np.hypot(_MODEL_SD, heard.u[line]), _SPLIT_SHAPE * splits)
        fits = np.exp(-0.5 * ((away[mode] - splits * main.ends[mode]) / width) ** 2)
        evidence[:, mode] = np.maximum(evidence[:, mode], max(loud, 0.0) * fits)
    total = evidence.sum(axis=1) - _SPLIT_COST * np.abs(splits)
    best = int(np.argmax(total))
    return float(splits[best]) if total[best] > _TWIN_EVIDENCE else None
