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
from typing import TypeVar

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]
Complex = NDArray[np.complex128]
Mask = NDArray[np.bool_]
Number = TypeVar("Number", np.float64, np.complex128)

FILTER_S = 0.0267
STEP_S = 0.0053
_CORRELATED = 1.6  # overlapping filters make the samples dependent: sigma from independent ones is too small by this
_SETTLED = 0.02  # rad/s, and of ln a: smaller steps change nothing
_SHORTEST_DECAY_S, _LONGEST_DECAY_S = 0.008, 8.0
_BELOW_ZERO = 0.1  # of the prior's sd, for a stretch below zero
_LAG, _MOST_ALIKE = 6, 0.9  # samples; what a residual's likeness is taken for at most
_NOISE = 0.003  # of a band's power is taken for noise where old lines are weighed
_TOLERATED = 3.0  # a cost this much higher is still a step forward
_USUAL_RATE, _GLIDE_RATES = 3.0, (0.4, 20.0)  # 1/s
_ROUNDING = 1e-12  # of a slope's power: what is left of it less than that is rounding, and may be below zero
_DECAY_SD = 0.5  # of ln a about its starting value: real partials of one spoke follow a common law that closely


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
    """What rings on from before, shapes (bands, lines): known frequency and decay; amplitude at the pluck as far as foretold,
    ``wave``, with its standard deviation ``sd``. May hold no lines."""

    frequency_hz: Array
    decay_rate: Array
    wave: Complex
    sd: Array
    used: Mask


@dataclass(frozen=True, slots=True, eq=False)
class Glide:
    """Prior of the stretch, mean and standard deviation of D (relative frequency), where the fit starts, and its course.

    ``growth`` (times,) is G(t).
    """

    mean: float
    sd: float
    start: float
    growth: Array

    def prior(self, stretch: float) -> tuple[float, float]:
        """Mean and standard deviation of the prior there: a stretch below zero cannot be."""
        return (self.mean, self.sd) if stretch >= 0 else (0.0, _BELOW_ZERO * self.sd)


@dataclass(frozen=True, slots=True, eq=False)
class RingFit:
    """Result, shapes (bands, components): frequencies at vanishing swing, their standard deviations by noise alone,
    decay rates, amplitudes at the pluck; ``residual`` and ``power`` (bands,) are mean squares; ``stretch`` is D;
    ``glided_s`` is how far, in time of the phase, each component has glided by the end of the ring, ``share`` what it feels of
    the stretch; ``cost`` is minus twice the log posterior but for a constant.
    """

    frequency_hz: Array
    sd_hz: Array
    decay_rate: Array
    amplitude: Complex
    residual: Array
    power: Array
    stretch: float
    sd_stretch: float
    glided_s: Array
    share: Array
    used: Mask
    cost: float


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


def fit_ring(
    bands: Bands, start: Components, standing: Standing, share: Array, glide: Glide, iterations: int = 9
) -> RingFit:
    """Fit all bands together.

    Parameters
    ----------
    bands : Bands
    start : Components
    standing : Standing
    share : ndarray, shape (bands, components)
        Of the stretch, that each component feels: 1 for a first mode, 2/3 for others, 0 for what rings along.
    glide : Glide
    iterations : int
        At most.
    """
    problem = _problem(bands, start, standing, share, glide)
    centre = bands.centre_hz[:, None]
    here = problem.at(2 * np.pi * (start.frequency_hz - centre), np.log(start.decay_rate), glide.start)
    damping, held = np.full(len(centre), 0.01), 0.0
    for _ in range(iterations):
        step = _step(here, problem, damping, held)
        there = problem.moved(here, step, np.ones(len(centre), bool))
        better = there.cost < here.cost + _TOLERATED
        if not better.all():
            there = problem.moved(here, step, better)
        damping = np.where(better, damping * 0.3, np.maximum(damping * 10, 0.3))
        if there.total < here.total + _TOLERATED:
            here, held = there, held * 0.3
        else:
            damping, held = np.maximum(damping * 10, 0.3), max(held * 10, 1.0)
            continue
        if better.all() and max(np.max(np.abs(step.omega)), np.max(np.abs(step.log_decay))) < _SETTLED:
            break
    last = _step(here, problem, np.zeros(len(centre)), 0.0)
    used = start.used
    return RingFit(
        np.where(used, centre + here.omega / (2 * np.pi), 0.0),
        np.where(used, _CORRELATED * _structure(here.residual)[:, None] * last.sd_omega / (2 * np.pi), 0.0),
        np.exp(here.log_decay),
        np.where(used, here.amplitude, 0),
        here.variance,
        np.mean(np.abs(bands.samples) ** 2, axis=1),
        here.stretch,
        last.sd_stretch,
        here.stretch * share * glide.growth[-1],
        share,
        used,
        here.total,
    )


