"""Rounds of damped tones in noise with onsets known to the sample, for the tests of the detector."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from tensionear.capture.grid import regrid
from tensionear.capture.plucks import Pluck, PluckFinder

Sound = NDArray[np.float32]


@dataclass(frozen=True, slots=True)
class Ring:
    """One damped harmonic sound: its onset, its first tone, how loud, how long its first tone takes to fall by 1/e."""

    onset_s: float
    frequency_hz: float = 400.0
    level: float = 0.3
    decay_s: float = 0.5


def rings(*onsets_s: float, level: float = 0.3, decay_s: float = 0.5) -> tuple[Ring, ...]:
    """Rings of rising pitch at these onsets."""
    return tuple(Ring(at, 380.0 + 17.0 * index, level, decay_s) for index, at in enumerate(onsets_s))


def play(played: Sequence[Ring], duration_s: float, rate_hz: float, noise: float = 0.003, seed: int = 1) -> Sound:
    """The sound, shape (frames,): six tones a ring, the higher the faster gone, each risen within a millisecond."""
    rng = np.random.default_rng(seed)
    at = np.arange(round(duration_s * rate_hz)) / rate_hz
    sound = noise * rng.standard_normal(len(at))
    for ring in played:
        since = np.maximum(at - ring.onset_s, 0)
        rise = np.minimum(since / 0.001, 1)
        for number in range(1, 7):
            tone = np.sin(2 * np.pi * number * ring.frequency_hz * since + rng.uniform(0, 6.28))
            sound += ring.level / number * rise * tone * np.exp(-since / ring.decay_s * number**0.7)
    return sound.astype(np.float32)


def blocks(sound: Sound, size: int) -> Iterator[Sound]:
    """The sound as a source gives it, shape (size, 1) each, the last one shorter."""
    for start in range(0, len(sound), size):
        yield sound[start : start + size, None].copy()


def plucks_of(sound: Sound, rate_hz: float, block: int | None = None) -> list[Pluck]:
    """The plucks found in a sound that comes in blocks of this size (all at once if None)."""
    finder = PluckFinder(rate_hz)
    found: list[Pluck] = []
    for chunk in regrid(blocks(sound, block or len(sound)), 0, finder.chunk_frames):
        found += finder.push(chunk)
    return found + finder.flush()
