"""How far a ring glides: a first look before the fit, which from a bad start may settle cycles away, and whether it does at all.

Imports ``ringfit``.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from .ringfit import Bands, Components, Glide, RingFit, Standing, fit_ring
from .spectrum import Array

_HIGHEST, _STEP = (
    4.5,
    0.9,
)  # of the usual stretch, and in turns of the phase of the first mode's band at the end of the ring
_FINER = np.linspace(-1.0, 1.0, 9)  # steps
_LOW_BANDS = 3
_DECAY = 2.0, 4.0, 0.8  # a usual rate at f: a + b (f / 1 kHz)^c, in 1/s
_LAW_POWER = 0.75  # the decay rate of a spoke's partials rises with f to the power of 0.5 to 1
_SIZE = 512
_CORRELATED, _REACH_HZ = 2.5, 3.0  # samples that share their noise; how far off the start a band's line may be
_WORTH = 6.0  # by how much a stretch must beat none, in -2 ln likelihood


def first_stretch(
    bands: Bands, start: Components, share: Array, glide: Glide, usual: float
) -> tuple[float, Components]:
    """The stretch at which the bands are narrowest, and the starting frequencies with it.

    Tried in steps that the phase of the lowest bands can follow, then in finer ones with all bands.

    Parameters
    ----------
    bands : Bands
    start : Components
        Frequencies as in a spectrum, so with the mean glide in them.
    share : ndarray, shape (bands, components)
    glide : Glide
    usual : float
        The stretch of a usual pluck, > 0.
    """
    growth = glide.growth
    lowest = np.argsort(bands.centre_hz)[:_LOW_BANDS]
    step = _STEP / (float(bands.centre_hz[lowest[0]]) * growth[-1])
    tried = np.arange(0.0, _HIGHEST * usual + step, step)
    cost, _ = _narrowness(bands, start, share, growth, tried, lowest)
    cost += ((tried - glide.mean) / glide.sd) ** 2
    best = int(np.argmin(cost))
    if cost[best] > cost[0] - _WORTH:
        best = 0
    finer = np.maximum(tried[best] + _FINER * step, 0.0)
    every = np.arange(len(bands.centre_hz))
    cost, moved = _narrowness(bands, start, share, growth, finer, every)
    at = int(np.argmin(cost + ((finer - glide.mean) / glide.sd) ** 2))
    shift = moved[at][:, None] * (share > 0)
    return float(finer[at]), Components(start.frequency_hz + shift, start.decay_rate, start.used)


def _narrowness(
    bands: Bands, start: Components, share: Array, growth: Array, tried: Array, rows: NDArray[np.intp]
) -> tuple[Array, Array]:
    """Minus twice the log likelihood (tried,) of one component a band with each stretch, and how far (tried, bands) in Hz
    its frequency then lies from the starting one."""
    time = bands.time_s
    named = np.argmax(share[rows], axis=1)
    envelope = np.exp(-start.decay_rate[rows, named][:, None] * time)
    power = np.sum(np.abs(bands.samples[rows]) ** 2, axis=1) * np.sum(envelope**2, axis=1)
    begin = start.frequency_hz[rows, named]
    turn = np.exp(-2j * np.pi * np.outer(begin - bands.centre_hz[rows], time))
    phase = 2 * np.pi * np.outer(begin * share[rows, named], growth)
    turned = (bands.samples[rows] * envelope * turn) * np.exp(-1j * tried[:, None, None] * phase)
    spectrum = np.abs(np.fft.fft(turned, _SIZE, axis=2)) ** 2
    offset = np.fft.fftfreq(_SIZE, time[1] - time[0] if len(time) > 1 else 1.0)
    fall = tried[:, None] * (begin * share[rows, named]) * _mean_rise(growth, time, envelope)
    near = np.abs(offset + fall[:, :, None]) < _REACH_HZ
    spectrum = np.where(near, spectrum, 0.0)
    at = np.argmax(spectrum, axis=2)
    met = np.clip(np.take_along_axis(spectrum, at[:, :, None], 2)[:, :, 0] / power, 0, 0.9999)
    return 2 * len(time) / _CORRELATED * np.sum(np.log(1 - met), axis=1), offset[at]


def _mean_rise(growth: Array, time: Array, envelope: Array) -> Array:
    """How much of the stretch a band's frequency holds in the mean over its ring, shape (bands,)."""
    slope = np.gradient(growth, time) if len(time) > 1 else np.ones(1)
    return np.asarray(envelope**2 @ slope / np.sum(envelope**2, axis=1))


def still_or_gliding(bands: Bands, fit: RingFit, standing: Standing, glide: Glide) -> RingFit:
    """The fit, or the same lines without any glide where a ring that may not glide at all does not ask for it.

    A pitch that may glide is known five times worse after a second of ringing than one that may not. The two are weighed by
    their evidence (Laplace), even before.

    Parameters
    ----------
    bands : Bands
    fit : RingFit
        With a stretch.
    standing : Standing
    glide : Glide
        Prior and course of the stretch.
    """
    start = Components(fit.frequency_hz, fit.decay_rate, fit.used)
    gliding = fit_ring(bands, start, standing, fit.share, replace(glide, start=fit.stretch))
    still = fit_ring(bands, start, standing, np.zeros(fit.share.shape), replace(glide, mean=0.0, start=0.0))
    freedom = 2 * np.log(glide.sd / gliding.sd_stretch)
    return still if still.cost < gliding.cost + freedom else gliding


def starting_decay(bands: Bands, frequency_hz: Array) -> Array:
    """Decay rate (bands,) of each band as a whole, from how much less its second half holds than its first."""
    power = np.abs(bands.samples) ** 2
    half = power.shape[1] // 2
    usual = _DECAY[0] + _DECAY[1] * (frequency_hz / 1000) ** _DECAY[2]
    if half < 2:
        return np.asarray(usual)
    length_s = 2 * half * (bands.time_s[1] - bands.time_s[0])
    ratio = power[:, :half].sum(axis=1) / (power[:, half : 2 * half].sum(axis=1) + 1e-30)
    return np.asarray(np.clip(np.log(np.maximum(ratio, 1.0)) / length_s, 0.2 * usual, 2 * usual))


def decay_law(frequency_hz: Array, decay_rate: Array, weight: Array) -> Array:
    """Decay rates that the lines of a spoke should have by their frequency: a = a0 f^p, through the middle of those fitted.

    Parameters
    ----------
    frequency_hz : ndarray
        Where it is wanted, any shape.
    decay_rate : ndarray
        As fitted there, 1/s.
    weight : ndarray
        Same shape; 0 for lines that do not count.
    """
    logs = np.log(decay_rate) - _LAW_POWER * np.log(np.maximum(frequency_hz, 1.0))
    order = np.argsort(logs, axis=None)
    total = np.cumsum(weight.ravel()[order])
    if total[-1] <= 0:
        return decay_rate
    middle = logs.ravel()[order][np.searchsorted(total, total[-1] / 2)]
    return np.asarray(np.exp(middle + _LAW_POWER * np.log(np.maximum(frequency_hz, 1.0))))
