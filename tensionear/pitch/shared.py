"""Partials that two rings share, with their levels in either: one set of poles for both. Imports ``ringfit``'s bands only.

Two spokes that touch sound together whichever of them is plucked. Their rings are looked at band by band, the Hankel
matrices of both side by side (ESPRIT: the poles are the rotation between shifted signal subspaces, Roy and Kailath 1989), then
refined by non-linear least squares with the amplitudes of either ring free. The ratio of a partial's two amplitudes is free of
microphone and room.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from .lines import KeptRing
from .ringfit import STEP_S, Bands, bands_of, growth_of

Array = NDArray[np.float64]
Complex = NDArray[np.complex128]

_LOWEST_HZ, _HIGHEST_HZ, _SPACING_HZ, _REACH_HZ = 180.0, 2700.0, 55.0, 34.0
_LONG_S, _SHORT_S, _SHORT_FROM_HZ = 0.55, 0.3, 1000.0
_ORDER, _LEAST_SINGULAR = 5, 0.012
_SAME_HZ, _CLUSTER_HZ = 1.2, 45.0
_RATES = (0.4, 60.0)  # 1/s
_FAINT_DB, _OLD_SHARE = 24.0, 0.5
_CORRELATED = 1.6  # as in ``ringfit``
_ROOM, _ROOM_S, _ROOM_MOST = 0.45, 0.05, 2.0
_UNRESOLVED = 1.5e-4
_ECHOES, _DB_A_NEPER = ((0.012, 10.5), (0.0025, 4.0)), 8.686  # nearer than so much of f, and so many dB below in both
_LAW_POWER, _LAW_RANGE, _LAW_LEAST = (
    0.75,
    (0.33, 3.0),
    6,
)  # decay rate by f to this power, and how far off it lines may be
_LEAST_RATIO_SD, _MOST_RATIO = 0.12, 3.6
_HIGHER = 2 / 3


@dataclass(frozen=True, slots=True)
class SharedLine:
    """A partial of two rings: ``ratio`` is the natural log of its amplitude in the first over that in the second, with its
    standard deviation; ``level_db`` its level in the louder."""

    frequency_hz: float
    u_frequency_hz: float
    decay_rate: float
    ratio: float
    u_ratio: float
    level_db: float


def shared_lines(first: KeptRing, second: KeptRing) -> tuple[SharedLine, ...]:
    """The partials of two rings by rising frequency."""
    rings = (first, second)
    found = _poles(rings)
    lines: list[SharedLine] = []
    for cluster in _clusters(found):
        lines += _refined(rings, cluster)
    lines = _lawful(lines)
    if not lines:
        return ()
    loudest = max(line.level_db for line in lines)
    kept = [line for line in lines if line.level_db > loudest - _FAINT_DB and not _is_echo(line, lines)]
    return tuple(sorted(kept, key=lambda line: line.frequency_hz))


def _lawful(lines: Sequence[SharedLine]) -> list[SharedLine]:
    """The lines that die away about as their fellows do; echoes and pieces of a badly split band do not."""
    if len(lines) < _LAW_LEAST:
        return list(lines)
    logs = np.log([line.decay_rate for line in lines]) - _LAW_POWER * np.log([line.frequency_hz for line in lines])
    level = np.array([line.level_db for line in lines])
    usual = np.median(logs[np.argsort(-level)[: max(_LAW_LEAST, len(lines) // 2)]])
    low, high = np.log(_LAW_RANGE)
    return [line for line, log in zip(lines, logs, strict=True) if low < log - usual < high]


def _is_echo(line: SharedLine, lines: Sequence[SharedLine]) -> bool:
    """Whether a near line is so much stronger in both rings that this one is the room's answer to it."""
    return any(
        abs(other.frequency_hz / line.frequency_hz - 1) < reach
        and all(mine < theirs - below for mine, theirs in zip(_levels_db(line), _levels_db(other), strict=True))
        for other in lines
        for reach, below in _ECHOES
    )


def _levels_db(line: SharedLine) -> tuple[float, float]:
    """Level in either ring."""
    less = _DB_A_NEPER * abs(line.ratio)
    return (line.level_db, line.level_db - less) if line.ratio > 0 else (line.level_db - less, line.level_db)


