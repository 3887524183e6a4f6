"""How each pluck was heard: partials, spectrum, second opinion, budget, what was assumed. Imports its siblings here only."""

from __future__ import annotations

import math
import textwrap
from collections.abc import Collection, Iterator, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from rich.console import Console
from rich.table import Table
from rich.text import Text

from tensionear.reading import PluckReading, Reading

from .budget import budget_for, budget_lines, budget_table, looked_into
from .glyphs import Glyphs, glyphs_for
from .palette import Palette, palette_for
from .states import SIDE_WORDS, with_interval

SPECTRUM_ROWS = 6
#: The picture shows this much below the strongest partial.
DEPTH_DB = 60.0
LEVEL_COLUMNS = 7


@dataclass(frozen=True, slots=True, eq=False)
class Heard:
    """The sound of one pluck as it is drawn.

    Parameters
    ----------
    frequency_hz, level_db : ndarray, shape (bins,)
        Ascending frequencies, and levels relative to any reference.
    second_opinion_hz : float or None
        The pitch that a general-purpose estimator hears; None where it hears none.
    asked : bool
        Whether it was asked at all.
    """

    frequency_hz: NDArray[np.float64]
    level_db: NDArray[np.float64]
    second_opinion_hz: float | None
    asked: bool = True


def draw_explained(
    reading: Reading, heard: Sequence[Heard | None], console: Console, chosen: Collection[int] = ()
) -> None:
    """Draw how each pluck of a reading was heard (``heard`` has one entry per pluck), or the ``chosen`` ones, counted from 1;
    then what was assumed."""
    glyphs, palette = glyphs_for(console.encoding), palette_for(console)
    looked = looked_into(reading, chosen)
    for number, (pluck, sound) in enumerate(zip(reading.plucks, heard, strict=True), 1):
        if chosen and number not in chosen:
            continue
        console.print(_heading(number, pluck, reading, glyphs, palette))
        if pluck.partials:
            console.print(_partials(pluck, glyphs, palette))
        if sound is not None:
            for line in spectrum_lines(sound, pluck, console.width, glyphs, palette):
                console.print(line)
        if pluck.used and sound is not None and sound.asked:
            console.print(Text(second_opinion(pluck, sound.second_opinion_hz)))
        budget = budget_for(reading, number) if number in looked else ()
        if budget:
            console.print(budget_table(budget, reading.units, palette))
        console.print()
    for fact in (*_left_out(reading, looked, chosen), *assumed(reading)):
        shown = "\n  ".join(textwrap.wrap(glyphs.words(fact), console.width - 2))
        console.print(Text(f"{glyphs.dot} {shown}"))


def explained_lines(reading: Reading, heard: Sequence[Heard | None], chosen: Collection[int] = ()) -> Iterator[str]:
    """The same as plain lines, the spectrum left out: its partials say it in numbers."""
    looked = looked_into(reading, chosen)
    for number, (pluck, sound) in enumerate(zip(reading.plucks, heard, strict=True), 1):
        if chosen and number not in chosen:
            continue
        for partial in pluck.partials:
            yield (
                f"Pluck {number}, mode {partial.mode}, plane {partial.plane}: "
                f"{with_interval(partial.frequency_hz, partial.u_frequency_hz, 'Hz')}, "
                f"decay {partial.decay_s:.2f} s, level {partial.level_db:.0f} dB."
            )
        if pluck.used and sound is not None and sound.asked:
            yield f"Pluck {number}: {second_opinion(pluck, sound.second_opinion_hz)}"
        budget = budget_for(reading, number) if number in looked else ()
        for line in budget_lines(budget, reading.units) if budget else ():
            yield f"Budget of pluck {number}, {line}."
    for fact in _left_out(reading, looked, chosen):
        yield f"{fact[0].upper()}{fact[1:]}."
    for fact in assumed(reading):
        yield f"Assumed or found: {fact.rstrip('.')}."


def second_opinion(pluck: PluckReading, heard_hz: float | None) -> str:
    """What a general-purpose pitch estimator hears, and how far from the first mode or from which partial."""
    if heard_hz is None or pluck.frequency_hz is None:
        return "Second opinion (librosa): no pitch."
    nearest = min(pluck.partials, key=lambda each: abs(_cents(heard_hz, each.frequency_hz)), default=None)
    apart = _cents(heard_hz, pluck.frequency_hz)
    said = f"Second opinion (librosa): {heard_hz:.1f} Hz, {apart:+.0f} cents from the first mode"
    if nearest is not None and nearest.mode > 1 and abs(_cents(heard_hz, nearest.frequency_hz)) < abs(apart):
        return f"{said}; it hears mode {nearest.mode}."
    return f"{said}."


def assumed(reading: Reading) -> tuple[str, ...]:
    """What the reading rests on: its assumptions, then the stiffness of the ends with how it is known."""
    facts = list(reading.assumptions)
    for side, ends in reading.ends.items():
        for end in ends:
            low, high = end.interval_95
            facts.append(
                f"{SIDE_WORDS.get(side, side)}, {end.end} end, plane {end.plane}: {end.n_m_per_rad:.3g} N m/rad "
                f"({low:.3g} to {high:.3g} at 95 %), {end.how}"
            )
    return tuple(facts)


def _left_out(reading: Reading, looked: Collection[int], chosen: Collection[int]) -> tuple[str, ...]:
    """That not every pluck was looked into, and how to have it."""
    used = sum(pluck.used for pluck in reading.plucks)
    if chosen or len(looked) == used:
        return ()
    return ("second opinion and budget are of the least sure pluck of each side; for another one give --pluck N",)


