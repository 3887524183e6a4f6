"""How a live round is kept in the log, and one that was kept is gone on with. Imports errors; the rest when it runs."""

from __future__ import annotations

from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from tensionear.live.keeping import Keeper, Restored
    from tensionear.live.subject import Subject
    from tensionear.records.log import OpenRound
    from tensionear.records.values import Asked

_RING_ON_S = 0.3  # after the last pluck that was kept a recording is gone on with


@dataclass(frozen=True, slots=True)
class Keeping:
    """How the round is kept, what is plucked in it and how, and what was kept of it before."""

    keeper: Keeper
    asked: Asked
    kept: tuple[Restored, ...] = ()

    @property
    def until_s(self) -> float:
        """Up to where in a recording the round was kept."""
        return max((each.onset_s + _RING_ON_S for each in self.kept), default=0.0)


@dataclass(frozen=True, slots=True)
class Asking:
    """What is asked of the log."""

    log: str | None
    resume: bool
    with_sound: bool
    turning: bool
    note: str


def keeping_of(subject: Subject, asked: Asked, asking: Asking, sound: str | None) -> Keeping:
    """A new round in the log, or the one to go on with."""
    from tensionear.live.keeping import KeepsNothing, LogKeeper, latest_unfinished, restored
    from tensionear.records.log import Log
    from tensionear.records.states import state_of_wheel

    log, recording = Log(asking.log), None if sound is None else Path(sound)
    if asking.resume:
        opened = latest_unfinished(log, subject.title)
        keeper = LogKeeper(lambda: opened, subject.label, asking.with_sound, recording)
        begun = log.load(opened.id).asked
        options = replace(begun.options, crossing=asked.options.crossing or begun.options.crossing)
        known = replace(asked, first=begun.first, options=options)
        return Keeping(KeepsNothing() if asking.turning else keeper, known, restored(opened))
    if asking.turning:
        return Keeping(KeepsNothing(), asked)

    def begin() -> OpenRound:
        return log.open_round(asked, subject.title, state_of_wheel(asked.wheel_text), asking.note)

    return Keeping(LogKeeper(begin, subject.label, asking.with_sound, recording), asked)