def _length_s(frequency_hz: float) -> float:
    return _LONG_S if frequency_hz < _SHORT_FROM_HZ else _SHORT_S


def _bands(ring: KeptRing, centre_hz: Array, length_s: float) -> Bands:
    """Bands of one ring, scaled to the ring's own level, its glide taken out."""
    scale = float(np.sqrt(np.mean(ring.ring[: round(0.1 * ring.rate_hz)] ** 2))) + 1e-12
    bands = bands_of(
        ring.ring[: round(length_s * ring.rate_hz)].astype(np.float64) / scale, ring.rate_hz, ring.start_s, centre_hz
    )
    glided = growth_of(bands.time_s, np.array([ring.swing_rate]), np.ones(1)) * ring.stretch * _HIGHER
    turned = bands.samples * np.exp(-2j * np.pi * np.outer(centre_hz, glided))
    return Bands(turned, bands.centre_hz, bands.time_s)


def _poles(rings: Sequence[KeptRing]) -> list[tuple[float, float]]:
    """Frequency and decay rate of what stands out in either ring, strongest bands' view of each."""
    centre = np.arange(_LOWEST_HZ, _HIGHEST_HZ, _SPACING_HZ)
    found: list[tuple[float, float, float]] = []
    for low in (True, False):
        part = centre[(centre < _SHORT_FROM_HZ) == low]
        each = [_bands(ring, part, _LONG_S if low else _SHORT_S) for ring in rings]
        for at, hz in enumerate(part):
            for offset, rate, strength in _esprit([bands.samples[at] for bands in each]):
                if abs(offset) < _REACH_HZ and _RATES[0] < rate < _RATES[1]:
                    found.append((hz + offset, rate, strength))
    kept: list[tuple[float, float]] = []
    for hz, rate, _ in sorted(found, key=lambda pole: -pole[2]):
        if all(abs(hz - other) > _SAME_HZ for other, _ in kept):
            kept.append((hz, rate))
    return sorted(kept)


def _esprit(samples: Sequence[Complex]) -> list[tuple[float, float, float]]:
    """Offset (Hz), decay rate (1/s) and strength of the poles of two sequences at once."""
    count = min(len(each) for each in samples)
    rows = int(0.4 * count)
    if rows < 6:
        return []
    hankel = [np.lib.stride_tricks.sliding_window_view(each[:count], rows).T for each in samples]
    left, singular, _ = np.linalg.svd(np.hstack(hankel), full_matrices=False)
    order = int(np.sum(singular[:_ORDER] > max(_LEAST_SINGULAR * singular[0], 3.0 * float(np.median(singular)))))
    if order == 0:
        return []
    signal = left[:, :order]
    roots = np.linalg.eigvals(np.linalg.lstsq(signal[:-1], signal[1:], rcond=None)[0])
    time = np.arange(count)
    columns = roots[None, :] ** time[:, None]
    strength = np.zeros(order)
    for each in samples:
        weights = np.linalg.lstsq(columns, each[:count], rcond=None)[0]
        strength = np.maximum(strength, np.abs(weights))
    offset, rate = np.angle(roots) / (2 * np.pi * STEP_S), -np.log(np.abs(roots) + 1e-12) / STEP_S
    return list(zip(offset.tolist(), rate.tolist(), strength.tolist(), strict=True))


def _clusters(poles: Sequence[tuple[float, float]]) -> list[list[tuple[float, float]]]:
    clusters: list[list[tuple[float, float]]] = []
    for pole in poles:
        if clusters and pole[0] - clusters[-1][-1][0] < _CLUSTER_HZ and len(clusters[-1]) < 6:
            clusters[-1].append(pole)
        else:
            clusters.append([pole])
    return clusters


