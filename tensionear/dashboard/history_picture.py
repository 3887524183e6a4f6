"""A wheel over its rounds on a terminal: one row a round, the means on one scale a side. Imports records' trends and siblings."""

from __future__ import annotations

from collections.abc import Iterator

from rich.console import Console
from rich.text import Text

from tensionear.reading import SideReading
from tensionear.records.trends import Losing, Trend, TrendPoint

from .glyphs import Glyphs, glyphs_for
from .history import local_time, one_line
from .palette import Palette, palette_for
from .states import COVERAGE, SIDE_WORDS, pair, with_interval

_WORDS = 46  # columns beside the scale


def draw_trend(trend: Trend, console: Console) -> None:
    """Draw each side: a row a round, the mean as a mark with its 95 % interval, mean and spread in numbers."""
    glyphs, palette = glyphs_for(console.encoding), palette_for(console)
    console.print(Text(one_line(trend.title), style=palette.strong))
    for side in trend.points[-1].sides:
        rows = [(point, point.sides[side]) for point in trend.points if side in point.sides]
        console.print()
        console.print(Text(SIDE_WORDS.get(side, side).capitalize(), style=palette.strong))
        for line in _side(rows, trend.units, glyphs, palette, console.width):
            console.print(line)
    console.print()
    for text in losing_lines(trend):
        console.print(Text(text, style=palette.strong))


def _side(
    rows: list[tuple[TrendPoint, SideReading]], units: str, glyphs: Glyphs, palette: Palette, width: int
) -> Iterator[Text]:
    """The rows of one side."""
    spans = [
        (each.mean_n - COVERAGE * (each.u_mean_n or 0.0), each.mean_n + COVERAGE * (each.u_mean_n or 0.0))
        for _, each in rows
        if each.mean_n is not None
    ]
    low, high = min((span[0] for span in spans), default=0.0), max((span[1] for span in spans), default=1.0)
    columns = min(width - _WORDS, 72)
    for point, each in rows:
        line = Text(f"{point.round:>5}  {local_time(point.started)[:10]}  ", style=palette.quiet)
        if each.mean_n is not None:
            half = COVERAGE * (each.u_mean_n or 0.0)
            places = [
                _column(value, low, high, columns) for value in (each.mean_n - half, each.mean_n, each.mean_n + half)
            ]
            line.append(" " * places[0])
            line.append(glyphs.rule * (places[1] - places[0]), style=palette.line)
            line.append(glyphs.within, style=palette.within)
            line.append(glyphs.rule * (places[2] - places[1]), style=palette.line)
            line.append(" " * (columns - places[2]))
        numbers, _ = pair(each.mean_n, each.u_mean_n)
        mean = f"{numbers} {units}  " if numbers else ""
        spread = "" if each.spread_percent is None else f"{glyphs.plus_minus} {each.spread_percent:.1f} %"
        unlike = f"  {point.unlike}" if point.unlike else ""
        line.append(f"{mean}{spread}{unlike}", style="not dim")
        yield line


def _column(value: float, low: float, high: float, columns: int) -> int:
    """The column of a value on the scale of a side."""
    return round((value - low) / max(high - low, 1e-9) * (columns - 1))


def trend_lines(trend: Trend) -> Iterator[str]:
    """The same as plain lines."""
    yield f"{one_line(trend.title)}: {len(trend.points)} rounds."
    for point in trend.points:
        facts = []
        for side, each in point.sides.items():
            mean = "" if each.mean_n is None else f"mean {with_interval(each.mean_n, each.u_mean_n, trend.units)}, "
            spread = "not read" if each.spread_percent is None else f"spread +/- {each.spread_percent:.1f} %"
            facts.append(f"{SIDE_WORDS.get(side, side)} {mean}{spread}")
        unlike = f" ({point.unlike})" if point.unlike else ""
        yield f"Round {point.round}, {local_time(point.started)}{unlike}: {'; '.join(facts)}."
    yield from losing_lines(trend)


def losing_lines(trend: Trend) -> Iterator[str]:
    """The spokes that keep losing, each with how much; one line if there are none."""
    if not trend.losing:
        yield "No spoke keeps losing tension against its side."
    yield from (_losing(each) for each in trend.losing)


def _losing(each: Losing) -> str:
    half = COVERAGE * each.u_percent
    return (
        f"{each.label} keeps losing tension: {each.percent:+.1f} +/- {half:.1f} % against its side "
        f"through the last {each.rounds} rounds."
    )
