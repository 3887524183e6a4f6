"""A page of charts and tables, in the style of the card: self-contained, no script. Imports chart drawings and records' SVG."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from tensionear.records.svg import svg_part
from tensionear.records.templates import template

from .chart_drawing import Points, chart_drawing
from .control import INDIVIDUALS_FACTOR, RANGE_FACTOR, RUN, SETTLED, Control

WIDE, NARROW = 460.0, 340.0

#: What the charts are, for the foot of every page that has some.
CHARTS = (
    "Charts of individuals with a moving range of two, after ISO 7870-2. Solid grey: the mean. Dashed: mean ± "
    f"{INDIVIDUALS_FACTOR:.2f} mean ranges above, {RANGE_FACTOR:.3f} mean ranges below. A triangle points where a value is "
    f"beyond a limit; a diamond marks {RUN} or more in a row on one side of the mean. Dashed limits tell what is usual "
    f"for the line, not what is allowed; with fewer than {SETTLED} values they are provisional."
)


@dataclass(frozen=True, slots=True)
class ChartFigure:
    """A chart at two widths, and what stands below it."""

    wide: str
    narrow: str
    caption: str


@dataclass(frozen=True, slots=True)
class Group:
    """Charts that belong together."""

    title: str
    charts: Sequence[ChartFigure]


@dataclass(frozen=True, slots=True)
class Table:
    """A table: its first column names the row; those in ``words`` hold words, all others numbers."""

    caption: str
    heading: Sequence[str]
    rows: Sequence[Sequence[str]]
    words: Sequence[int] = ()
    note: str = ""


@dataclass(frozen=True, slots=True)
class Section:
    """A part of the page."""

    title: str
    said: Sequence[str] = ()
    groups: Sequence[Group] = ()
    tables: Sequence[Table] = ()


def chart_figure(control: Control, points: Points, ident: str, caption: str) -> ChartFigure:
    """A chart for the page; ``ident`` is unique in it."""
    return ChartFigure(
        svg_part(chart_drawing(control, points, WIDE), ident),
        svg_part(chart_drawing(control, points, NARROW), f"{ident}-s"),
        caption,
    )


def page_of(
    title: str,
    facts: Sequence[tuple[str, str]],
    said: Sequence[str],
    sections: Sequence[Section],
    method: Sequence[str],
) -> str:
    """The page as HTML; every text in it is escaped."""
    return template("tensionear.batch", "report.html").render(
        title=title, facts=facts, said=said, sections=sections, method=method
    )
