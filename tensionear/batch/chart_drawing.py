"""An individuals and moving-range chart as a drawing. Imports control, and shapes of the records."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from tensionear.records.shapes import Disc, Drawing, Role, Shape, Stroke, Words, mark

from .control import RUN, Control

#: Heights of the two lanes, room above each for its heading, below for days, and at the right for the numbers.
_TALL, _LOW, _HEAD, _FOOT, _AXIS = 110.0, 56.0, 20.0, 22.0, 52.0
#: More values than this are not drawn: the last ones are.
MOST = 250
#: Names written beside marks, and in the words for those who do not see the drawing.
_NAMED, _TOLD = 8, 12


@dataclass(frozen=True, slots=True)
class Points:
    """What belongs to the values: the name of each and its day (empty if unknown), and what they are, with the unit."""

    names: Sequence[str]
    days: Sequence[str]
    title: str
    unit: str
    limit: float | None = None


@dataclass(frozen=True, slots=True)
class _Lane:
    """A lane: where it is, and what height a value has in it."""

    top: float
    height: float
    low: float
    high: float
    right: float

    def y(self, value: float) -> float:
        """The height of a value."""
        return self.top + self.height * (self.high - value) / (self.high - self.low)

    def line(self, value: float, role: Role, text: str, dash: float = 0.0) -> list[Shape]:
        """A level line with its number, if it is within the lane."""
        if not self.low <= value <= self.high:
            return []
        y = self.y(value)
        return [Stroke(((0, y), (self.right, y)), role, 1.0, dash), Words(self.right + 4, y + 4, text, 11, "quiet")]


def chart_drawing(control: Control, points: Points, width: float) -> Drawing:
    """The chart: values above, ranges below; a triangle points where a value is beyond, a diamond ends a run of nine."""
    first = max(0, len(control.values) - MOST)
    right, top = width - _AXIS, _HEAD
    upper = _Lane(top, _TALL, *_span(control, points.limit, first), right)
    lower_top = top + _TALL + _FOOT + _HEAD
    high = max(control.range_high, max(control.ranges[max(0, first - 1) :])) * 1.08 or 1.0
    lower = _Lane(lower_top, _LOW, 0.0, high, right)
    shown = range(first, len(control.values))
    step = (right - 16) / max(len(shown), 1)
    xs = {at: 8 + step * (place + 0.5) for place, at in enumerate(shown)}
    size = max(3.0, min(8.0, 0.75 * step))
    heading = f"{points.title}, {points.unit}" if points.unit else points.title
    shapes: list[Shape] = [Words(0, 13, heading, 12, strong=True)]
    shapes += _days(points.days, xs, top, lower_top + _LOW)
    shapes += _levels(control, points, upper)
    shapes.append(Stroke(tuple((xs[at], upper.y(control.values[at])) for at in shown), "line"))
    for at in shown:
        shapes += _mark(control, at, xs[at], upper.y(control.values[at]), size)
    shapes += _names(control, points, xs, upper)
    shapes.append(Words(0, lower_top - 7, "from one to the next", 11, strong=True))
    shapes += lower.line(control.range_centre, "line", _number(control.range_centre))
    shapes += lower.line(control.range_high, "limit", _number(control.range_high), 4)
    joined = tuple((xs[at], lower.y(control.ranges[at - 1])) for at in shown if at)
    shapes.append(Stroke(joined, "line"))
    for at in shown:
        if at:
            state = "high" if at in control.range_beyond else "within"
            shapes += mark(state, xs[at], lower.y(control.ranges[at - 1]), 0.8 * size)
    return Drawing(width, lower_top + _LOW + _FOOT, points.title, told_of(control, points), tuple(shapes))


def _span(control: Control, limit: float | None, first: int) -> tuple[float, float]:
    """Lowest and highest value that the lane shows: all values and limits, the stated one if it is not far away."""
    shown = [*control.values[first:], control.centre, control.high, *([] if control.low is None else [control.low])]
    low, high = min(shown), max(shown)
    reach = high - low or max(abs(high) * 0.01, 1e-6)
    if limit is not None and low - reach <= limit <= high + reach:
        low, high = min(low, limit), max(high, limit)
    return low - 0.06 * reach, high + 0.06 * reach


def _levels(control: Control, points: Points, lane: _Lane) -> list[Shape]:
    """Centre, limits of the chart, and the stated limit."""
    shapes = lane.line(control.centre, "line", _number(control.centre))
    shapes += lane.line(control.high, "limit", _number(control.high), 4)
    shapes += [] if control.low is None else lane.line(control.low, "limit", _number(control.low), 4)
    if points.limit is not None and lane.low <= points.limit <= lane.high:
        y = lane.y(points.limit)
        shapes.append(Stroke(((0, y), (lane.right, y)), "out", 2.0))
        shapes.append(Words(lane.right, 13, f"thick line: limit {points.limit:g} {points.unit}", 10, "out", "end"))
    return shapes


def _mark(control: Control, at: int, x: float, y: float, size: float) -> tuple[Shape, ...]:
    """One value."""
    if at in control.beyond:
        return mark("high" if control.values[at] > control.high else "low", x, y, size + 2)
    if at in control.runs:
        return mark("undecided", x, y, size)
    return (Disc(x, y, size / 2, "within"),)


def _names(control: Control, points: Points, xs: dict[int, float], lane: _Lane) -> list[Shape]:
    """The names of values beyond the limits, if they are few."""
    there = [at for at in control.beyond if at in xs]
    if len(there) > _NAMED:
        return []
    shapes: list[Shape] = []
    for at in there:
        anchor = "start" if xs[at] < 0.2 * lane.right else "end" if xs[at] > 0.8 * lane.right else "middle"
        y = lane.y(control.values[at])
        beside = y + 15 if y < lane.top + 14 else y - 8
        shapes.append(Words(xs[at], beside, _cut(points.names[at], 16), 10, "out", anchor, strong=True))  # type: ignore[arg-type]
    return shapes


def _days(days: Sequence[str], xs: dict[int, float], top: float, bottom: float) -> list[Shape]:
    """A thin line where a day begins, its date below, as many dates as have room."""
    shapes: list[Shape] = []
    last_x = -1e9
    places = sorted(xs)
    for before, at in zip([None, *places], places, strict=False):
        if not days[at] or (before is not None and days[at] == days[before]):
            continue
        x = xs[at]
        if before is not None:
            edge = (x + xs[before]) / 2
            shapes.append(Stroke(((edge, top), (edge, bottom)), "line", 0.5, 2))
        if x - last_x > 62:
            shapes.append(Words(max(0.0, x - 8), bottom + 14, days[at], 10, "quiet"))
            last_x = x
    return shapes


def told_of(control: Control, points: Points) -> str:
    """What the chart shows, in words."""
    unit = f" {points.unit}" if points.unit else ""
    low = "none" if control.low is None else f"{_number(control.low)}{unit}"
    told = [
        f"{len(control.values)} values, centre {_number(control.centre)}{unit}, upper limit "
        f"{_number(control.high)}{unit}, lower limit {low}; mean range {_number(control.range_centre)}{unit}."
    ]
    beyond = [f"{_cut(points.names[at], 40)} {_number(control.values[at])}" for at in control.beyond]
    told.append(f"Beyond the limits: {_some(beyond)}." if beyond else "None is beyond the limits.")
    if control.range_beyond:
        told.append(f"Ranges beyond their limit: {_some([_cut(points.names[at], 40) for at in control.range_beyond])}.")
    if control.runs:
        told.append(
            f"{RUN} or more in a row on one side, up to: {_some([_cut(points.names[at], 40) for at in control.runs])}."
        )
    return " ".join(told)


def _some(names: Sequence[str]) -> str:
    more = len(names) - _TOLD
    return ", ".join(names[:_TOLD]) + (f" and {more} more" if more > 0 else "")


def _cut(text: str, most: int) -> str:
    return text if len(text) <= most else f"{text[: most - 1]}…"


def _number(value: float) -> str:
    """A number in four digits or so."""
    return f"{value:.0f}" if abs(value) >= 100 else f"{value:.1f}" if abs(value) >= 10 else f"{value:.2f}"
