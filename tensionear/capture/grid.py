"""Sound on a fixed grid: pieces joined to blocks, a channel in equal chunks, a lower rate. Imports recording only."""

from __future__ import annotations

from collections.abc import Iterable, Iterator

import numpy as np
from numpy.typing import NDArray

from .recording import Samples

#: Partials are followed up to here; the decimator leaves everything below untouched.
HIGHEST_PARTIAL_HZ = 7_000.0
#: Lowest rate the decimator goes down to.
_LOWEST_OUT_HZ = 16_000.0
#: Attenuation the filter is designed for, dB: 80 are wanted.
_ATTENUATION_DB = 86.0


def gathered(pieces: Iterable[Samples], block_frames: int) -> Iterator[Samples]:
    """Join pieces, shape (frames, channels), to blocks of ``block_frames`` frames or more; the last may be shorter."""
    held: list[Samples] = []
    frames = 0
    for piece in pieces:
        held.append(piece)
        frames += len(piece)
        if frames >= block_frames:
            yield np.concatenate(held)
            held, frames = [], 0
    if frames:
        yield np.concatenate(held)


def regrid(blocks: Iterable[Samples], channel: int, chunk_frames: int) -> Iterator[Samples]:
    """Cut one channel into equal chunks that start at sample 0, whatever the lengths of the incoming blocks.

    Everything after this sees the same chunks for live sound and files, so that both give the same result to the bit.

    Parameters
    ----------
    blocks : iterable of ndarray, shape (frames, channels)
    channel : int
        Counted from 0.
    chunk_frames : int

    Yields
    ------
    ndarray, shape (chunk_frames,), float32
        Fresh arrays; the last one may be shorter, never empty.
    """
    cutter = Regrid(channel, chunk_frames)
    for block in blocks:
        yield from cutter.push(block)
    yield from cutter.flush()


class Regrid:
    """The same, block by block: ``channel`` counts from 0."""

    def __init__(self, channel: int, chunk_frames: int) -> None:
        self._channel, self._frames = channel, chunk_frames
        self._chunk = np.empty(chunk_frames, dtype=np.float32)
        self._filled = 0

    def push(self, block: Samples) -> Iterator[Samples]:
        """Take a block, shape (frames, channels), and yield the chunks it completes."""
        mono = block[:, self._channel]
        start = 0
        while start < len(mono):
            taken = mono[start : start + self._frames - self._filled]
            self._chunk[self._filled : self._filled + len(taken)] = taken
            self._filled += len(taken)
            start += len(taken)
            if self._filled == self._frames:
                yield self._chunk
                self._chunk, self._filled = np.empty(self._frames, dtype=np.float32), 0

    def flush(self) -> Iterator[Samples]:
        """Yield what is left at the end, if anything."""
        if self._filled:
            yield self._chunk[: self._filled].copy()
            self._filled = 0


def decimation_factor(sample_rate_hz: float) -> int:
    """Largest whole factor that leaves at least 16 kHz: 3 for 48 kHz, 2 for 44.1 kHz, 1 below 32 kHz."""
    return max(1, int(sample_rate_hz // _LOWEST_OUT_HZ))


class Decimator:
    """Lower the sample rate by a whole factor, chunk by chunk, without delay.

    Output sample k stands at the time of input sample k * factor. Up to 7 kHz nothing changes (within 0.05 dB) and
    nothing is folded in (at least 80 dB down). Factor 1 passes the sound through.

    Parameters
    ----------
    factor : int
    sample_rate_hz : float
        Of the input; the output's, ``sample_rate_hz / factor``, must be at least 16 kHz.

    Notes
    -----
    Linear-phase low-pass, a sinc in a Kaiser window (J. F. Kaiser, Nonrecursive digital filter design using the I0-sinh
    window function, Proc. IEEE Int. Symp. Circuits and Systems, 1974, pp. 20-23). With f_out the output rate, the
    pass-band ends at 7 kHz and the stop-band starts at f_out - 7 kHz, whose image falls on 7 kHz.
    """

    def __init__(self, factor: int, sample_rate_hz: float) -> None:
        if factor < 1 or (factor > 1 and sample_rate_hz / factor < _LOWEST_OUT_HZ):
            raise ValueError(
                f"factor {factor} makes {sample_rate_hz / max(factor, 1):.0f} Hz of {sample_rate_hz:.0f} Hz; "
                f"at least {_LOWEST_OUT_HZ:.0f} Hz must be left: use {decimation_factor(sample_rate_hz)} or less"
            )
        self.factor = factor
        self.sample_rate_hz = sample_rate_hz / factor
        taps = _low_pass(factor, sample_rate_hz)
        self._half = len(taps) // 2
        self._phases = [taps[phase::factor] for phase in range(factor)]
        self._held: NDArray[np.float64] = np.zeros(self._half)

    def push(self, chunk: NDArray[np.floating]) -> Samples:
        """Take the next samples, shape (frames,), and give the output samples they complete, float32, maybe none."""
        held = np.concatenate((self._held, chunk))
        count = max(0, (len(held) - 2 * self._half - 1) // self.factor + 1)
        self._held = held[count * self.factor :]
        if not count:
            return np.empty(0, dtype=np.float32)
        out = np.zeros(count)
        for phase, taps in enumerate(self._phases):
            out += np.correlate(held[phase :: self.factor][: count + len(taps) - 1], taps, "valid")
        return out.astype(np.float32)

    def flush(self) -> Samples:
        """Give the last output samples, so that n samples in became ceil(n / factor); push nothing after it."""
        return self.push(np.zeros(self._half))


def _low_pass(factor: int, sample_rate_hz: float) -> NDArray[np.float64]:
    """Taps of the filter, an odd number, with unit gain at 0 Hz."""
    if factor == 1:
        return np.ones(1)
    out_hz = sample_rate_hz / factor
    transition = 2.0 * np.pi * (out_hz - 2.0 * HIGHEST_PARTIAL_HZ) / sample_rate_hz
    half = int(np.ceil((_ATTENUATION_DB - 7.95) / (2.285 * transition) / 2.0))
    at = np.arange(-half, half + 1)
    taps = np.sinc(at / factor) * np.kaiser(2 * half + 1, 0.1102 * (_ATTENUATION_DB - 8.7))
    return np.asarray(taps / taps.sum())
