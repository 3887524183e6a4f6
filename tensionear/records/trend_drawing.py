"""The trend of a wheel as a small drawing: the mean of each side over its rounds. Imports shapes, trends, dashboard's words."""

from __future__ import annotations

from tensionear.dashboard.states import COVERAGE, SIDE_WORDS, pair

from .shapes import Drawing, Shape, Stroke, Words, mark
from .trends import Trend

_LANE, _TOP, _LEFT, _RIGHT = 44.0, 18.0, 8.0, 8.0


def trend_drawing(trend: Trend, width: float) -> Drawing:
    """One lane a side: the mean of each round with its 95 % interval, the rounds evenly spaced, the earliest at the left.

    Where no tensions are known the spread takes the place of the mean.
    """
    shapes: list[Shape] = []
    told: list[str] = []
    y = 0.0
    for side in trend.points[-1].sides:
        known = [point.sides[side] for point in trend.points if side in point.sides]
        by_mean = any(each.mean_n is not None for each in known)
        values = [
            None if side not in point.sides
            else (point.sides[side].mean_n if by_mean else point.sides[side].spread_percent)
            for point in trend.points
        ]  # fmt: skip
        halves = [
            COVERAGE * (point.sides[side].u_mean_n or 0.0) if by_mean and side in point.sides else 0.0
            for point in trend.points
        ]
        what = f"mean, {trend.units}" if by_mean else "spread, %"
        shapes.append(Words(0, y + 11, f"{SIDE_WORDS.get(side, side).capitalize()}, {what}", 11, strong=True))
        shapes += _lane(values, halves, width, y + _TOP)
        spoken = [f"round {p.round} {v:.0f}" for p, v in zip(trend.points, values, strict=True) if v is not None]
        told.append(f"{SIDE_WORDS.get(side, side).capitalize()}, {what}: {', '.join(spoken)}.")
        y += _TOP + _LANE + 26
    for place, point in enumerate(trend.points):
        shapes.append(
            Words(_x(place, len(trend.points), width), y - 2, point.unlike or point.started[2:10], 9, "quiet", "middle")
        )
    return Drawing(width, y + 2, "Mean of each side over the kept rounds", " ".join(told), tuple(shapes))


def _x(place: int, count: int, width: float) -> float:
    inner = width - _LEFT - _RIGHT
    return _LEFT + (place + 0.5) / count * inner


def _lane(values: list[float | None], halves: list[float], width: float, top: float) -> list[Shape]:
    """Marks joined by a line, each with its number."""
    known = [(value, half) for value, half in zip(values, halves, strict=True) if value is not None]
    low, high = min(v - h for v, h in known), max(v + h for v, h in known)
    span = max(high - low, 0.02 * abs(high), 1e-9)
    middle = (high + low) / 2

    def y_of(value: float) -> float:
        return top + _LANE / 2 - (value - middle) / span * (_LANE - 8)

    shapes: list[Shape] = []
    joined: list[tuple[float, float]] = []
    for place, (value, half) in enumerate(zip(values, halves, strict=True)):
        if value is None:
            continue
        x, y = _x(place, len(values), width), y_of(value)
        joined.append((x, y))
        if half:
            shapes.append(Stroke(((x, y_of(value - half)), (x, y_of(value + half))), "quiet"))
        shapes += mark("within", x, y, 6)
        shapes.append(
            Words(x, top + _LANE + 12, pair(value, half / COVERAGE)[0] if half else f"{value:.1f}", 10, "ink", "middle")
        )
    return [Stroke(tuple(joined), "line"), *shapes]
