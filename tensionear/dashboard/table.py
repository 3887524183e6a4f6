"""The numbers of every spoke, one table a side. Imports reading, states, sentence and glyphs only."""

from __future__ import annotations

from dataclasses import dataclass

from rich.console import Console, ConsoleOptions, RenderResult
from rich.table import Table
from rich.text import Text

from tensionear.reading import Finding, Reading, SpokeReading

from .glyphs import Glyphs
from .palette import Palette
from .rim import style_of
from .states import SIDE_WORDS, STATE_WORDS, deviation, pair, state_of

#: From this width on two sides stand beside each other.
SIDE_BY_SIDE = 110
#: Findings that the word of the verdict says already.
SAID_BY_VERDICT = frozenset({"out-of-evenness"})


@dataclass(frozen=True, slots=True)
class SpokeTables:
    """The tables of all sides of a reading."""

    reading: Reading
    glyphs: Glyphs
    palette: Palette

    def __rich_console__(self, console: Console, options: ConsoleOptions) -> RenderResult:
        """One under the other, or beside each other where there is room."""
        tables = [self._side(side) for side in self.reading.sides]
        if len(tables) < 2 or options.max_width < SIDE_BY_SIDE:
            for table in tables:
                yield table
                yield Text("")
            return
        beside = Table.grid(padding=(0, 4, 0, 0))
        beside.add_row(*tables)
        yield beside
        yield Text("")

    def _side(self, side: str) -> Table:
        """The table of one side."""
        known = any(each.tension_n is not None for each in self.reading.spokes)
        table = Table(box=None, pad_edge=False, padding=(0, 2, 0, 0), header_style=self.palette.quiet)
        table.add_column(SIDE_WORDS[side])
        if known:
            table.add_column(self.reading.units, justify="right")
            table.add_column(f"{self.glyphs.plus_minus} 95 %", justify="right")
        table.add_column("% of mean", justify="right")
        if not known:
            table.add_column(f"{self.glyphs.plus_minus} 95 %", justify="right")
        table.add_column("")
        spokes = [spoke for spoke in self.reading.spokes if spoke.side == side]
        noted = any(notes_of(self.reading, spoke) for spoke in spokes)
        if noted:
            table.add_column("notes", overflow="fold")
        for spoke in spokes:
            cells = self._row(spoke, known)
            table.add_row(*(cells if noted else cells[:-1]))
        return table

    def _row(self, spoke: SpokeReading, known: bool) -> list[Text]:
        """The cells of one spoke."""
        state = state_of(spoke)
        style = style_of(state, self.palette)
        cells = [Text(spoke.label, style=self.palette.strong)]
        if known:
            cells.extend(Text(text) for text in pair(spoke.tension_n, spoke.u_tension_n))
        cells.append(Text(deviation(spoke)))
        if not known:
            cells.append(Text(pair(spoke.deviation_percent, spoke.u_deviation_percent)[1]))
        cells.append(Text(f"{getattr(self.glyphs, state)} {STATE_WORDS[state]}", style=style))
        cells.append(Text("; ".join(notes_of(self.reading, spoke))))
        return cells


def notes_of(reading: Reading, spoke: SpokeReading) -> tuple[str, ...]:
    """Why a spoke is left out, what is doubtful about it, and which findings name it."""
    found = []
    if spoke.leave_out is not None:
        found.append(spoke.leave_out)
    if spoke.doubt is not None:
        found.append(spoke.doubt)
    told = [each.code for each in reading.findings if singles_out(reading, each, spoke)]
    found.extend(code.replace("-", " ") for code in told if code not in SAID_BY_VERDICT)
    return tuple(found)


def singles_out(reading: Reading, finding: Finding, spoke: SpokeReading) -> bool:
    """True if the finding names this spoke, and not just all spokes of its side."""
    side = {each.spoke for each in reading.spokes if each.side == spoke.side}
    return spoke.spoke in finding.spokes and not side <= set(finding.spokes)


def pluck_table(reading: Reading, glyphs: Glyphs, palette: Palette) -> Table:
    """The plucks one by one, where there is no wheel to sort them into: time, pitch, tension, and what to change."""
    known = reading.job == "pluck"
    table = Table(box=None, pad_edge=False, padding=(0, 2, 0, 0), header_style=palette.quiet)
    table.add_column("pluck", justify="right")
    table.add_column("at s", justify="right")
    table.add_column("Hz", justify="right")
    table.add_column(f"{glyphs.plus_minus} 95 %", justify="right")
    if known:
        table.add_column(reading.units, justify="right")
        table.add_column(f"{glyphs.plus_minus} 95 %", justify="right")
    table.add_column("notes", overflow="fold")
    for number, pluck in enumerate(reading.plucks, 1):
        cells = [Text(str(number), style=palette.strong), Text(f"{pluck.onset_s:.2f}")]
        cells.extend(Text(text) for text in pair(pluck.frequency_hz, pluck.u_frequency_hz))
        if known:
            cells.extend(Text(text) for text in pair(pluck.tension_n, pluck.u_tension_n))
        note = "" if pluck.rejected is None else f"{pluck.rejected.replace('-', ' ')}: {pluck.advice or 'pluck again'}"
        table.add_row(*cells, Text(f"{glyphs.unread} {note}" if note else "", style=palette.undecided))
    return table
