"""Accepted plucks kept in the log as they come, and taken up again. Imports capture, records and events."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Protocol

import numpy as np

from tensionear.capture.plucks import Pluck
from tensionear.capture.recording import Recording
from tensionear.errors import UsageError
from tensionear.reading import PluckReading, Reading
from tensionear.records.log import Log, OpenRound

from .events import Value


@dataclass(frozen=True, slots=True, eq=False)
class KeptPluck:
    """An accepted pluck: when, whose, what it said, and its sound as it was heard."""

    onset_s: float
    spoke: int
    value: Value
    pluck: Pluck


@dataclass(frozen=True, slots=True, eq=False)
class Restored:
    """A pluck that was kept, with its sound if that was kept too."""

    onset_s: float
    spoke: int
    value: Value
    sound: Recording | None


class Keeper(Protocol):
    """Keeps a round as it grows. When a method returns, what it was given is on disk; LogError if it cannot be."""

    def accept(self, plucks: tuple[KeptPluck, ...]) -> None:
        """Keep these plucks of one spoke; one already kept (by onset) is replaced, since its whole ring is now known."""
        ...

    def withdraw(self, spoke: int) -> None:
        """What was kept of this spoke no longer counts."""
        ...

    def note(self, spoke: int, text: str) -> None:
        """Keep a note."""
        ...

    def close(self, reading: Reading) -> None:
        """The round is over and was read so."""
        ...


class KeepsNothing:
    """For a spoke that is turned: its plucks are no round."""

    def accept(self, plucks: tuple[KeptPluck, ...]) -> None:
        """Nothing."""

    def withdraw(self, spoke: int) -> None:
        """Nothing."""

    def note(self, spoke: int, text: str) -> None:
        """Nothing."""

    def close(self, reading: Reading) -> None:
        """Nothing."""


class LogKeeper:
    """Keeps a round in the log, which gets it with the first accepted pluck.

    Parameters
    ----------
    opened : callable
        Opens the round, or goes on with one.
    label : callable
        What a spoke is called, for notes.
    with_sound : bool
        Whether the sound of plucks is kept too.
    recording : Path or None
        The file that is played, kept with the finished round.
    """

    def __init__(
        self, opened: Callable[[], OpenRound], label: Callable[[int], str], with_sound: bool, recording: Path | None
    ) -> None:
        self._opened, self._label = opened, label
        self._with_sound, self._recording = with_sound, recording
        self._round: OpenRound | None = None
        self._numbers: dict[float, tuple[int, int]] = {}  # onset to spoke and number in the log

    def accept(self, plucks: tuple[KeptPluck, ...]) -> None:
        """The new one first, then the old one is taken back, so that there is always one."""
        for each in plucks:
            sound = Recording(each.pluck.samples, each.pluck.rate_hz) if self._with_sound else None
            number = self._open().append(_reading_of(each), sound)
            before = self._numbers.get(each.onset_s)
            self._numbers[each.onset_s] = (each.spoke, number)
            if before is not None:
                self._open().take_back(before[1])

    def withdraw(self, spoke: int) -> None:
        """Take back what was kept of this spoke."""
        opened = self._open()
        for onset_s, (whose, number) in list(self._numbers.items()):
            if whose == spoke:
                opened.take_back(number)
                del self._numbers[onset_s]

    def note(self, spoke: int, text: str) -> None:
        """A line of the round's note."""
        self._open().add_note(f"{self._label(spoke)}: {text}")

    def close(self, reading: Reading) -> None:
        """Finish the round."""
        self._open().finish(reading, self._recording if self._with_sound else None)

    def _open(self) -> OpenRound:
        if self._round is None:
            self._round = self._opened()
            for each in self._round.plucks:
                if each.reading.spoke is not None:
                    self._numbers[each.reading.onset_s] = (each.reading.spoke, each.number)
        return self._round


def latest_unfinished(log: Log, title: str) -> OpenRound:
    """The round of this wheel that was begun last and not finished.

    Raises
    ------
    UsageError
        If there is none.
    """
    for row in log.unfinished():
        if row.title == title:
            return log.resume(row.id)
    raise UsageError(f"no unfinished round of {title} in {log.path}; begin one without --resume")


def restored(opened: OpenRound) -> tuple[Restored, ...]:
    """All plucks of a round in order of time; of one kept twice, when a kill came between, the later."""
    found: dict[float, Restored] = {}
    for each in opened.plucks:
        told = each.reading
        if told.spoke is None or told.frequency_hz is None:
            continue
        value = Value(told.frequency_hz, told.tension_n, told.u_tension_n)
        sound = None if each.sound is None else _sound(opened.log.sound_path(each.sound))
        found[told.onset_s] = Restored(told.onset_s, told.spoke, value, sound)
    return tuple(found[onset_s] for onset_s in sorted(found))


def _sound(path: Path) -> Recording | None:
    """A kept sound; None if it is gone or broken, which costs that pluck its overtones, not its number."""
    import soundfile

    try:
        samples, rate_hz = soundfile.read(path, dtype="float32")
    except (OSError, RuntimeError):
        return None
    return Recording(np.asarray(samples), float(rate_hz), path.name)


def _reading_of(kept: KeptPluck) -> PluckReading:
    value = kept.value
    return PluckReading(
        kept.onset_s,
        kept.spoke,
        None,
        True,
        None,
        None,
        value.pitch_hz,
        None,
        None,
        value.tension_n,
        value.u_tension_n,
    )
