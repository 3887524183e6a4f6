"""A reading as the static screen: alarms, rim, tables, notes, what to do. Imports its siblings here only."""

from __future__ import annotations

import shutil
import sys
import textwrap
from collections.abc import Iterable, Iterator
from typing import TextIO

from rich.console import Console, RenderableType
from rich.text import Text

from tensionear.reading import Reading

from .glyphs import Glyphs, glyphs_for
from .lanes import Lane, common_step, is_beyond, lanes_of, rows_needed
from .palette import Palette, palette_for
from .plain import notes, plain_lines, side_facts
from .rim import Rim, style_of
from .sentence import alarms, to_do
from .states import SIDE_WORDS, STATE_WORDS, state_of, verdict_words
from .table import SpokeTables, pluck_table

#: Below this width the picture does not fit and plain lines are shown; above the other it gains nothing.
NARROWEST = 60
WIDEST = 132


def terminal(file: TextIO | None = None, width: int | None = None) -> Console:
    """A console on this stream (None: standard output) of this width (None: the terminal's).

    The height is given too: without it a dumb terminal would not get the width.
    """
    size = shutil.get_terminal_size((80, 24))
    return Console(
        file=file or sys.stdout,
        width=min(width or size.columns, WIDEST),
        height=size.lines,
        highlight=False,
        markup=False,
    )


def draw_plain(reading: Reading, console: Console) -> None:
    """Draw a reading as plain lines, never wrapped."""
    for line in plain_lines(reading):
        console.print(Text(line), soft_wrap=True)


def draw(reading: Reading, console: Console) -> None:
    """Draw a reading; on a console too narrow for the picture, as plain lines."""
    if console.width < NARROWEST:
        draw_plain(reading, console)
        return
    glyphs, palette = glyphs_for(console.encoding), palette_for(console)
    for part in _parts(reading, glyphs, palette, console.width):
        console.print(part)


def _parts(reading: Reading, glyphs: Glyphs, palette: Palette, width: int) -> Iterable[RenderableType]:
    """The screen from top to bottom."""
    yield Text("")
    if alarms(reading):
        for alarm in alarms(reading):
            yield _barred(glyphs.words(alarm), glyphs, palette.out, palette.alarm, width)
        yield Text("")
    yield _title(reading, glyphs, palette, width)
    yield Text("")
    if reading.job in ("wheel", "evenness"):
        yield from _wheel(reading, glyphs, palette, width)
    elif reading.plucks:
        yield pluck_table(reading, glyphs, palette)
        yield Text("")
    for note in notes(reading):
        yield _note(glyphs.words(note), glyphs, palette, width)
    if notes(reading):
        yield Text("")
    yield _barred(glyphs.words(to_do(reading)), glyphs, palette.within, palette.strong, width)


def _wheel(reading: Reading, glyphs: Glyphs, palette: Palette, width: int) -> Iterable[RenderableType]:
    """Picture, legend and tables."""
    lanes = lanes_of(reading)
    if lanes:
        headings = tuple(_heading(reading, lane.side, glyphs, palette, width) for lane in lanes)
        yield Rim(lanes, max(len(reading.spokes), 1), headings, glyphs, palette)
        yield _legend(reading, lanes, glyphs, palette, width)
        yield Text("")
    yield SpokeTables(reading, glyphs, palette)


def _title(reading: Reading, glyphs: Glyphs, palette: Palette, width: int) -> Text:
    """Name and verdict over a rule, the facts of the recording behind them."""
    title = Text(reading.title, style=palette.strong)
    if reading.verdict is not None:
        style = {"within": palette.within, "out": palette.out, "undecided": palette.undecided}[reading.verdict]
        title.append(f"  {verdict_words(reading)}", style=style)
    used = sum(pluck.used for pluck in reading.plucks)
    facts = f"{used} of {len(reading.plucks)} plucks used {glyphs.dot} {reading.duration_s:.1f} s"
    gap = width - title.cell_len - len(facts)
    title.append(" " * gap if gap > 1 else "\n")
    title.append(facts, style=palette.quiet)
    title.append("\n")
    title.append(glyphs.rule * width, style=palette.line)
    return title


def _heading(reading: Reading, side: str, glyphs: Glyphs, palette: Palette, width: int) -> Text:
    """The heading of a lane: the side in bold, then as many of its facts as fit on the line."""
    heading = Text(SIDE_WORDS[side].capitalize(), style=palette.strong)
    lead = "   "
    for fact in side_facts(reading, side):
        text = lead + glyphs.words(fact)
        if heading.cell_len + len(text) <= width:
            heading.append(text, style="not bold")
        lead = f" {glyphs.dot} "
    return heading


def _legend(reading: Reading, lanes: tuple[Lane, ...], glyphs: Glyphs, palette: Palette, width: int) -> Text:
    """The marks and lines that occur, each with its word; an entry is never broken."""
    legend, column = Text(), 0
    for sign, word, style in _entries(reading, lanes, glyphs, palette):
        size = len(sign) + 1 + len(word)
        if column and column + 3 + size > width:
            legend.append("\n")
            column = 0
        legend.append("   " if column else "")
        legend.append(sign, style=style)
        legend.append(f" {word}", style=palette.quiet)
        column += size + (3 if column else 0)
    return legend


def _entries(
    reading: Reading, lanes: tuple[Lane, ...], glyphs: Glyphs, palette: Palette
) -> Iterator[tuple[str, str, str]]:
    """Sign, word and style of each entry of the legend."""
    states = [state_of(spoke) for spoke in reading.spokes]
    for state, word in STATE_WORDS.items():
        if state in states:
            yield getattr(glyphs, state), word, style_of(state, palette)
    step = common_step(lanes)
    beyond = {point.state for lane in lanes for point in lane.points if is_beyond(lane, point, step)}
    for state in sorted(beyond):
        yield 2 * getattr(glyphs, state), "beyond the picture", style_of(state, palette)
    yield glyphs.stem, f"{glyphs.plus_minus} 95 % against its side", palette.quiet
    yield 2 * glyphs.mean, "mean", palette.line
    yield 2 * glyphs.limit, f"{glyphs.plus_minus} {reading.limits.evenness_percent:g} %", palette.limit
    for value, word in ((reading.limits.max_tension_n, "maximum"), (reading.limits.floor_n, "floor")):
        if value is not None and any(_is_drawn(lane, value, step) for lane in lanes):
            yield 2 * glyphs.bound, f"{word} {value:.0f} {reading.units}", palette.limit


def _is_drawn(lane: Lane, value: float, step: float) -> bool:
    """True if a line at this value lies in the rows of the lane."""
    up, down = rows_needed(lane, step)
    return -down <= round((value - lane.centre) / step) <= up


def _barred(text: str, glyphs: Glyphs, bar_style: str, style: str, width: int) -> Text:
    """A text behind a bar at its left, on every line of it."""
    shown = Text()
    for number, line in enumerate(textwrap.wrap(text, width - 2)):
        shown.append("\n" if number else "")
        shown.append(f"{glyphs.alarm} ", style=bar_style)
        shown.append(line, style=style)
    return shown


def _note(text: str, glyphs: Glyphs, palette: Palette, width: int) -> Text:
    """A note whose further lines stand under its first word."""
    shown = Text(f"{glyphs.dot} ", style=palette.quiet)
    shown.append("\n  ".join(textwrap.wrap(text, width - 2)), style="not dim")
    return shown
