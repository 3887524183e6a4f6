"""Where something was struck or plucked: a detector on a stream of mono chunks. Imports nothing of the package.

Rule: short-time spectra on a grid fixed at the first sample; power in bands a semitone wide and up; over each band a slowly
moving floor, and above it an allowance for how much noise in so narrow a band flickers; the *rise* over 20 ms of what
stands above that, averaged over the eight bands that rise most, is the novelty: a pluck in noise lifts few bands much, the
noise lifts many a little. Taking the largest of three neighbouring bands as "before" removes the beating and gliding of the
old ring. An onset is the largest novelty within 80 ms that also stands out from its surroundings. A second look with frames
twice as long and the four bands that rise most finds what is faint but pure. All is scale-free: nothing depends on the gain.

The decision about a frame falls when the last frame it looks at exists, so any cutting of the stream gives the same onsets.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import Protocol

import numpy as np
from numpy.typing import NDArray

HOP_S = 0.005
LOWEST_HZ, HIGHEST_HZ, BANDS_PER_OCTAVE = 150.0, 7000.0, 12
_FLOOR_RISE_DB, _FLOOR_FALL_DB = 0.02, 0.3  # a frame: follows about the 6 % quantile
_ABOVE_NOISE_DB, _CEILING_DB = 3.0, 40.0
_NEIGHBOUR = 16  # frames: an onset is the largest within 80 ms
_MEDIAN_BACK, _MEDIAN_AHEAD = 40, 12
_SAME_S = 0.1  # a faint onset this close to a clear one is the same
_TINY = 1e-16


@dataclass(frozen=True, slots=True)
class Look:
    """How a look at the sound is taken: frame length, rise over so many frames, mean of so many bands, threshold.

    ``weight`` brings its novelty to the scale of the others. An onset is the largest novelty of so many frames ``ahead``.
    """

    frame_s: float
    lag: int
    rising_bands: int
    threshold_db: float
    weight: float
    ahead: int = _NEIGHBOUR


CLEAR = Look(0.0213, 4, 8, 3.0, 1.0)
FAINT = Look(0.0427, 8, 4, 4.0, 0.6)
#: Sees clear onsets only, but 30 ms after they began.
QUICK = Look(0.0213, 4, 8, 4.0, 1.0, 4)


@dataclass(frozen=True, slots=True)
class Onset:
    """The centre of the frame in which something began; ``novelty_db`` is the mean rise of the bands that rise most."""

    time_s: float
    novelty_db: float
    given: bool = False


class Detector(Protocol):
    """Finds onsets in a stream of chunks."""

    def push(self, chunk: NDArray[np.float32]) -> list[Onset]:
        """Take the next chunk, shape (samples,), and give the onsets that are now decided."""
        ...

    def flush(self) -> list[Onset]:
        """Give what is left at the end of the stream."""
        ...


class OnsetDetector:
    """Finds onsets in a stream.

    Parameters
    ----------
    rate_hz : float
        Sample rate of the chunks, 16..32 kHz.
    """

    def __init__(self, rate_hz: float) -> None:
        self._clear, self._faint = _Watcher(rate_hz, CLEAR), _Watcher(rate_hz, FAINT)
        self._held: list[Onset] = []
        self._recent: list[Onset] = []

    def push(self, chunk: NDArray[np.float32]) -> list[Onset]:
        """Take the next chunk, shape (samples,), and give the onsets that are now decided."""
        self._recent += self._clear.push(chunk)
        self._held += self._faint.push(chunk)
        return self._merged(min(self._clear.decided_s, self._faint.decided_s) - _SAME_S)

    def flush(self) -> list[Onset]:
        """Give what is left at the end of the stream."""
        self._recent += self._clear.flush()
        self._held += self._faint.flush()
        return self._merged(math.inf)

    def _merged(self, until_s: float) -> list[Onset]:
        """Onsets up to a time both looks have decided: the clear ones, and the faint ones with no clear one near."""
        faint = [
            onset
            for onset in self._held
            if onset.time_s <= until_s and all(abs(onset.time_s - clear.time_s) > _SAME_S for clear in self._recent)
        ]
        self._held = [onset for onset in self._held if onset.time_s > until_s]
        clear = [onset for onset in self._recent if not onset.given and onset.time_s <= until_s]
        self._recent = [
            replace(onset, given=onset.given or onset.time_s <= until_s)
            for onset in self._recent
            if onset.time_s > until_s - 2 * _SAME_S
        ]
        return sorted(faint + clear, key=lambda onset: onset.time_s)


class QuickDetector:
    """Finds clear onsets at once, for whoever waits; an onset may be given twice within 80 ms.

    Parameters
    ----------
    rate_hz : float
        Sample rate of the chunks, 16..32 kHz.
    """

    def __init__(self, rate_hz: float) -> None:
        self._watcher = _Watcher(rate_hz, QUICK)

    def push(self, chunk: NDArray[np.float32]) -> list[Onset]:
        """Take the next chunk, shape (samples,), and give the onsets that are now decided."""
        return self._watcher.push(chunk)

    def flush(self) -> list[Onset]:
        """Give what is left at the end of the stream."""
        return self._watcher.flush()


class _Watcher:
    """One look at the stream: novelty frame by frame, and the onsets in it."""

    def __init__(self, rate_hz: float, look: Look) -> None:
        self._rate_hz, self._look = rate_hz, look
        self._hop = round(HOP_S * rate_hz)
        self._frame = round(look.frame_s * rate_hz)
        self._size = 1 << (self._frame - 1).bit_length()
        self._window = np.hanning(self._frame + 2)[1:-1].astype(np.float32)
        self._edges = _band_edges(rate_hz, self._size)
        self._allowance = _noise_over_floor(np.diff(self._edges) * self._frame / self._size) + _ABOVE_NOISE_DB
        self._waiting = np.zeros(0, np.float32)
        self._floor: NDArray[np.float64] | None = None
        self._recent = np.zeros((0, len(self._edges) - 1))  # what stood above the floor in the last frames
        self._novelty: list[float] = []
        self._dropped = 0  # frames no longer held in _novelty
        self._decided = 0

    @property
    def decided_s(self) -> float:
        """Up to where onsets are decided."""
        return self._decided * self._hop / self._rate_hz

    def push(self, chunk: NDArray[np.float32]) -> list[Onset]:
        """Take the next chunk and give the onsets that are now decided."""
        self._waiting = np.concatenate([self._waiting, chunk])
        count = (len(self._waiting) - self._frame) // self._hop + 1
        if count < 1:
            return []
        frames = np.lib.stride_tricks.sliding_window_view(self._waiting, self._frame)[:: self._hop][:count]
        spectrum = np.fft.rfft(frames * self._window, self._size)
        power = spectrum.real.astype(np.float64) ** 2 + spectrum.imag.astype(np.float64) ** 2
        levels = 10 * np.log10(np.add.reduceat(power, self._edges, axis=1)[:, :-1] + _TINY)
        self._novelty += self._rises(levels)
        self._waiting = self._waiting[count * self._hop :].copy()
        return self._decide(len(self._novelty) + self._dropped - self._look.ahead)

    def flush(self) -> list[Onset]:
        """Give what is left at the end of the stream."""
        return self._decide(len(self._novelty) + self._dropped)

    def _rises(self, levels: NDArray[np.float64]) -> list[float]:
        """Novelty of frames, shape (frames, bands) in dB."""
        above = np.clip(levels - self._floors(levels) - self._allowance, 0, _CEILING_DB)
        held = np.concatenate([self._recent, above])
        self._recent = held[-self._look.lag :]
        before = held[: -self._look.lag]
        wide = before.copy()
        np.maximum(wide[:, :-1], before[:, 1:], out=wide[:, :-1])
        np.maximum(wide[:, 1:], before[:, :-1], out=wide[:, 1:])
        count = self._look.rising_bands
        later = held[self._look.lag :]
        rises = np.partition(np.maximum(0, later - wide), -count, axis=1)[:, -count:].mean(axis=1)
        first = len(above) - len(later)
        return [0.0] * first + [float(rise) for rise in rises]

    def _floors(self, levels: NDArray[np.float64]) -> NDArray[np.float64]:
        """The floor at each frame, moved on frame by frame; digital silence leaves it alone.

        It begins with the first frame that is not silent: many a microphone gives zeros before it gives the room.
        """
        silent = levels.max(axis=1) <= 10 * math.log10(_TINY) + 10
        floor = self._floor
        floors = np.empty_like(levels)
        for index, level in enumerate(levels):
            if not silent[index]:
                before = level if floor is None else floor
                floor = before + np.where(level > before, _FLOOR_RISE_DB, -_FLOOR_FALL_DB)
            floors[index] = level if floor is None else floor
        self._floor = floor
        return floors

    def _decide(self, until: int) -> list[Onset]:
        """Judge the frames up to (not including) ``until``."""
        found = []
        values = np.array(self._novelty)
        threshold = self._look.threshold_db
        for frame in range(self._decided, until):
            at = frame - self._dropped
            here = values[at]
            if here <= threshold or here < values[max(0, at - _NEIGHBOUR) : at + self._look.ahead + 1].max():
                continue
            around = values[max(0, at - _MEDIAN_BACK) : at + _MEDIAN_AHEAD + 1]
            if here - np.median(around) > 0.8 * threshold:
                centre = (frame * self._hop + self._frame / 2) / self._rate_hz
                found.append(Onset(centre, float(here) * self._look.weight))
        self._decided = max(self._decided, until)
        keep = max(self._decided - _MEDIAN_BACK - _NEIGHBOUR - self._dropped, 0)
        if keep > 4 * _MEDIAN_BACK:
            del self._novelty[:keep]
            self._dropped += keep
        return found


def refine_onset(samples: NDArray[np.float32], rate_hz: float) -> float:
    """Where within this excerpt (shape (n,), about +-30 ms around an onset) the sound begins, in seconds from its start.

    Minimum of a two-segment Akaike criterion on half-millisecond energies of the differenced sound: the split at which two
    stationary noises explain the excerpt best (the usual first-arrival picker of seismology).
    """
    step = max(1, round(0.0005 * rate_hz))
    count = (len(samples) - 1) // step
    energy = (np.diff(samples.astype(np.float64))[: count * step] ** 2).reshape(count, step).sum(axis=1) + 1e-30
    head, tail = np.cumsum(energy), np.cumsum(energy[::-1])[::-1]
    index = np.arange(2, count - 1)
    before = head[index - 1] / index
    after = tail[index] / (count - index)
    criterion = index * np.log(before) + (count - index) * np.log(after)
    return float(index[np.argmin(criterion)] * step / rate_hz)


def _noise_over_floor(resolved: NDArray[np.float64]) -> NDArray[np.float64]:
    """How far the mean of white noise lies over its 6 % quantile, in dB, for bands of so many resolved bins.

    The power of a Hann-windowed band is about chi-square with 2/1.5 degrees of freedom a bin; quantile by Wilson and Hilferty.
    """
    shape = np.maximum(resolved / 1.5, 1.0)
    quantile = shape * (1 - 1 / (9 * shape) - 1.555 / np.sqrt(9 * shape)) ** 3
    exact = -shape * math.log(1 - 0.06)  # shape 1 is the exponential distribution
    return -10 * np.log10(np.where(shape > 1, np.maximum(quantile, 0.05), exact) / shape)


def _band_edges(rate_hz: float, size: int) -> NDArray[np.intp]:
    """First bins of the bands and the bin after the last one; low bands are at least one bin wide."""
    octaves = math.log2(HIGHEST_HZ / LOWEST_HZ)
    tones = LOWEST_HZ * 2 ** (np.arange(round(octaves * BANDS_PER_OCTAVE) + 1) / BANDS_PER_OCTAVE)
    return np.unique(np.round(tones * size / rate_hz).astype(np.intp))
