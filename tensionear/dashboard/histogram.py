"""How the spokes of a side spread about its mean: a histogram of marks, a row a step of deviation. Imports siblings here."""

from __future__ import annotations

import math
from dataclasses import dataclass

from rich.console import Console, ConsoleOptions, RenderResult
from rich.table import Table
from rich.text import Text

from tensionear.reading import Reading, SpokeReading

from .glyphs import Glyphs
from .palette import Palette
from .rim import style_of
from .states import SIDE_WORDS, state_of

#: Rows from the mean to the evenness limit, and the most beyond it.
TO_LIMIT, BEYOND = 5, 4
SIDE_BY_SIDE = 80


@dataclass(frozen=True, slots=True)
class Histograms:
    """One histogram a side, on a common scale, the tight spokes on top."""

    reading: Reading
    glyphs: Glyphs
    palette: Palette

    def __rich_console__(self, console: Console, options: ConsoleOptions) -> RenderResult:
        """Beside each other where there is room."""
        sides = [side for side in self.reading.sides if self._spokes(side)]
        if not sides:
            return
        room = options.max_width // (2 if len(sides) > 1 and options.max_width >= SIDE_BY_SIDE else 1) - 2
        parts = [self._side(side, room) for side in sides]
        if len(parts) > 1 and options.max_width >= SIDE_BY_SIDE:
            beside = Table.grid(padding=(0, 2, 0, 0))
            beside.add_column(width=room)
            beside.add_column(width=room)
            beside.add_row(*parts)
            yield beside
        else:
            yield from parts
        yield Text("")

    def _spokes(self, side: str) -> list[SpokeReading]:
        return [each for each in self.reading.spokes if each.side == side and each.deviation_percent is not None]

    def _rows(self) -> tuple[int, int]:
        """The highest and lowest row that any side needs; 0 is about the mean."""
        rows = [self._row(spoke) for side in self.reading.sides for spoke in self._spokes(side)]
        most = TO_LIMIT + BEYOND
        return min(max(*rows, TO_LIMIT), most), max(min(*rows, -TO_LIMIT), -most)

    def _row(self, spoke: SpokeReading) -> int:
        """The row of a spoke; what lies beyond the picture is put on its edge."""
        step = self.reading.limits.evenness_percent / TO_LIMIT
        row = math.floor((spoke.deviation_percent or 0.0) / step + 0.5)
        return max(-TO_LIMIT - BEYOND, min(row, TO_LIMIT + BEYOND))

    def _side(self, side: str, room: int) -> Text:
        """The rows of one side: axis, marks, and the names of those that are out or undecided."""
        text = Text(f"{SIDE_WORDS[side].capitalize()}, % of its mean\n", style=self.palette.strong)
        spokes = sorted(self._spokes(side), key=lambda each: -(each.deviation_percent or 0.0))
        high, low = self._rows()
        for row in range(high, low - 1, -1):
            here = [spoke for spoke in spokes if self._row(spoke) == row]
            at_limit = abs(row) == TO_LIMIT
            rule = self.glyphs.limit if at_limit else self.glyphs.mean if row == 0 else self.glyphs.stem
            edge = "<" if row == -TO_LIMIT - BEYOND else ">" if row == TO_LIMIT + BEYOND else " "
            text.append(f"{edge}{self._axis(row):>6} ", style=self.palette.quiet)
            text.append(f"{rule} ", style=self.palette.limit if at_limit else self.palette.line)
            for spoke in here:
                state = state_of(spoke)
                text.append(getattr(self.glyphs, state), style=style_of(state, self.palette))
            text.append(self._named(here, room - 10 - len(here)), style=self.palette.quiet)
            text.append("\n")
        text.rstrip()
        return text

    def _axis(self, row: int) -> str:
        value = row * self.reading.limits.evenness_percent / TO_LIMIT
        return f"{value:+g}" if row else "0"

    def _named(self, here: list[SpokeReading], room: int) -> str:
        """The names of the spokes that are not within, as many as fit."""
        names = [spoke.label for spoke in here if state_of(spoke) not in ("within", "unjudged", "left_out")]
        text = ""
        for name in names:
            if len(text) + 1 + len(name) > room:
                break
            text += f" {name}"
        return text
