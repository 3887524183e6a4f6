"""The rim unrolled, one lane per side, laid out like an individuals control chart. Imports its siblings here only.

ISO 7870-2 (Shewhart control charts) gives the layout: one point for each individual in its order, a centre line at
the mean, broken lines at the limits, and a point beyond them marked by its shape. Here the order is that of the rim, so
a spoke of one side stands between its two neighbours of the other.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise

from rich.console import Console, ConsoleOptions, RenderResult
from rich.text import Text

from .canvas import Canvas, staggered
from .glyphs import Glyphs
from .lanes import Lane, Point, common_step, is_beyond, rows_needed
from .palette import Palette
from .states import State

AXIS_COLUMNS = 6
#: The narrowest cell in which marks of neighbours stay apart; a lane with more spokes is cut into arcs.
NARROWEST_CELL = 2
#: Below this many columns from spoke to spoke the short numbers are used.
ROOMY_CELL = 5


@dataclass(frozen=True, slots=True)
class Rim:
    """The picture of one or two lanes; ``count`` is the number of spokes of the wheel, ``headings`` one text a lane."""

    lanes: tuple[Lane, ...]
    count: int
    headings: tuple[Text, ...]
    glyphs: Glyphs
    palette: Palette

    def __rich_console__(self, console: Console, options: ConsoleOptions) -> RenderResult:
        """Lanes one under the other, each with heading, picture and numbers."""
        step = common_step(self.lanes)
        for lane, heading in zip(self.lanes, self.headings, strict=True):
            yield heading
            room = options.max_width - AXIS_COLUMNS
            arcs = _arcs(lane, room)
            for arc in arcs:
                columns = self._columns(lane, room) if len(arcs) == 1 else _evenly(arc, room // len(arcs[0].points))
                yield from _Drawn(arc, step, columns, self).lines(options.max_width)
                yield Text("")

    def _columns(self, lane: Lane, room: int) -> tuple[int, ...]:
        """The column of each spoke from 0: its true place round the rim; evenly spaced where marks would touch so."""
        widest = max(len(each.points) for each in self.lanes)
        cell = max(NARROWEST_CELL, room // widest)
        places = tuple(int((point.spoke - 0.5) * widest * cell / self.count) for point in lane.points)
        apart = min((after - before for before, after in pairwise(places)), default=cell)
        if places[-1] < room and apart >= NARROWEST_CELL:
            return places
        return _evenly(lane, room // len(lane.points))


def _evenly(lane: Lane, cell: int) -> tuple[int, ...]:
    """One cell of this width for each spoke."""
    return tuple(index * cell + cell // 2 for index in range(len(lane.points)))


def _arcs(lane: Lane, room: int) -> list[Lane]:
    """The lane, cut into equal arcs where its marks would touch."""
    count = -(-len(lane.points) * NARROWEST_CELL // room)
    length = -(-len(lane.points) // count)
    return [
        Lane(lane.side, lane.centre, lane.points[start : start + length], lane.lines, lane.number_rows)
        for start in range(0, len(lane.points), length)
    ]


@dataclass(frozen=True, slots=True)
class _Drawn:
    """One lane being drawn: what a row is worth, and where each spoke stands."""

    lane: Lane
    step: float
    columns: tuple[int, ...]
    rim: Rim

    def lines(self, width: int) -> tuple[Text, ...]:
        """The rows of the picture and, under it, those of the numbers."""
        up, down = rows_needed(self.lane, self.step)
        canvas = Canvas(width, up + down + 1)
        self._rules(canvas, up, down, width)
        for point, column in zip(self.lane.points, self.columns, strict=True):
            self._mark(canvas, point, column + AXIS_COLUMNS, up, down)
        return (*canvas.lines(), *self._numbers(width))

    def _row(self, value: float, up: int) -> int:
        """The row of a value, from the top."""
        return up - round((value - self.lane.centre) / self.step)

    def _rules(self, canvas: Canvas, up: int, down: int, width: int) -> None:
        """Mean, limits and bounds, their values on the axis."""
        glyphs, palette = self.rim.glyphs, self.rim.palette
        end = min(max(self.columns) + 2, width - AXIS_COLUMNS)
        signs = {"mean": glyphs.mean, "limit": glyphs.limit, "bound": glyphs.bound}
        for line in self.lane.lines:
            row = self._row(line.value, up)
            if not 0 <= row <= up + down:
                continue
            style = palette.line if line.kind == "mean" else palette.limit
            canvas.put(row, 0, f"{line.label:>5} ", palette.strong if line.kind == "mean" else palette.quiet)
            canvas.put(row, AXIS_COLUMNS, signs[line.kind] * end, style)

    def _mark(self, canvas: Canvas, point: Point, column: int, up: int, down: int) -> None:
        """Whisker and mark of one spoke; beyond the picture the mark is doubled at its edge."""
        glyphs, style = self.rim.glyphs, style_of(point.state, self.rim.palette)
        sign = str(getattr(glyphs, point.state))
        if point.value is None:
            canvas.put(up, column, sign, style)
            return
        row = self._row(point.value, up)
        if is_beyond(self.lane, point, self.step):
            for edge in (0, 1) if row < 0 else (up + down - 1, up + down):
                canvas.put(edge, column, sign, style)
            return
        for each in range(up + down + 1):
            stem = self._stem(point, up - each, up - row)
            if stem:
                canvas.put(each, column, stem, style)
        canvas.put(row, column, sign, style)

    def _stem(self, point: Point, level: int, mark: int) -> str:
        """The piece of whisker in the row this many rows above the mean: a whole stem, a half one, or none."""
        assert point.value is not None
        centre = (point.value - self.lane.centre) / self.step
        reach = point.half / self.step
        glyphs = self.rim.glyphs
        if level > mark:
            beyond, half = centre + reach - level, glyphs.stem_top
        else:
            beyond, half = level - centre + reach, glyphs.stem_foot
        if level == mark or beyond < -0.25:
            return ""
        return glyphs.stem if beyond >= 0.25 else half

    def _numbers(self, width: int) -> list[Text]:
        """Under each mark its label and its numbers, on as many rows as keep them apart."""
        palette, points = self.rim.palette, self.lane.points
        letter = _common_letter(points)
        labels = [point.label.removeprefix(letter) for point in points]
        gaps = [after - before for before, after in pairwise(self.columns)]
        short = min(gaps, default=ROOMY_CELL) < ROOMY_CELL
        rows = [(letter, labels, palette.strong)]
        for index, name in enumerate(self.lane.number_rows):
            rows.append((name, [(point.short_numbers if short else point.numbers)[index] for point in points], ""))
        found: list[Text] = []
        for name, texts, style in rows:
            for number, row in enumerate(staggered(texts, self.columns, width - AXIS_COLUMNS)):
                canvas = Canvas(width, 1)
                if number == 0:
                    canvas.put(0, 0, f"{name:>5}", palette.quiet)
                for start, text in row:
                    canvas.put(0, AXIS_COLUMNS + start, text, style)
                found.extend(canvas.lines())
        return found


def _common_letter(points: tuple[Point, ...]) -> str:
    """The letter all labels of a lane begin with, or none."""
    letters = {point.label[:1] for point in points if point.label}
    letter = letters.pop() if len(letters) == 1 else ""
    return letter if letter.isalpha() else ""


def style_of(state: State, palette: Palette) -> str:
    """The style of a state; shape and word carry the same meaning."""
    if state in ("high", "low"):
        return palette.out
    if state == "within":
        return palette.within
    return palette.undecided if state == "undecided" else palette.quiet
