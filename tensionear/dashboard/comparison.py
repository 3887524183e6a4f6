"""Differences from known tensions as a table and as lines. Imports wheel.comparison, units and its siblings.

The comparison is in newtons; ``units`` is what people are shown.
"""

from __future__ import annotations

from collections.abc import Iterator

from rich.console import Console
from rich.table import Table
from rich.text import Text

from tensionear.reading import Units
from tensionear.units import NEWTONS
from tensionear.wheel.comparison import Comparison

from .glyphs import glyphs_for
from .palette import palette_for
from .states import pair, with_interval


def draw_comparison(comparison: Comparison, console: Console, tyre: str | None = None, units: Units = "N") -> None:
    """Draw the table of differences, then bias and scatter."""
    glyphs, palette = glyphs_for(console.encoding), palette_for(console)
    table = Table(box=None, pad_edge=False, padding=(0, 2, 0, 0), header_style=palette.quiet)
    table.add_column("against")
    for name in (f"read {units}", f"{glyphs.plus_minus} 95 %", f"known {units}", "apart %", ""):
        table.add_column(name, justify="left" if not name else "right")
    newtons = NEWTONS[units]
    for each in comparison.differences:
        read, half = pair(each.read_n / newtons, each.u_read_n / newtons)
        held = "held" if each.held else f"{glyphs.unread} not held"
        held += ", differs from the rest" if each.differs else ""
        cells = (read, half, _known(each.known_n, each.u_known_n, newtons), f"{each.difference_percent:+.1f}", held)
        style = palette.out if each.differs or not each.held else ""
        table.add_row(
            Text(each.label, style=palette.strong), *(Text(cell) for cell in cells[:-1]), Text(held, style=style)
        )
    console.print(table)
    console.print()
    for line in closing_lines(comparison, tyre):
        console.print(Text(glyphs.words(line)))


def comparison_lines(comparison: Comparison, tyre: str | None = None, units: Units = "N") -> Iterator[str]:
    """The same as plain lines."""
    newtons = NEWTONS[units]
    for each in comparison.differences:
        held = "interval held" if each.held else "interval not held"
        held += ", differs from the rest" if each.differs else ""
        yield (
            f"{each.label} (spoke {each.spoke}): read {with_interval(each.read_n / newtons, each.u_read_n / newtons, units)}, "
            f"known {_known(each.known_n, each.u_known_n, newtons)} {units}, apart {each.difference_percent:+.1f} %, {held}."
        )
    yield from closing_lines(comparison, tyre)


def closing_lines(comparison: Comparison, tyre: str | None) -> Iterator[str]:
    """Limits of agreement, who differs, what the two states of the wheel explain; bias and scatter last."""
    if comparison.agreement_percent is not None and len(comparison.differences) > 2:
        low, high = comparison.agreement_percent
        yield f"Limits of agreement {low:+.1f} to {high:+.1f} %: 95 of 100 spokes should differ by no more."
        apart = [each.label for each in comparison.differences if each.differs]
        who = f"{', '.join(apart)} beyond" if apart else "none beyond"
        yield f"Bias taken off, {who} what both readings' own uncertainties explain."
    other = [each for each in comparison.tyres if tyre is not None and (each == "none") != (tyre == "none")]
    if other:
        yield (
            f"The known tensions were taken with tyre = {other[0]}, these with tyre = {tyre}: a tyre takes 5 to 15 % away "
            "(common practice, no source), so a bias of that size is no fault."
        )
    yield summary_line(comparison)


def summary_line(comparison: Comparison) -> str:
    """Bias, scatter and how often the interval held, in one line."""
    scatter = "" if comparison.scatter_percent is None else f", scatter {comparison.scatter_percent:.1f} %"
    return f"Bias {comparison.bias_percent:+.1f} %{scatter}; {truth_line(comparison)}."


def truth_line(comparison: Comparison) -> str:
    """``off by 2.1 % at most, 95 % interval held for 31 of 32``."""
    count = len(comparison.differences)
    return f"off by {comparison.largest_percent:.1f} % at most, 95 % interval held for {comparison.held} of {count}"


def _known(tension_n: float, u_tension_n: float | None, newtons: float) -> str:
    """A known tension in units of so many newtons, rounded by its uncertainty where that is stated."""
    tension = tension_n / newtons
    return f"{tension:.0f}" if u_tension_n is None else pair(tension, u_tension_n / newtons)[0]
