"""A reading as lanes of the rim: which spokes, what value, on what common scale. Imports reading and states only."""

from __future__ import annotations

import math
from dataclasses import dataclass

from tensionear.reading import Reading, SpokeReading

from .states import COVERAGE, State, deviation, pair, side_mean, state_of

#: Rows between the mean and the evenness limit that the scale aims at, and the most rows on either side of the mean.
ROWS_TO_LIMIT = 3
MOST_ROWS = 8
#: Steps that people read easily; times a power of ten.
EASY_STEPS = (1.0, 1.5, 2.0, 2.5, 3.0, 4.0, 5.0, 6.0, 8.0, 10.0)


@dataclass(frozen=True, slots=True)
class Point:
    """One spoke of a lane: value and half its 95 % interval against the side, in the lane's unit; None where not read.

    ``short_numbers`` says the same as ``numbers`` where there is little room.
    """

    spoke: int
    label: str
    value: float | None
    half: float
    state: State
    numbers: tuple[str, ...]
    short_numbers: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Line:
    """A line across a lane: its value, what it is, and the label of its axis."""

    value: float
    kind: str
    label: str


@dataclass(frozen=True, slots=True)
class Lane:
    """One side of the rim; ``number_rows`` names the rows of ``Point.numbers``."""

    side: str
    centre: float
    points: tuple[Point, ...]
    lines: tuple[Line, ...]
    number_rows: tuple[str, ...]


def lanes_of(reading: Reading) -> tuple[Lane, ...]:
    """The lanes of a reading, in the order of ``sides``; a side of which nothing was read has none."""
    found = []
    for side in reading.sides:
        spokes = sorted((spoke for spoke in reading.spokes if spoke.side == side), key=lambda spoke: spoke.spoke)
        mean = side_mean(reading, side)
        if mean is not None:
            found.append(_tension_lane(reading, side, mean, spokes))
        elif any(spoke.deviation_percent is not None for spoke in spokes):
            found.append(_relative_lane(reading, side, spokes))
    return tuple(found)


def _tension_lane(reading: Reading, side: str, mean: float, spokes: list[SpokeReading]) -> Lane:
    """A lane in newtons."""
    points = []
    for spoke in spokes:
        u = spoke.u_individual_n or spoke.u_tension_n or 0.0
        if spoke.u_deviation_percent is not None:
            u = spoke.u_deviation_percent / 100 * mean
        number, _ = pair(spoke.tension_n, spoke.u_tension_n)
        rows = ((number, deviation(spoke)), (number, _short(spoke)))
        points.append(Point(spoke.spoke, spoke.label, spoke.tension_n, COVERAGE * u, state_of(spoke), *rows))
    even = reading.limits.evenness_percent / 100 * mean
    lines = [Line(mean + sign * even, "limit", f"{mean + sign * even:.0f}") for sign in (1, -1)]
    for value in (reading.limits.max_tension_n, reading.limits.floor_n):
        if value is not None:
            lines.append(Line(value, "bound", f"{value:.0f}"))
    lines.append(Line(mean, "mean", f"{mean:.0f}"))
    return Lane(side, mean, tuple(points), tuple(lines), (reading.units, "%"))


def _relative_lane(reading: Reading, side: str, spokes: list[SpokeReading]) -> Lane:
    """A lane in percent of the group's mean, where no tension is known."""
    points = tuple(
        Point(
            spoke.spoke,
            spoke.label,
            spoke.deviation_percent,
            COVERAGE * (spoke.u_deviation_percent or 0.0),
            state_of(spoke),
            (deviation(spoke),),
            (_short(spoke),),
        )
        for spoke in spokes
    )
    even = reading.limits.evenness_percent
    lines = (Line(even, "limit", f"+{even:g}"), Line(-even, "limit", f"-{even:g}"), Line(0.0, "mean", "0"))
    return Lane(side, 0.0, points, lines, ("%",))


def _short(spoke: SpokeReading) -> str:
    """The deviation in whole percent."""
    if spoke.deviation_percent is None:
        return ""
    whole = round(spoke.deviation_percent)
    return f"{whole:+d}" if whole else "0"


def common_step(lanes: tuple[Lane, ...]) -> float:
    """What one row is worth in every lane: an easy number that puts the limits about three rows from the mean."""
    apart = [abs(line.value - lane.centre) for lane in lanes for line in lane.lines if line.kind == "limit"]
    wanted = sum(apart) / len(apart) / ROWS_TO_LIMIT
    power = 10.0 ** math.floor(math.log10(wanted))
    return power * min(EASY_STEPS, key=lambda step: abs(math.log(step * power / wanted)))


def rows_needed(lane: Lane, step: float) -> tuple[int, int]:
    """Rows above and below the mean, at most `MOST_ROWS` each: enough for the limits and for every mark and whisker in
    reach; a spoke out of reach gets the two rows beyond the limit in which its mark is doubled."""
    up = down = 1
    for line in lane.lines:
        row = round((line.value - lane.centre) / step)
        if abs(row) <= MOST_ROWS:
            up, down = max(up, row), max(down, -row)
    for point in lane.points:
        if point.value is None:
            continue
        high = round((point.value + point.half - lane.centre) / step)
        low = round((lane.centre - point.value + point.half) / step)
        up = max(up, high if high <= MOST_ROWS else _edge(lane, step))
        down = max(down, low if low <= MOST_ROWS else _edge(lane, step))
    return min(up, MOST_ROWS), min(down, MOST_ROWS)


def _edge(lane: Lane, step: float) -> int:
    """Two rows beyond the evenness limit."""
    return 2 + max(round(abs(line.value - lane.centre) / step) for line in lane.lines if line.kind == "limit")


def is_beyond(lane: Lane, point: Point, step: float) -> bool:
    """True if the mark of this spoke lies outside the rows of its lane."""
    up, down = rows_needed(lane, step)
    return point.value is not None and not -down <= round((point.value - lane.centre) / step) <= up
