"""Sound as the package takes it: a source of blocks, whatever stands behind it. Imports nothing of the package."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Protocol

import numpy as np
from numpy.typing import NDArray

Samples = NDArray[np.float32]


class AudioSource(Protocol):
    """Anything that gives sound block by block: a file, an array, a microphone.

    Attributes
    ----------
    name : str
        What to call it in messages (a path as the user wrote it).
    sample_rate_hz : float
    channels : int
    """

    @property
    def name(self) -> str: ...
    @property
    def sample_rate_hz(self) -> float: ...
    @property
    def channels(self) -> int: ...

    def blocks(self) -> Iterator[Samples]:
        """Yield the sound from its start as fresh arrays, shape (frames, channels), full scale 1.0; any block length > 0."""
        ...

    def notes(self) -> tuple[str, ...]:
        """What a user should know about the source itself, complete once ``blocks`` has run out (``file ends early``)."""
        ...


@dataclass(frozen=True, slots=True, eq=False)
class Recording:
    """Sound held in memory.

    Parameters
    ----------
    samples : ndarray, shape (frames,) or (frames, channels)
        Full scale 1.0.
    sample_rate_hz : float
        16 kHz and up is analysed.
    name : str
        What to call it in messages.
    """

    samples: NDArray[np.floating]
    sample_rate_hz: float
    name: str = "recording"

    @property
    def channels(self) -> int:
        """Number of channels."""
        return 1 if self.samples.ndim == 1 else int(self.samples.shape[1])

    def blocks(self) -> Iterator[Samples]:
        """Yield the sound in blocks of about a second."""
        frames = self.samples.reshape(len(self.samples), self.channels)
        step = max(1, int(self.sample_rate_hz))
        for start in range(0, len(frames), step):
            yield np.array(frames[start : start + step], dtype=np.float32)

    def notes(self) -> tuple[str, ...]:
        """Nothing to tell of an array."""
        return ()
