"""What a microphone is like: level, noise floor, hum, clipping, band edge, signs of a voice filter. Imports recording only.

Pure: takes sound, gives values. "Common practice, no source" stands for every threshold here that names none.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

_PIECE_S = 0.05
_LOUD_SHARE, _QUIET_SHARE = 0.98, 0.10
_TINY = 1e-16
_CLIP = 0.985
_MAINS_HZ = (50.0, 60.0)
_HUM_HARMONICS = 4
_HUM_OVER_DB = 12.0
_BAND_HZ = 250.0
_EDGE_FALL_DB, _EDGE_WITHIN = 18.0, 3  # a fall so deep within so many bands, with nothing above it, is a filter's
_NARROW_HZ = 9_000.0
_GATE_DB, _GATE_PIECE_S, _GATE_PIECES = 40.0, 0.005, 4
_ZEROS_S = 0.02


@dataclass(frozen=True, slots=True)
class Level:
    """How loud a piece of sound is, in dB re full scale, and whether it is clipped."""

    rms_db: float
    peak_db: float
    clipped: bool


@dataclass(frozen=True, slots=True)
class Examined:
    """A microphone, heard for some seconds: levels in dB re full scale, ``edge_hz`` where its band ends.

    ``hum_hz`` is None where no mains hum stands out. ``processing`` says in clauses what only a voice filter does.
    """

    seconds: float
    loud_db: float
    floor_db: float
    hum_hz: float | None
    hum_db: float
    clipped: bool
    edge_hz: float
    zeros: bool
    processing: tuple[str, ...]


def level_of(sound: NDArray[np.floating]) -> Level:
    """The level of some sound, shape (n,)."""
    if len(sound) == 0:
        return Level(-160.0, -160.0, False)
    size = np.abs(sound.astype(np.float64))
    rms = 10 * math.log10(float(np.mean(size**2)) + _TINY)
    full = size >= _CLIP
    return Level(rms, 20 * math.log10(float(size.max()) + 1e-8), bool(np.any(full[1:] & full[:-1])))


def examine(sound: NDArray[np.floating], sample_rate_hz: float) -> Examined:
    """Look at some seconds of one channel, shape (n,)."""
    x = sound.astype(np.float64)
    piece = round(_PIECE_S * sample_rate_hz)
    pieces = x[: len(x) // piece * piece].reshape(-1, piece)
    power = np.sort(np.mean((pieces - pieces.mean(axis=1, keepdims=True)) ** 2, axis=1)) + _TINY
    loud, quiet = (
        10 * math.log10(float(power[int(share * (len(power) - 1))])) for share in (_LOUD_SHARE, _QUIET_SHARE)
    )
    spectrum, step_hz = _spectrum(x, sample_rate_hz)
    hum_hz, hum_db = _hum(spectrum, step_hz)
    edge = _edge(spectrum, step_hz)
    return Examined(
        len(x) / sample_rate_hz,
        loud,
        quiet,
        hum_hz,
        hum_db,
        level_of(x).clipped,
        edge,
        not np.any(x),
        tuple(_processing(x, sample_rate_hz, edge)),
    )


def _spectrum(x: NDArray[np.float64], rate_hz: float) -> tuple[NDArray[np.float64], float]:
    """Mean power in dB of half-overlapping Hann windows of a third of a second, and the step of its bins in Hz."""
    size = 1 << round(math.log2(0.35 * rate_hz))
    if len(x) < size:
        x = np.pad(x, (0, size - len(x)))
    frames = np.lib.stride_tricks.sliding_window_view(x, size)[:: size // 2]
    power = np.mean(np.abs(np.fft.rfft(frames * np.hanning(size), axis=1)) ** 2, axis=0) * (8 / 3) / size**2
    return 10 * np.log10(power + 1e-20), rate_hz / size


def _hum(spectrum: NDArray[np.float64], step_hz: float) -> tuple[float | None, float]:
    """The mains frequency whose harmonics stand out most from their surroundings, and by how many dB."""
    best, most = None, 0.0
    for mains in _MAINS_HZ:
        over = []
        for harmonic in range(1, _HUM_HARMONICS + 1):
            at = round(mains * harmonic / step_hz)
            near = spectrum[max(at - 8, 1) : at + 9]
            over.append(float(spectrum[max(at - 1, 0) : at + 2].max() - np.median(near)))
        strength = float(np.mean(sorted(over)[-2:]))
        if strength > most:
            best, most = mains, strength
    return (best, most) if most > _HUM_OVER_DB else (None, most)


def _edge(spectrum: NDArray[np.float64], step_hz: float) -> float:
    """Where the band ends: the last steep fall above which nothing rises again; half the sample rate if there is none."""
    width = max(1, round(_BAND_HZ / step_hz))
    count = len(spectrum) // width
    bands = np.median(spectrum[: count * width].reshape(count, width), axis=1)
    for band in range(round(2_000 / _BAND_HZ), count - _EDGE_WITHIN):
        above = bands[band + _EDGE_WITHIN :]
        if bands[band] - above.max() > _EDGE_FALL_DB:
            full = [each for each in range(band, band + _EDGE_WITHIN) if bands[each] > bands[band] - _EDGE_FALL_DB / 2]
            return (full[-1] + 1) * width * step_hz
    return len(spectrum) * step_hz


def _processing(x: NDArray[np.float64], rate_hz: float, edge_hz: float) -> list[str]:
    """Signs of a gate, an echo canceller or a voice codec between the microphone and us."""
    found = []
    if np.any(x):
        zero = np.concatenate([[0], (x == 0).astype(np.int8), [0]])
        change = np.flatnonzero(np.diff(zero))
        runs = change[1::2] - change[::2]
        first, last = np.flatnonzero(x)[[0, -1]]
        inside = [run for start, run in zip(change[::2], runs, strict=True) if first < start < last]
        if any(run > _ZEROS_S * rate_hz for run in inside):
            found.append("exact silence between sounds: a noise gate")
    size = round(_GATE_PIECE_S * rate_hz)
    level = 10 * np.log10(np.mean(x[: len(x) // size * size].reshape(-1, size) ** 2, axis=1) + _TINY)
    if len(level) > _GATE_PIECES and np.any(level[:-_GATE_PIECES] - level[_GATE_PIECES:] > _GATE_DB):
        found.append("sound is cut off within 20 ms: a noise gate or an echo canceller")
    if edge_hz < _NARROW_HZ:
        found.append(f"nothing above {edge_hz:.0f} Hz: a headset or voice mode")
    return found
