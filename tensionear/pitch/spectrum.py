"""Spectral peaks of a ring above the local noise, and how far they stand out from what sounded before. Imports nothing.

Two windows see what one cannot: a long one resolves the slow low partials, a short one catches the fast-dying high ones.
The window rises quickly and falls slowly, as a ring does, with the side lobes of a cosine window.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]

LOWEST_HZ, HIGHEST_HZ = 55.0, 6900.0
_FLOOR_BAND_HZ = 100.0
_FLOOR_QUANTILE = 0.35
_OLD_SOUND_FACTOR = 2.5
_STAND_OUT_DB = 9.0


@dataclass(frozen=True, slots=True, eq=False)
class Peaks:
    """Spectral peaks, strongest first.

    Frequency in Hz; height over the local floor in dB of what is new (0 where it all sounded before); level in dB re full
    scale, with what sounded before.
    """

    frequency_hz: Array
    height_db: Array
    level_db: Array


def ring_peaks(ring: Array, before: Array, rate_hz: float, window_s: float) -> Peaks:
    """Peaks of the start of a ring.

    Parameters
    ----------
    ring : ndarray, shape (n,)
        Sound from shortly after the pluck; at most ``window_s`` of it is used.
    before : ndarray, shape (m,)
        Sound that ended shortly before the pluck; what sounded there is taken off in power.
    rate_hz, window_s : float
    """
    power, bin_hz = ring_spectrum(ring, rate_hz, window_s)
    old, _ = ring_spectrum(before, rate_hz, window_s, symmetric=True)
    fresh = np.maximum(power - _OLD_SOUND_FACTOR * _widest(old), 1e-9 * power)
    floor = _floor(power, bin_hz)
    first, last = int(LOWEST_HZ / bin_hz), min(int(HIGHEST_HZ / bin_hz), len(power) - 2)
    middle = np.arange(first, last)
    top = power[middle]
    is_peak = (top > power[middle - 1]) & (top >= power[middle + 1])
    height = 10 * np.log10(top / floor[middle])
    at = middle[is_peak & (height > _STAND_OUT_DB)]
    left, here, right = (np.log(power[at + shift]) for shift in (-1, 0, 1))
    offset = 0.5 * (left - right) / np.minimum(left - 2 * here + right, -1e-12)
    order = np.argsort(-power[at], kind="stable")
    return Peaks(
        ((at + offset) * bin_hz)[order],
        np.maximum(10 * np.log10(fresh[at] / floor[at]), 0)[order],
        (10 * np.log10(power[at]))[order],
    )


def ring_spectrum(sound: Array, rate_hz: float, window_s: float, symmetric: bool = False) -> tuple[Array, float]:
    """Power spectrum (a sine of amplitude A gives A^2 at its peak) and its bin width in Hz."""
    length = min(len(sound), round(window_s * rate_hz))
    size = 1 << (2 * round(window_s * rate_hz) - 1).bit_length()
    bin_hz = rate_hz / size
    if length < 16:
        return np.full(size // 2 + 1, 1e-30), bin_hz
    u = (np.arange(length) + 0.5) / length
    window = np.sin(np.pi * (u if symmetric else u**0.55)) ** 2
    piece = sound[-length:] if symmetric else sound[:length]
    spectrum = np.fft.rfft(piece * (2 * window / window.sum()), size)
    return spectrum.real**2 + spectrum.imag**2 + 1e-30, bin_hz


def _widest(power: Array) -> Array:
    """Each bin's largest of itself and its two neighbours either side."""
    wide = power.copy()
    for shift in (1, 2):
        wide[shift:] = np.maximum(wide[shift:], power[:-shift])
        wide[:-shift] = np.maximum(wide[:-shift], power[shift:])
    return wide


def _floor(power: Array, bin_hz: float) -> Array:
    """Noise floor: a low quantile in bands of 100 Hz, scaled to the mean of noise, joined by straight lines."""
    width = max(8, round(_FLOOR_BAND_HZ / bin_hz))
    bands = len(power) // width
    parts = np.sort(power[: bands * width].reshape(bands, width), axis=1)
    low = parts[:, int(_FLOOR_QUANTILE * width)] / -np.log1p(-_FLOOR_QUANTILE)
    centres = (np.arange(bands) + 0.5) * width
    return np.asarray(np.exp(np.interp(np.arange(len(power)), centres, np.log(low))))
