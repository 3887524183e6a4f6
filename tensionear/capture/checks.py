"""What sound must be to be read: rate, level, numbers, not nothing. Imports errors and recording only."""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator

import numpy as np

from tensionear.errors import SoundError

from .recording import Samples

#: Below this the partials of a spoke, wanted up to 7 kHz, do not fit under half the sample rate.
LOWEST_RATE_HZ = 16_000.0
#: The highest rate recorders offer; anything above is a broken header.
HIGHEST_RATE_HZ = 384_000.0
#: Full scale is 1.0; float recordings may pass it a little, more than this is not sound in these units.
LARGEST_SAMPLE = 4.0
#: A round takes minutes. A few kilobytes of a compressed file can stand for days of silence.
LONGEST_S, MOST_SAMPLES = 2 * 3600.0, 2_000_000_000


def check_rate(name: str, sample_rate_hz: float) -> None:
    """Refuse a sample rate outside 16 kHz..384 kHz.

    Raises
    ------
    SoundError
        With the reason and the remedy.
    """
    if LOWEST_RATE_HZ <= sample_rate_hz <= HIGHEST_RATE_HZ:
        return
    if 4000.0 <= sample_rate_hz < LOWEST_RATE_HZ:
        reason = "the overtones of a spoke lie above what it can hold; record again at 44100 or 48000 Hz"
    else:
        reason = "its header is broken; export or record it again"
    raise SoundError(
        f"{name} has a sample rate of {sample_rate_hz:.0f} Hz; "
        f"{LOWEST_RATE_HZ:.0f} to {HIGHEST_RATE_HZ:.0f} Hz is read: {reason}"
    )


def check_length(name: str, frames: int, sample_rate_hz: float, channels: int) -> None:
    """Refuse what is longer than a round can be, or holds more than a machine gets through: another file, or a trap.

    Raises
    ------
    SoundError
        With the reason and the remedy.
    """
    length_s = frames / sample_rate_hz
    if length_s > LONGEST_S:
        raise SoundError(
            f"{name} is {length_s / 3600:.1f} h long; up to {LONGEST_S / 3600:.0f} h are read; cut out the round"
        )
    if frames * channels > MOST_SAMPLES:
        raise SoundError(
            f"{name} holds {frames * channels:.2g} samples in {channels} channels; up to {MOST_SAMPLES:.2g} are read; "
            "cut out the round, or keep one channel"
        )


def checked(blocks: Iterable[Samples], name: str, sample_rate_hz: float) -> Iterator[Samples]:
    """Pass blocks on unchanged and refuse what is not sound, as soon as it is met.

    A recording without a single sample, or of zeros only, can be told when the blocks have run out: it is refused then,
    by whoever consumes the last block. The sources of ``open_sound`` are checked this way already; other sources
    (an array) are wrapped by the caller.

    Parameters
    ----------
    blocks : iterable of ndarray, shape (frames, channels)
    name : str
        What to call the recording in messages.
    sample_rate_hz : float

    Raises
    ------
    SoundError
        NaN or infinite samples, samples beyond 4 times full scale, no samples at all, or zeros only.
    """
    position = 0
    silent = True
    for block in blocks:
        if not len(block):
            continue
        low, high = float(block.min()), float(block.max())
        if not (low >= -LARGEST_SAMPLE and high <= LARGEST_SAMPLE):
            raise SoundError(_what_is_wrong(block, position, name, sample_rate_hz))
        silent = silent and low == 0.0 == high
        position += len(block)
        check_length(name, position, sample_rate_hz, block.shape[1])
        yield block
    if not position:
        raise SoundError(f"{name} holds no sound (0 samples); record again")
    if silent:
        raise SoundError(
            f"{name} is silent: all {position / sample_rate_hz:.1f} s are exactly zero; "
            "the microphone was muted or not permitted, allow it and record again"
        )


def _what_is_wrong(block: Samples, position: int, name: str, sample_rate_hz: float) -> str:
    """Say where the first impossible sample is and what it is."""
    frame, channel = np.argwhere(~(np.abs(block) <= LARGEST_SAMPLE))[0]
    value = float(block[frame, channel])
    where = f"at {(position + frame) / sample_rate_hz:.3f} s in channel {channel + 1}"
    if math.isnan(value):
        return f"{name} has a sample that is not a number (NaN) {where}; export the recording again"
    if math.isinf(value):
        return f"{name} has an infinite sample {where}; export the recording again"
    return (
        f"{name} has a sample of {value:.3g} times full scale {where}; up to {LARGEST_SAMPLE:g} is allowed: "
        "export the recording as 16 or 24 bit PCM"
    )
