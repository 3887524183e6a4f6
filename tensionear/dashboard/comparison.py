"""Differences from known tensions as a table and as lines. Imports wheel.comparison and its siblings here only."""

from __future__ import annotations

from collections.abc import Iterator

from rich.console import Console
from rich.table import Table
from rich.text import Text

from tensionear.wheel.comparison import Comparison

from .glyphs import glyphs_for
from .palette import palette_for
from .states import pair, with_interval


def draw_comparison(comparison: Comparison, console: Console) -> None:
    """Draw the table of differences, then bias and scatter."""
    glyphs, palette = glyphs_for(console.encoding), palette_for(console)
    table = Table(box=None, pad_edge=False, padding=(0, 2, 0, 0), header_style=palette.quiet)
    table.add_column("against")
    for name in ("read N", f"{glyphs.plus_minus} 95 %", "known N", "apart %", ""):
        table.add_column(name, justify="left" if not name else "right")
    for each in comparison.differences:
        read, half = pair(each.read_n, each.u_read_n)
        held = "held" if each.held else f"{glyphs.unread} not held"
        cells = (read, half, _known(each.known_n, each.u_known_n), f"{each.difference_percent:+.1f}", held)
        style = "" if each.held else palette.out
        table.add_row(
            Text(each.label, style=palette.strong), *(Text(cell) for cell in cells[:-1]), Text(held, style=style)
        )
    console.print(table)
    console.print()
    console.print(Text(glyphs.words(summary_line(comparison))))


def comparison_lines(comparison: Comparison) -> Iterator[str]:
    """The same as plain lines."""
    for each in comparison.differences:
        held = "interval held" if each.held else "interval not held"
        yield (
            f"{each.label} (spoke {each.spoke}): read {with_interval(each.read_n, each.u_read_n, 'N')}, "
            f"known {_known(each.known_n, each.u_known_n)} N, apart {each.difference_percent:+.1f} %, {held}."
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


def _known(tension_n: float, u_tension_n: float | None) -> str:
    """A known tension, rounded by its uncertainty where that is stated."""
    return f"{tension_n:.0f}" if u_tension_n is None else pair(tension_n, u_tension_n)[0]
