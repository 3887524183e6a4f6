"""A live round as plain lines, one a pluck, for pipes and screen readers. Imports words and live."""

from __future__ import annotations

from collections.abc import Callable

from tensionear.live.checklist import Item
from tensionear.live.subject import Subject
from tensionear.live.told import Told
from tensionear.live.turning import Turning
from tensionear.reading import Units
from tensionear.units import in_words

from .checkpicture import count_words, next_line, ticked_words
from .words import CAUTIONS, told_line, turning_words


class PlainLines:
    """Writes a finished line for whatever happened.

    Parameters
    ----------
    write : callable
        Takes one line.
    subject : Subject
    needed : int
        Plucks of each spoke.
    units : {"N", "kgf", "daN", "lbf"}
        What newtons are shown in.
    """

    def __init__(self, write: Callable[[str], None], subject: Subject, needed: int, units: Units = "N") -> None:
        self._to, self._subject, self._needed, self._units = write, subject, needed, units
        self.turning: Callable[[], Turning | None] = lambda: None
        self.items: Callable[[], tuple[Item, ...]] = tuple

    def tell(self, told: Told) -> None:
        """One line."""
        turning = self.turning()
        label = self._subject.label(told.spoke) if told.spoke else ""
        if told.kind == "turning" and turning is not None:
            stale = "; ".join(
                f"{self._subject.label(number)} {gain:+.0f} N" for number, gain in sorted(turning.stale().items())
            )
            expected = f"; until plucked again, expect {stale}" if stale and len(turning.trace) > 1 else ""
            value = told_line(Told("pluck", told.spoke, told.value, count=1), label, 1).rsplit("; ", 1)[0]
            self._write(f"{value}; {turning_words(turning)}{expected}")
            return
        line = told_line(told, label, self._needed)
        items = self.items()
        ticked = [each for each in items if each.heard and each.turn.spoke == told.spoke]
        if told.kind != "accepted" or not ticked:
            self._write(line)
            return
        self._write(f"{line}; {ticked_words(ticked[-1])}; {count_words(items)}")
        self.tell_next()

    def tell_cautions(self) -> None:
        """Before the first turn."""
        for caution in CAUTIONS:
            self._write(caution)

    def tell_next(self) -> None:
        """What to turn next, where a turn plan is followed."""
        waiting = [each for each in self.items() if each.heard is None]
        awaited = [each for each in waiting if each.expected is not None]
        if waiting:
            self._write(next_line((awaited or waiting)[0]))

    def _write(self, line: str) -> None:
        self._to(in_words(line, self._units))