def _structure(residual: Complex) -> Array:
    """By how much a residual that is no noise widens the standard deviations, shape (bands,): an unfound line is like itself
    a filter's length later."""
    if residual.shape[1] < 3 * _LAG:
        return np.ones(len(residual))
    power = np.sum(np.abs(residual) ** 2, axis=1) + 1e-30
    alike = np.abs(np.sum(residual[:, _LAG:] * residual[:, :-_LAG].conj(), axis=1)) / power
    alike = np.minimum(alike, _MOST_ALIKE)
    return np.asarray(np.sqrt((1 + alike) / (1 - alike)))


def growth_of(time_s: Array, rates: Array, weights: Array) -> Array:
    """G(t): the stretch summed up from the pluck to each time, in seconds, for D = 1.

    It dies with the square of the swing, the sum of what the first modes hold: ``weights`` that decay with ``rates`` (1/s).
    """
    rates = np.clip(rates, *_GLIDE_RATES) if len(rates) else np.array([_USUAL_RATE])
    weights = weights + 1e-30 if len(weights) else np.ones(1)
    parts = (1 - np.exp(-2 * rates[:, None] * time_s)) / (2 * rates[:, None])
    return np.asarray(weights @ parts / weights.sum())


def growth_after(bands: Bands, fit: RingFit, share: Array) -> Array:
    """G(t) as the fitted first modes (those of share 1) make it."""
    first = (share >= 1) & fit.used
    rates = fit.decay_rate[first]
    return growth_of(bands.time_s, rates, np.abs(fit.amplitude[first]) ** 2 * np.exp(-2 * rates * bands.time_s[0]))


@dataclass(frozen=True, slots=True, eq=False)
class _Problem:
    """All that stays the same through a fit."""

    bands: Bands
    used: Mask
    share: Array
    glide: Glide
    columns: Complex
    foretold: Complex
    ridge: Array
    course: Complex
    log_decay: Array
    decay_weight: Array
    freedom: NDArray[np.int_]

    def at(self, omega: Array, log_decay: Array, stretch: float) -> _Linear:
        """The model there."""
        return _Linear(self, omega, log_decay, stretch)

    def moved(self, here: _Linear, step: _Step, which: Mask) -> _Linear:
        """The model a step further, these bands only; the stretch, common to all, moves in any case."""
        low, high = np.log(1 / _LONGEST_DECAY_S), np.log(1 / _SHORTEST_DECAY_S)
        omega = here.omega + np.clip(step.omega, -8.0, 8.0) * which[:, None]
        decay = np.clip(here.log_decay + np.clip(step.log_decay, -0.8, 0.8) * which[:, None], low, high)
        stretch = here.stretch + float(np.clip(step.stretch, -self.glide.sd, self.glide.sd))
        return self.at(omega, decay, stretch)


def residual_of(bands: Bands, fit: RingFit, standing: Standing, share: Array, glide: Glide) -> Complex:
    """What the fit leaves, shape (bands, times)."""
    start = Components(fit.frequency_hz, fit.decay_rate, fit.used)
    problem = _problem(bands, start, standing, share, glide)
    omega = 2 * np.pi * (fit.frequency_hz - bands.centre_hz[:, None])
    return np.asarray(problem.at(omega, np.log(fit.decay_rate), fit.stretch).residual)


