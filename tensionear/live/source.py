"""Where live sound comes from: a microphone, or a file played as if it were one. Imports capture."""

from __future__ import annotations

import time
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from typing import Protocol

from tensionear.capture.channels import best_channel
from tensionear.capture.microphone import Piece, Recovered, Trouble
from tensionear.capture.recording import AudioSource, Samples

_PIECE_S = 0.02


@dataclass(frozen=True, slots=True)
class Ended:
    """The file is at its end."""


class LiveSource(Protocol):
    """Sound that comes in its own time."""

    @property
    def name(self) -> str:
        """What to call it."""
        ...

    @property
    def sample_rate_hz(self) -> float:
        """Of the pieces to come."""
        ...

    def take(self, timeout_s: float) -> Piece | Trouble | Recovered | Ended | None:
        """What came next; None if nothing came in this time."""
        ...

    def stop(self) -> None:
        """Close it."""
        ...


class PlayedFile:
    """A recording given piece by piece, in real time or as fast as it is taken.

    Parameters
    ----------
    source : AudioSource
    fast : bool
    at_once_s : float
        So much of its start is given at once, whatever the time: it was heard before.
    clock, sleep : callable
        Seconds, monotonic, and how to wait.
    """

    def __init__(
        self,
        source: AudioSource,
        fast: bool,
        at_once_s: float = 0.0,
        clock: Callable[[], float] = time.monotonic,
        sleep: Callable[[float], None] = time.sleep,
    ) -> None:
        self._source, self._fast, self._clock, self._sleep = source, fast, clock, sleep
        self.name, self.sample_rate_hz = source.name, source.sample_rate_hz
        self._at_once = round(at_once_s * source.sample_rate_hz)
        self._pieces = self._cut()
        self._start_s: float | None = None
        self._frames = 0

    def take(self, timeout_s: float) -> Piece | Trouble | Recovered | Ended | None:
        """The next 20 ms, when their time has come."""
        waits = not self._fast and self._frames >= self._at_once
        if waits and self._start_s is None:
            self._start_s = self._clock() - self._frames / self.sample_rate_hz
        due_s = (self._start_s or 0.0) + self._frames / self.sample_rate_hz
        if waits and due_s > self._clock() + timeout_s:
            self._sleep(timeout_s)
            return None
        if waits:
            self._sleep(max(0.0, due_s - self._clock()))
        samples = next(self._pieces, None)
        if samples is None:
            return Ended()
        self._frames += len(samples)
        return Piece(samples, due_s, False)

    def stop(self) -> None:
        """Nothing to close."""

    def notes(self) -> tuple[str, ...]:
        """What there is to tell of the file once it is at its end."""
        return self._source.notes()

    def _cut(self) -> Iterator[Samples]:
        step = max(1, round(_PIECE_S * self.sample_rate_hz))
        for block in self._source.blocks():
            for start in range(0, len(block), step):
                yield block[start : start + step]


def channel_of(source: AudioSource) -> tuple[int, str]:
    """The channel of a file, as ``read`` takes it, and why."""
    found = best_channel(source)
    return found.index, found.text