def _cents(one_hz: float, other_hz: float) -> float:
    """The interval from one frequency to another in cents."""
    return 1200 * math.log2(one_hz / other_hz)


def _heading(number: int, pluck: PluckReading, reading: Reading, glyphs: Glyphs, palette: Palette) -> Text:
    """Which pluck, when, of which spoke, and why it was not used."""
    labels = {spoke.spoke: spoke.label for spoke in reading.spokes}
    heading = Text(f"Pluck {number}", style=palette.strong)
    facts = [f"{pluck.onset_s:.2f} s"]
    if pluck.spoke is not None:
        facts.append(f"spoke {labels.get(pluck.spoke, pluck.spoke)}")
    if pluck.rejected is not None:
        facts.append(f"not used: {pluck.rejected.replace('-', ' ')}")
    elif pluck.tension_n is not None:
        facts.append(glyphs.words(with_interval(pluck.tension_n, pluck.u_tension_n, reading.units)))
    heading.append(f"   {f' {glyphs.dot} '.join(facts)}", style="not bold")
    return heading


def _partials(pluck: PluckReading, glyphs: Glyphs, palette: Palette) -> Table:
    """The partials of a pluck, one a row."""
    table = Table(box=None, pad_edge=False, padding=(0, 2, 0, 0), header_style=palette.quiet)
    table.add_column("mode", justify="right")
    table.add_column("plane")
    table.add_column(f"Hz {glyphs.plus_minus} 95 %", justify="right")
    table.add_column("decay s", justify="right")
    table.add_column("dB", justify="right")
    for each in pluck.partials:
        pitch = with_interval(each.frequency_hz, each.u_frequency_hz, "").rstrip()
        cells = (str(each.mode), each.plane, glyphs.words(pitch), f"{each.decay_s:.2f}", f"{each.level_db:.0f}")
        table.add_row(*(Text(cell) for cell in cells))
    return table


def spectrum_lines(heard: Heard, pluck: PluckReading, width: int, glyphs: Glyphs, palette: Palette) -> tuple[Text, ...]:
    """A spectrum as bars, its partials numbered under them.

    Each column shows the highest level of its band; the axis runs from 0 Hz to a fifth above the highest partial (or
    to the highest frequency given, if lower), the height over 60 dB.
    """
    top_hz = float(heard.frequency_hz[-1])
    if pluck.partials:
        top_hz = min(top_hz, 1.2 * max(each.frequency_hz for each in pluck.partials))
    columns = width - LEVEL_COLUMNS
    levels = column_levels(heard, columns, top_hz)
    styles = [palette.quiet] * columns
    marks = [" "] * columns
    for each in pluck.partials:
        column = min(int(each.frequency_hz / top_hz * columns), columns - 1)
        marks[column] = str(each.mode % 10)
        styles[column] = palette.within
    found = []
    for row in range(SPECTRUM_ROWS, 0, -1):
        label = f"{DEPTH_DB * (row / SPECTRUM_ROWS - 1):>4.0f} dB" if row % 2 == 0 else " " * LEVEL_COLUMNS
        line = Text(f"{label:<{LEVEL_COLUMNS}}", style=palette.quiet, no_wrap=True)
        for level, style in zip(levels, styles, strict=True):
            line.append(_bar(level, row, glyphs), style=style)
        found.append(line)
    modes = Text(f"{'mode':<{LEVEL_COLUMNS}}", style=palette.quiet, no_wrap=True)
    modes.append("".join(marks).rstrip(), style=palette.strong)
    return (*found, modes, Text(_frequency_axis(columns, top_hz), style=palette.quiet, no_wrap=True))


def column_levels(heard: Heard, columns: int, top_hz: float) -> NDArray[np.float64]:
    """The highest level of each column's band, shape (columns,): 1 the strongest, 0 `DEPTH_DB` below it or no bin."""
    place = np.floor(heard.frequency_hz / top_hz * columns).astype(np.intp)
    shown = (place >= 0) & (place < columns) & np.isfinite(heard.level_db)
    highest = np.full(columns, -np.inf)
    np.maximum.at(highest, place[shown], heard.level_db[shown])
    if not np.any(np.isfinite(highest)):
        return np.zeros(columns)
    relative: NDArray[np.float64] = np.clip(1 + (highest - highest.max()) / DEPTH_DB, 0.0, 1.0)
    return relative


def _bar(level: float, row: int, glyphs: Glyphs) -> str:
    """The piece of a bar in this row (from 1 at the foot)."""
    part = min(max(level * SPECTRUM_ROWS - (row - 1), 0.0), 1.0)
    return glyphs.bars[round(part * (len(glyphs.bars) - 1))]


def _frequency_axis(columns: int, top_hz: float) -> str:
    """Frequencies under the bars, at round numbers about twelve columns apart."""
    wanted = top_hz * 12 / columns
    power = 10.0 ** math.floor(math.log10(wanted))
    step = next(power * each for each in (1, 2, 5, 10) if power * each >= wanted)
    axis = f"{'Hz':<{LEVEL_COLUMNS}}"
    for number in range(int(top_hz / step) + 1):
        label = f"{number * step:.0f}"
        start = LEVEL_COLUMNS + int(number * step / top_hz * columns)
        if start + len(label) <= LEVEL_COLUMNS + columns:
            axis = f"{axis:<{start}}{label}"
    return axis