class _Linear:
    """The model at one set of non-linear values: columns, the linear amplitudes, what is left, and the cost.

    ``cost`` (bands,) is minus twice the log posterior of each band but for a constant; ``total`` has the stretch's prior too.
    """

    def __init__(self, problem: _Problem, omega: Array, log_decay: Array, stretch: float) -> None:
        bands, kinds = problem.bands, omega.shape[1]
        self.omega, self.log_decay, self.stretch = omega, log_decay, stretch
        self.decay = np.exp(log_decay)
        self.by_stretch = (2 * np.pi * bands.centre_hz[:, None] + omega) * problem.share
        self.columns = problem.columns.copy()
        rates = np.array([1j * omega - self.decay, 1j * stretch * self.by_stretch])
        self.columns[:, :kinds][problem.used] = np.exp(rates[:, problem.used].T @ problem.course)
        conjugate = self.columns.conj()
        gram = conjugate @ self.columns.transpose(0, 2, 1)
        diagonal = _diagonal(gram)
        self.ridge = problem.ridge + (diagonal.real < 1e-12) + 1e-9 * diagonal.real
        diagonal += self.ridge
        self.inverse_gram = np.linalg.inv(gram)
        weights = self.inverse_gram @ (conjugate @ bands.samples[:, :, None] + problem.foretold)
        self.pull = self.ridge[:, :, None] * weights - problem.foretold
        self.amplitude = weights[:, :kinds, 0]
        self.residual = bands.samples - (weights.transpose(0, 2, 1) @ self.columns)[:, 0]
        self.variance = _power(self.residual) / problem.freedom + 1e-24
        away = log_decay - problem.log_decay
        self.cost = np.log(self.variance) * (2 * len(bands.time_s) / _CORRELATED**2)
        self.cost += np.einsum("pk,pk,pk->p", away, away, problem.decay_weight)
        mean, sd = problem.glide.prior(stretch)
        self.total = float(self.cost.sum()) + ((stretch - mean) / sd) ** 2

    def slopes(self, problem: _Problem) -> tuple[Complex, Complex]:
        """By omega, ln a and the stretch, less what the linear amplitudes can make up for: their Gram matrix (bands, rows,
        rows) and what they have in common with the residual (bands, rows).

        The slope by ln a is i a times that by omega, so that both come from one row.
        """
        kinds = self.omega.shape[1]
        column = self.columns[:, :kinds]
        rows = np.empty((len(self.omega), kinds + 1, self.columns.shape[2]), complex)
        np.multiply(column, problem.bands.time_s, out=rows[:, :kinds])
        swing = (1j * self.amplitude * self.by_stretch)[:, None, :] @ column
        np.multiply(swing, problem.glide.growth, out=rows[:, kinds:])
        conjugate = rows.conj()
        met = conjugate @ self.columns.transpose(0, 2, 1)
        made_up = met @ self.inverse_gram
        met += made_up * self.ridge[:, None, :]
        gram = conjugate @ rows.transpose(0, 2, 1)
        rounding = _ROUNDING * _diagonal(gram)
        gram -= met @ made_up.conj().transpose(0, 2, 1)
        diagonal = _diagonal(gram)
        diagonal += rounding
        left = (conjugate @ self.residual[:, :, None] - made_up @ self.pull)[:, :, 0]
        every = np.concatenate([np.arange(kinds), np.arange(kinds + 1)])
        scale = np.ones((len(self.omega), len(every)), complex)
        np.multiply(1j, self.amplitude, out=scale[:, :kinds])
        np.multiply(1j * self.decay, scale[:, :kinds], out=scale[:, kinds:-1])
        turned = scale.conj()
        return gram[:, every[:, None], every] * turned[:, :, None] * scale[:, None, :], left[:, every] * turned


