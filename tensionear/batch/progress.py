"""How far a batch is: a line that is drawn anew on a terminal, plain lines elsewhere. Imports tally, values."""

from __future__ import annotations

import shutil
import time
from collections.abc import Callable
from dataclasses import dataclass, field
from typing import TextIO

from .tally import Tally
from .values import Row

#: On a terminal the line is drawn at most so often; elsewhere a line is written at most so often.
_DRAWN_S, _WRITTEN_S = 0.1, 30.0
_BAR = 20


@dataclass(slots=True)
class Progress:
    """Counts rows and says so on a stream.

    Parameters
    ----------
    total : int
    stream : text stream
        Where to; a terminal is drawn on.
    clock : callable
        Seconds.
    """

    total: int
    stream: TextIO
    clock: Callable[[], float] = time.monotonic
    tally: Tally = field(default_factory=Tally)
    kept: int = 0
    _start: float = 0.0
    _said: float = 0.0

    def begin(self) -> None:
        """The time counts from here."""
        self._start = self._said = self.clock()
        if not self.stream.isatty():
            self._write(f"{self.total} files")

    def count(self, row: Row, kept: bool) -> None:
        """One more row; ``kept`` if it was there already."""
        self.tally.count(row)
        self.kept += kept
        now = self.clock()
        if self.stream.isatty():
            if now - self._said >= _DRAWN_S:
                self._said = now
                self._draw(self.fitting(now, shutil.get_terminal_size().columns - 1))
        elif now - self._said >= _WRITTEN_S:
            self._said = now
            self._write(self.line(now))

    def end(self) -> None:
        """Take the line away."""
        if self.stream.isatty():
            self._draw("")
            self.stream.write("\r")

    def aside(self, text: str) -> None:
        """Say something on a line of its own."""
        self.end()
        self._write(text)

    def line(self, now: float) -> str:
        """How far it is, in words and a bar."""
        done, spent = self.tally.rows, max(now - self._start, 1e-9)
        rate = (done - self.kept) / spent
        share = done / max(self.total, 1)
        bar = "#" * round(_BAR * share)
        left = "" if not rate else f", {duration_told((self.total - done) / rate)} left"
        return f"[{bar:-<{_BAR}}] {done} of {self.total}, {_rate_told(rate)}{left}: {self.tally.told()}"

    def fitting(self, now: float, width: int) -> str:
        """The line; in a narrow terminal without its bar, or the counts alone."""
        whole = self.line(now)
        bare = whole.partition("] ")[2]
        counts = f"{self.tally.rows} of {self.total}: {self.tally.told()}"
        return next((text for text in (whole, bare, counts) if len(text) <= width), counts)

    def _draw(self, text: str) -> None:
        """The line, cut to the width of the terminal, over what was there."""
        width = shutil.get_terminal_size().columns - 1
        self.stream.write(f"\r{text[:width]:<{width}}")  # by spaces: a dumb terminal cannot clear a line
        self.stream.flush()

    def _write(self, text: str) -> None:
        self.stream.write(f"{text}\n")
        self.stream.flush()


def _rate_told(per_second: float) -> str:
    return f"{per_second:.1f}/s" if per_second >= 1 else f"{60 * per_second:.1f}/min"


def duration_told(seconds: float) -> str:
    """A time in hours, minutes and seconds: ``1:02:03``, ``2:03``."""
    whole = max(0, round(seconds))
    hours, minutes = divmod(whole // 60, 60)
    return f"{hours}:{minutes:02}:{whole % 60:02}" if hours else f"{minutes}:{whole % 60:02}"
