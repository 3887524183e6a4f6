"""Rounds put into the log by the commands that read them. Imports options and errors; records when a round is kept."""

from __future__ import annotations

import sys
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from tensionear.errors import UsageError
from tensionear.options import RoundOptions
from tensionear.reading import Reading

if TYPE_CHECKING:
    from tensionear.records.values import Asked

    from .read import Subject


@dataclass(frozen=True, slots=True)
class Keeper:
    """Where rounds are kept and what is kept beside each; ``log`` None is the usual one."""

    log: str | None
    note: str
    asked: Asked

    def keep(self, sound: str, reading: Reading) -> None:
        """Keep one round and say its number, on standard error so that pipes are not disturbed."""
        from tensionear.records.log import Log
        from tensionear.records.states import state_of_wheel

        log = Log(self.log)
        number = log.save(reading, self.asked, Path(sound), state_of_wheel(self.asked.wheel_text), self.note)
        sys.stderr.write(f"Kept as round {number} in {log.path}.\n")


def keeper(keep: bool, log: str | None, note: str, asked: Asked) -> Keeper | None:
    """What the options ask for; naming a log asks to keep."""
    if not keep and log is None:
        if note:
            raise UsageError("--note without --keep has nowhere to go; add --keep, or --log FILE")
        return None
    return Keeper(log, note, asked)


def asked_of(subject: Subject, wheel: str | None, kind: str | None, options: RoundOptions) -> Asked:
    """What was asked of a recording, as the log keeps it."""
    from tensionear.loading import read_text
    from tensionear.records.values import Asked

    text = None if wheel is None else read_text(Path(wheel))
    return Asked(text, kind, subject.free_length_m, subject.spokes, subject.first, options)
