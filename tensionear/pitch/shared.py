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

_LOWEST_HZ, _SPACING_HZ, _REACH_HZ = 180.0, 55.0, 34.0
_ORDER, _LEAST_SINGULAR = 5, 0.012
_SAME_HZ, _CLUSTER_HZ = 1.2, 45.0
_FAINT_DB = 24.0
_OLD_SHARE = 0.5
_STEPS = 8
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
class Look:
    """How rings are looked at: up to ``highest_hz``, for ``low_s`` below ``split_hz`` and ``high_s`` above it, for decay rates
    (1/s) within ``rates``; what is known to less than ``worst`` of its frequency is left out, and what is less than ``clear``
    standard deviations strong (its band is then fitted again)."""

    highest_hz: float
    low_s: float
    high_s: float
    split_hz: float
    rates: tuple[float, float]
    worst: float = 0.004
    clear: float = 0.0

    def length_s(self, frequency_hz: float) -> float:
        """How long a band is looked at."""
        return self.low_s if frequency_hz < self.split_hz else self.high_s


_TOGETHER = Look(2700.0, 0.55, 0.3, 1000.0, (0.4, 60.0))


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
    found = found_poles(rings, _TOGETHER)
    lines: list[SharedLine] = []
    for cluster in clustered(found):
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


def _bands(ring: KeptRing, centre_hz: Array, length_s: float) -> Bands:
    """Bands of one ring, scaled to the ring's own level, its glide taken out."""
    scale = float(np.sqrt(np.mean(ring.ring[: round(0.1 * ring.rate_hz)] ** 2))) + 1e-12
    bands = bands_of(
        ring.ring[: round(length_s * ring.rate_hz)].astype(np.float64) / scale, ring.rate_hz, ring.start_s, centre_hz
    )
    glided = growth_of(bands.time_s, np.array([ring.swing_rate]), np.ones(1)) * ring.stretch * _HIGHER
    turned = bands.samples * np.exp(-2j * np.pi * np.outer(centre_hz, glided))
    return Bands(turned, bands.centre_hz, bands.time_s)


def found_poles(rings: Sequence[KeptRing], look: Look) -> list[tuple[float, float]]:
    """Frequency and decay rate of what stands out in either ring, strongest bands' view of each."""
    centre = np.arange(_LOWEST_HZ, look.highest_hz, _SPACING_HZ)
    found: list[tuple[float, float, float]] = []
    for low in (True, False):
        part = centre[(centre < look.split_hz) == low]
        each = [_bands(ring, part, look.low_s if low else look.high_s) for ring in rings]
        for at, hz in enumerate(part):
            for offset, rate, strength in _esprit([bands.samples[at] for bands in each]):
                if abs(offset) < _REACH_HZ and look.rates[0] < rate < look.rates[1]:
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


def clustered(poles: Sequence[tuple[float, float]]) -> list[list[tuple[float, float]]]:
    """Poles that lie so near each other that they are fitted together."""
    clusters: list[list[tuple[float, float]]] = []
    for pole in poles:
        if clusters and pole[0] - clusters[-1][-1][0] < _CLUSTER_HZ and len(clusters[-1]) < 6:
            clusters[-1].append(pole)
        else:
            clusters.append([pole])
    return clusters


def _refined(rings: Sequence[KeptRing], cluster: Sequence[tuple[float, float]]) -> list[SharedLine]:
    """The poles of one band fitted to both rings together."""
    lines = []
    for pole in fitted_poles(rings, cluster, _TOGETHER):
        floor = np.maximum(pole.size, 2 * pole.sd)
        ratio = float(np.log(floor[0] / floor[1]))
        u_ratio = float(np.sqrt(_LEAST_RATIO_SD**2 + np.sum((np.hypot(pole.noise, 0.7 * pole.old) / floor) ** 2)))
        ratio = float(np.clip(ratio, -_MOST_RATIO, _MOST_RATIO))
        lines.append(SharedLine(pole.frequency_hz, pole.u_frequency_hz, pole.decay_rate, ratio, u_ratio, pole.level_db))
    return lines