def _refined(rings: Sequence[KeptRing], cluster: Sequence[tuple[float, float]]) -> list[SharedLine]:
    """The poles of one band fitted to both rings together."""
    centre = float(np.mean([hz for hz, _ in cluster]))
    length = _length_s(centre)
    bands = [_bands(ring, np.array([centre]), length) for ring in rings]
    omega = np.array([2 * np.pi * (hz - centre) for hz, _ in cluster])
    rate = np.array([rate for _, rate in cluster])
    prior = np.log(rate)
    for _ in range(8):
        step, covariance, amplitudes, sigmas = _gauss_newton(bands, omega, rate, prior)
        omega = omega + np.clip(step[: len(omega)], -6, 6)
        rate = np.clip(rate * np.exp(np.clip(step[len(omega) :], -0.5, 0.5)), *_RATES)
    lines = []
    for at in range(len(omega)):
        frequency = centre + float(omega[at]) / (2 * np.pi)
        size = np.abs([amplitude[at] for amplitude in amplitudes])
        sd = np.array([sigma[at] for sigma in sigmas])
        old = np.array([_level_before(ring, frequency) for ring in rings])
        if np.all(size < 4 * sd) or old[int(np.argmax(size))] > _OLD_SHARE * size.max():
            continue
        floor = np.maximum(size, 2 * np.hypot(sd, old))
        ratio = float(np.log(floor[0] / floor[1]))
        u_ratio = float(np.sqrt(_LEAST_RATIO_SD**2 + np.sum((np.hypot(sd, 0.7 * old) / floor) ** 2)))
        room = _ROOM * rate[at] / (2 * np.pi) * min(_ROOM_S * rate[at], _ROOM_MOST)
        noise = _CORRELATED * float(np.sqrt(max(covariance[at], 0.0))) / (2 * np.pi)
        u = float(np.sqrt(noise**2 + room**2 + (_UNRESOLVED * frequency) ** 2))
        if u < 0.004 * frequency and abs(frequency - centre) < 2.5 * _CLUSTER_HZ:
            level = 20 * float(np.log10(size.max() / np.sqrt(rate[at])))
            lines.append(
                SharedLine(
                    frequency, u, float(rate[at]), float(np.clip(ratio, -_MOST_RATIO, _MOST_RATIO)), u_ratio, level
                )
            )
    return lines


def _gauss_newton(
    bands: Sequence[Bands], omega: Array, rate: Array, prior: Array
) -> tuple[Array, Array, list[Complex], list[Array]]:
    """One step of frequencies (rad/s) and ln decay rates; the variances of the first; amplitudes and their sd by ring."""
    poles = len(omega)
    normal, right = np.zeros((2 * poles, 2 * poles)), np.zeros(2 * poles)
    amplitudes, sigmas = [], []
    for band in bands:
        time, data = band.time_s, band.samples[0]
        columns = np.exp(np.outer(time, 1j * omega - rate))
        gram = columns.conj().T @ columns + 1e-9 * len(time) * np.eye(poles)
        inverse = np.linalg.inv(gram)
        weights = inverse @ (columns.conj().T @ data)
        residual = data - columns @ weights
        variance = float(np.sum(np.abs(residual) ** 2)) / max(len(time) - 2 * poles, 2) + 1e-16
        wave = columns * weights
        slopes = np.hstack([1j * time[:, None] * wave, -(time[:, None] * rate) * wave])
        slopes = slopes - columns @ (inverse @ (columns.conj().T @ slopes))
        normal += 2 / variance * np.real(slopes.conj().T @ slopes)
        right += 2 / variance * np.real(slopes.conj().T @ residual)
        amplitudes.append(weights)
        sigmas.append(_CORRELATED * np.sqrt(variance * np.abs(np.diag(inverse))))
    damped = normal + np.diag(np.r_[np.full(poles, 1e-4), np.full(poles, 0.4**-2)])
    right[poles:] += (prior - np.log(rate)) / 0.4**2
    covariance = np.linalg.inv(damped)
    return covariance @ right, np.diag(covariance)[:poles], amplitudes, sigmas


def _level_before(ring: KeptRing, frequency_hz: float) -> float:
    """Amplitude just before the pluck, in the scale of the bands."""
    if len(ring.before) < 0.05 * ring.rate_hz:
        return 0.0
    scale = float(np.sqrt(np.mean(ring.ring[: round(0.1 * ring.rate_hz)] ** 2))) + 1e-12
    window = np.hanning(len(ring.before) + 2)[1:-1]
    wave = np.exp(-2j * np.pi * frequency_hz / ring.rate_hz * np.arange(len(ring.before)))
    return float(2 * abs(np.sum(ring.before * window * wave)) / window.sum() / scale)