def _power(wave: Complex) -> Array:
    """Sum of squares over time, shape (bands,)."""
    parts = wave.view(np.float64)
    return np.asarray(np.einsum("pt,pt->p", parts, parts))


def _diagonal(matrices: NDArray[Number]) -> NDArray[Number]:
    """The diagonals of square matrices (bands, n, n), contiguous, as a view (bands, n) to write to."""
    return matrices.reshape(len(matrices), -1)[:, :: matrices.shape[2] + 1]


@dataclass(frozen=True, slots=True, eq=False)
class _Step:
    """A Gauss-Newton step, and the standard deviations of what it changes."""

    omega: Array
    log_decay: Array
    stretch: float
    sd_omega: Array
    sd_stretch: float


def _step(state: _Linear, problem: _Problem, damping: Array, held: float) -> _Step:
    """One Gauss-Newton step; each band's own damping, and ``held`` for the stretch."""
    mean, sd_prior = problem.glide.prior(state.stretch)
    kinds, used = state.omega.shape[1], problem.used
    gram, left = state.slopes(problem)
    weight = (2 / state.variance)[:, None]
    normal, right = gram.real * weight[:, :, None], left.real * weight
    right[:, kinds:-1] += (problem.log_decay - state.log_decay) / _DECAY_SD**2
    own, border, corner = normal[:, :-1, :-1].copy(), normal[:, :-1, -1], normal[:, -1, -1]
    diagonal = _diagonal(own)
    diagonal *= 1 + 1e-12 + damping[:, None]
    diagonal += 2e-9
    diagonal[:, kinds:] += _DECAY_SD**-2
    inverse: Array = np.asarray(np.linalg.inv(own), dtype=np.float64)
    through = (inverse @ border[:, :, None])[:, :, 0]
    schur = max(float(corner.sum() - np.vdot(border, through)) + 1 / sd_prior**2, 1e-30)
    pull = float(right[:, -1].sum() - np.vdot(through, right[:, :-1])) + (mean - state.stretch) / sd_prior**2
    by_stretch = pull / (schur * (1 + held))
    step = (inverse @ right[:, :-1, None])[:, :, 0] - through * by_stretch
    variance = _diagonal(inverse)[:, :kinds] + through[:, :kinds] ** 2 / schur
    told = used & (variance > 0)  # two components that cannot be told apart have none
    sd = np.where(told, np.sqrt(np.where(told, variance, 1.0)), np.where(used, np.inf, 0.0))
    return _Step(step[:, :kinds] * used, step[:, kinds:] * used, by_stretch, sd, schur**-0.5)


def _problem(bands: Bands, start: Components, standing: Standing, share: Array, glide: Glide) -> _Problem:
    """The fit with its old lines: their amplitudes are drawn to what was foretold as an observation of that weight would."""
    none = np.zeros(start.used.shape)
    noise = _CORRELATED**2 * _NOISE * np.mean(np.abs(bands.samples) ** 2, axis=1)[:, None]
    ridge = np.where(standing.used, noise / np.maximum(standing.sd, 1e-9) ** 2, 0.0)
    return _Problem(
        bands,
        start.used,
        share,
        glide,
        np.concatenate([np.zeros((*start.used.shape, len(bands.time_s))), _old_columns(bands, standing)], axis=1),
        np.concatenate([none, ridge * standing.wave], axis=1)[:, :, None],
        np.concatenate([none, ridge], axis=1),
        np.array([bands.time_s, glide.growth], complex),
        np.log(start.decay_rate),
        start.used / _DECAY_SD**2,
        np.maximum(len(bands.time_s) - 2 * start.used.sum(axis=1), 2),
    )


def _old_columns(bands: Bands, standing: Standing) -> Complex:
    shift = 2j * np.pi * (standing.frequency_hz - bands.centre_hz[:, None]) - standing.decay_rate
    return np.asarray(np.exp(shift[:, :, None] * bands.time_s) * standing.used[:, :, None])