@dataclass(frozen=True, slots=True, eq=False)
class Pole:
    """A fitted pole: its ``size`` in either ring with the ``noise`` of that, and what was there before (``old``)."""

    frequency_hz: float
    u_frequency_hz: float
    decay_rate: float
    u_log_decay: float
    size: Array
    noise: Array
    old: Array

    @property
    def sd(self) -> Array:
        """Of the size, with what was there before."""
        return np.hypot(self.noise, self.old)

    @property
    def level_db(self) -> float:
        """Energy in the louder ring."""
        return 20 * float(np.log10(self.size.max() / np.sqrt(self.decay_rate)))


def fitted_poles(rings: Sequence[KeptRing], cluster: Sequence[tuple[float, float]], look: Look) -> list[Pole]:
    """The poles of one band fitted to the rings together, the least clear left out one by one."""
    centre = float(np.mean([hz for hz, _ in cluster]))
    length = look.length_s(centre)
    bands = [_bands(ring, np.array([centre]), length) for ring in rings]
    omega = np.array([2 * np.pi * (hz - centre) for hz, _ in cluster])
    rate = np.array([rate for _, rate in cluster])
    while True:
        prior = np.log(rate)
        for _ in range(_STEPS):
            step, covariance, amplitudes, sigmas = _gauss_newton(bands, omega, rate, prior)
            omega = omega + np.clip(step[: len(omega)], -6, 6)
            rate = np.clip(rate * np.exp(np.clip(step[len(omega) :], -0.5, 0.5)), *look.rates)
        clear = np.max(np.abs(amplitudes) / np.array(sigmas), axis=0)
        weakest = int(np.argmin(clear))
        if clear[weakest] > look.clear or len(omega) == 1:
            break
        omega, rate = np.delete(omega, weakest), np.delete(rate, weakest)
    poles = []
    for at in range(len(omega)):
        frequency = centre + float(omega[at]) / (2 * np.pi)
        size = np.abs([amplitude[at] for amplitude in amplitudes])
        sd = np.array([sigma[at] for sigma in sigmas])
        old = np.array([_level_before(ring, frequency) for ring in rings])
        if np.all(size < 4 * sd) or old[int(np.argmax(size))] > _OLD_SHARE * size.max():
            continue
        room = _ROOM * rate[at] / (2 * np.pi) * min(_ROOM_S * rate[at], _ROOM_MOST)
        variance, decay_variance = (max(float(covariance[place]), 0.0) for place in (at, len(omega) + at))
        noise = _CORRELATED * float(np.sqrt(variance)) / (2 * np.pi)
        u = float(np.sqrt(noise**2 + room**2 + (_UNRESOLVED * frequency) ** 2))
        if u < look.worst * frequency and abs(frequency - centre) < 2.5 * _CLUSTER_HZ:
            u_decay = _CORRELATED * float(np.sqrt(decay_variance))
            poles.append(Pole(frequency, u, float(rate[at]), u_decay, size, sd, old))
    return poles


def _gauss_newton(
    bands: Sequence[Bands], omega: Array, rate: Array, prior: Array
) -> tuple[Array, Array, list[Complex], list[Array]]:
    """One step of frequencies (rad/s) and ln decay rates; their variances; amplitudes and their sd by ring."""
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
    return covariance @ right, np.diag(covariance), amplitudes, sigmas


def _level_before(ring: KeptRing, frequency_hz: float) -> float:
    """Amplitude just before the pluck, in the scale of the bands."""
    if len(ring.before) < 0.05 * ring.rate_hz:
        return 0.0
    scale = float(np.sqrt(np.mean(ring.ring[: round(0.1 * ring.rate_hz)] ** 2))) + 1e-12
    window = np.hanning(len(ring.before) + 2)[1:-1]
    wave = np.exp(-2j * np.pi * frequency_hz / ring.rate_hz * np.arange(len(ring.before)))
    return float(2 * abs(np.sum(ring.before * window * wave)) / window.sum() / scale)
