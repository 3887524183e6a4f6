"""Damped, gliding partials fitted to the bands of one ring by non-linear least squares. Imports nothing of the package.

Each partial is looked at in a band of its own: shifted to zero frequency, low-passed by a Blackman filter used only where it
is fully supported (a damped exponential stays one), and decimated. A band holds one or more components

    A exp(-a t + i 2 pi (f - f_band) t + i 2 pi f s D G(t)),    G(t) = sum_p w_p (1 - exp(-2 a_p t)) / (2 a_p)

with free complex A (eliminated: variable projection, Golub and Pereyra 1973, in Kaufman's form), frequency f at vanishing
swing, decay rate a; s = 1 for a first mode and 2/3 for the others; D, the stretch at the pluck, is shared by all bands and
dies with the square of the swing, that is with twice the decay rates a_p of the first modes, in the shares w_p of their
power. All bands are solved together.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]
Complex = NDArray[np.complex128]
Mask = NDArray[np.bool_]

FILTER_S = 0.0267
STEP_S = 0.0053
_CORRELATED = 1.6  # overlapping filters make the samples dependent: sigma from independent ones is too small by this
_ITERATIONS = 9
_SETTLED = 0.02  # rad/s, and of ln a: smaller steps change nothing
_SHORTEST_DECAY_S, _LONGEST_DECAY_S = 0.008, 8.0
_DECAY_SD = 0.8  # of ln a about its starting value: real partials of one spoke follow a common law that closely


@dataclass(frozen=True, slots=True, eq=False)
class Bands:
    """Baseband sound: ``samples`` (bands, times), ``centre_hz`` (bands,), ``time_s`` (times,) after the pluck."""

    samples: Complex
    centre_hz: Array
    time_s: Array


@dataclass(frozen=True, slots=True, eq=False)
class Components:
    """Starting values, shapes (bands, components); ``used`` marks those that exist."""

    frequency_hz: Array
    decay_rate: Array
    used: Mask


@dataclass(frozen=True, slots=True, eq=False)
class Standing:
    """What rings on from before, shapes (bands, lines): known frequency and decay, free amplitude. May hold no lines."""

    frequency_hz: Array
    decay_rate: Array
    used: Mask


@dataclass(frozen=True, slots=True)
class Glide:
    """Prior of the stretch: mean and standard deviation of D (relative frequency), and how it dies.

    The square of the swing is the sum of what the first modes hold: ``shares`` (adding to 1) that decay with ``rates`` (1/s).
    """

    mean: float
    sd: float
    rates: tuple[float, ...]
    shares: tuple[float, ...]

    def growth(self, time_s: Array) -> Array:
        """G(t): the stretch summed up from the pluck to this time, in seconds, for D = 1."""
        parts = (
            share * (1 - np.exp(-2 * rate * time_s)) / (2 * rate)
            for rate, share in zip(self.rates, self.shares, strict=True)
        )
        return np.asarray(sum(parts))


@dataclass(frozen=True, slots=True, eq=False)
class RingFit:
    """Result, shapes (bands, components): frequencies at vanishing swing, their standard deviations by noise alone,
    decay rates, amplitudes at the pluck; ``residual`` and ``power`` (bands,) are mean squares; ``stretch`` is D.
    """

    frequency_hz: Array
    sd_hz: Array
    decay_rate: Array
    amplitude: Complex
    residual: Array
    power: Array
    stretch: float
    sd_stretch: float
    used: Mask


def bands_of(ring: Array, rate_hz: float, start_s: float, centre_hz: Array) -> Bands:
    """Cut the ring (shape (n,), beginning ``start_s`` after the pluck) into bands around ``centre_hz``."""
    taps, step = round(FILTER_S * rate_hz), round(STEP_S * rate_hz)
    window = np.blackman(taps + 2)[1:-1]
    window = window / window.sum() * 2
    count = max(1, (len(ring) - taps) // step + 1)
    frames = np.lib.stride_tricks.sliding_window_view(ring, taps)[::step][:count]
    place = np.arange(taps) - (taps - 1) / 2
    shift = np.exp(-2j * np.pi / rate_hz * np.outer(place, centre_hz)) * window[:, None]
    filtered = frames @ shift.real + 1j * (frames @ shift.imag)
    time_s: Array = np.asarray(start_s + (np.arange(count) * step + (taps - 1) / 2) / rate_hz, dtype=np.float64)
    samples = filtered.T * np.exp(-2j * np.pi * np.outer(centre_hz, time_s))
    return Bands(samples, centre_hz, time_s)


def fit_ring(bands: Bands, start: Components, standing: Standing, share: Array, glide: Glide) -> RingFit:
    """Fit all bands together.

    Parameters
    ----------
    bands : Bands
    start : Components
    standing : Standing
    share : ndarray, shape (bands,)
        1 for a band of first modes, 2/3 for others.
    glide : Glide
    """
    time, centre = bands.time_s, bands.centre_hz[:, None]
    growth = glide.growth(time)
    used = start.used
    omega = 2 * np.pi * (start.frequency_hz - centre)
    log_decay = np.log(start.decay_rate)
    stretch = glide.mean
    old = _old_columns(bands, standing)
    state = _Linear(bands, omega, log_decay, stretch, growth, share, used, old)
    cost = _cost(state, start, log_decay)
    damping = np.full(len(centre), 0.01)
    low, high = np.log(1 / _LONGEST_DECAY_S), np.log(1 / _SHORTEST_DECAY_S)
    for _ in range(_ITERATIONS):
        pull = (np.log(start.decay_rate) - log_decay) / _DECAY_SD**2
        step_omega, step_decay, step_stretch, _, _ = _step(state, glide, stretch, damping, pull)
        new_omega = omega + np.clip(step_omega, -8.0, 8.0)
        new_decay = np.clip(log_decay + np.clip(step_decay, -0.8, 0.8), low, high)
        stretch = stretch + float(np.clip(step_stretch, -glide.sd, glide.sd))
        tried = _Linear(bands, new_omega, new_decay, stretch, growth, share, used, old)
        new_cost = _cost(tried, start, new_decay)
        worse = new_cost > cost + 3.0
        omega = np.where(worse[:, None], omega, new_omega)
        log_decay = np.where(worse[:, None], log_decay, new_decay)
        damping = np.where(worse, np.maximum(damping * 10, 0.3), damping * 0.3)
        state = _Linear(bands, omega, log_decay, stretch, growth, share, used, old) if worse.any() else tried
        cost = _cost(state, start, log_decay) if worse.any() else new_cost
        if max(_largest(step_omega, worse), _largest(step_decay, worse)) < _SETTLED:
            break
    damping = np.zeros(len(centre))
    _, _, _, sd_omega, sd_stretch = _step(state, glide, stretch, damping, np.zeros_like(omega))
    return RingFit(
        np.where(used, centre + omega / (2 * np.pi), 0.0),
        np.where(used, _CORRELATED * sd_omega / (2 * np.pi), 0.0),
        np.exp(log_decay),
        np.where(used, state.amplitude, 0),
        state.variance,
        np.mean(np.abs(bands.samples) ** 2, axis=1),
        stretch,
        sd_stretch,
        used,
    )


def _largest(step: Array, worse: Mask) -> float:
    """The largest step of the bands that took one; infinite while one of them did not."""
    return np.inf if worse.any() else float(np.max(np.abs(step), initial=0.0))


def _cost(state: _Linear, start: Components, log_decay: Array) -> Array:
    """Minus twice the log posterior of each band, but for a constant."""
    decay = np.sum(((log_decay - np.log(start.decay_rate)) / _DECAY_SD) ** 2 * start.used, axis=1)
    return np.asarray(np.log(state.variance) * 2 * len(state.time) / _CORRELATED**2 + decay)


def residual_of(bands: Bands, fit: RingFit, standing: Standing, share: Array, glide: Glide) -> Complex:
    """What the fit leaves, shape (bands, times)."""
    growth = glide.growth(bands.time_s)
    omega = 2 * np.pi * (fit.frequency_hz - bands.centre_hz[:, None])
    old = _old_columns(bands, standing)
    state = _Linear(bands, omega, np.log(fit.decay_rate), fit.stretch, growth, share, fit.used, old)
    return np.asarray(state.residual)


class _Linear:
    """The model at one set of non-linear values: columns, the linear amplitudes, what is left, and the slopes."""

    def __init__(
        self,
        bands: Bands,
        omega: Array,
        log_decay: Array,
        stretch: float,
        growth: Array,
        share: Array,
        used: Mask,
        old: Complex,
    ) -> None:
        time = bands.time_s
        self.time, self.used, self.decay = time, used, np.exp(log_decay)
        frequency = bands.centre_hz[:, None] + omega / (2 * np.pi)
        self.by_stretch = 2 * np.pi * frequency[:, :, None] * share[:, None, None] * growth
        phase = omega[:, :, None] * time + stretch * self.by_stretch
        self.column = np.exp(-self.decay[:, :, None] * time + 1j * phase) * used[:, :, None]
        self.columns = np.concatenate([self.column, old], axis=1)
        conjugate = self.columns.conj()
        gram = conjugate @ self.columns.transpose(0, 2, 1)
        empty = np.real(np.einsum("pkk->pk", gram)) < 1e-12
        gram = gram + np.eye(gram.shape[1]) * (empty * 1.0 + 1e-9 * np.real(np.einsum("pkk->pk", gram)))[:, None, :]
        self.inverse_gram = np.linalg.inv(gram)
        self.conjugate = conjugate
        weights = np.einsum("pkl,pl->pk", self.inverse_gram, np.einsum("pkn,pn->pk", conjugate, bands.samples))
        self.amplitude = weights[:, : omega.shape[1]]
        self.residual = bands.samples - np.einsum("pk,pkn->pn", weights, self.columns)
        freedom = np.maximum(len(time) - 2 * used.sum(axis=1), 2)
        self.variance = np.sum(np.abs(self.residual) ** 2, axis=1) / freedom + 1e-24

    def project(self, slopes: Complex) -> Complex:
        """Take out of slopes (bands, rows, times) what the linear amplitudes can make up for."""
        inner = np.einsum("pkn,prn->pkr", self.conjugate, slopes)
        return np.asarray(slopes - np.einsum("pkr,pkn->prn", self.inverse_gram @ inner, self.columns))


def _step(
    state: _Linear, glide: Glide, stretch: float, damping: Array, pull: Array
) -> tuple[Array, Array, float, Array, float]:
    """One Gauss-Newton step: changes of omega, ln a and the stretch, and the standard deviations of omega and stretch."""
    bands, kinds, _ = state.column.shape
    wave = state.amplitude[:, :, None] * state.column
    by_omega = 1j * state.time * wave
    by_decay = -state.time * state.decay[:, :, None] * wave
    by_stretch = np.sum(1j * state.by_stretch * wave, axis=1, keepdims=True)
    slopes = state.project(np.concatenate([by_omega, by_decay, by_stretch], axis=1))
    weight = 2 / state.variance
    normal = np.real(slopes.conj() @ slopes.transpose(0, 2, 1)) * weight[:, None, None]
    right = np.real(np.einsum("prn,pn->pr", slopes.conj(), state.residual)) * weight[:, None]
    right[:, kinds : 2 * kinds] += pull
    own, border, corner = normal[:, :-1, :-1], normal[:, :-1, -1], normal[:, -1, -1]
    diagonal = np.einsum("pkk->pk", own)
    prior = np.concatenate([np.full((bands, kinds), 1e-9), np.full((bands, kinds), _DECAY_SD**-2)], axis=1)
    own = own + np.eye(2 * kinds) * (damping[:, None] * diagonal + prior + 1e-12 * diagonal + 1e-9)[:, None, :]
    inverse = np.linalg.inv(own)
    through = np.einsum("pkl,pl->pk", inverse, border)
    schur = float(np.sum(corner - np.einsum("pk,pk->p", border, through))) + 1 / glide.sd**2
    right_stretch = float(np.sum(right[:, -1] - np.einsum("pk,pk->p", through, right[:, :-1])))
    step_stretch = (right_stretch + (glide.mean - stretch) / glide.sd**2) / max(schur, 1e-30)
    step = np.einsum("pkl,pl->pk", inverse, right[:, :-1]) - through * step_stretch
    spread = np.einsum("pkk->pk", inverse) + through**2 / max(schur, 1e-30)
    sd = np.sqrt(spread[:, :kinds]) * state.used
    return step[:, :kinds] * state.used, step[:, kinds:] * state.used, step_stretch, sd, schur**-0.5


def _old_columns(bands: Bands, standing: Standing) -> Complex:
    shift = 2j * np.pi * (standing.frequency_hz - bands.centre_hz[:, None]) - standing.decay_rate
    return np.asarray(np.exp(shift[:, :, None] * bands.time_s) * standing.used[:, :, None])
