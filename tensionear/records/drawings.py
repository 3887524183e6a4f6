"""The pictures of a wheel: its rim unrolled, and the wheel as laced. Imports shapes, the dashboard's lanes and the wheel."""

from __future__ import annotations

import math
from collections.abc import Callable

from tensionear.dashboard.lanes import Lane, Point, lanes_of
from tensionear.dashboard.states import SIDE_WORDS, STATE_WORDS, state_of, verdict_words
from tensionear.reading import Reading
from tensionear.wheel.model import Wheel

from .shapes import Disc, Drawing, Role, Shape, Stroke, Words, mark

#: Half the height of a lane in the picture, and what lies above and below it for words.
HALF, ABOVE, BELOW = 46.0, 24.0, 28.0
#: Room at the right for the axis.
AXIS = 38.0
#: A mark farther from the mean than so many times the evenness limit is drawn at the edge, its number beside it.
REACH = 2.2
STATE_ROLES: dict[str, Role] = {
    "within": "within",
    "high": "out",
    "low": "out",
    "undecided": "undecided",
    "unjudged": "ink",
    "unread": "line",
    "left_out": "line",
}


def rim_drawing(reading: Reading, width: float) -> Drawing:
    """The rim unrolled from the valve: one lane a side, the same scale in all, limits dashed, +/- 95 % as stems."""
    lanes = lanes_of(reading)
    count = max((spoke.spoke for spoke in reading.spokes), default=1)
    reach = max((_reach(lane) for lane in lanes), default=1.0) or 1.0  # a limit of 0 and nothing beyond it
    shapes: list[Shape] = []
    y = 0.0
    for lane in lanes:
        shapes += _lane(lane, count, width, y, reach)
        y += ABOVE + 2 * HALF + BELOW
    return Drawing(
        width, max(y, 1.0), f"The rim of {reading.title}, unrolled from the valve", told_of(reading), tuple(shapes)
    )


def _reach(lane: Lane) -> float:
    """How far from the mean a lane must show, in its unit."""
    limits = [abs(line.value - lane.centre) for line in lane.lines if line.kind == "limit"]
    most = REACH * max(limits, default=1.0)
    marks = [abs(point.value - lane.centre) + point.half for point in lane.points if point.value is not None]
    return max(1.25 * max(limits, default=1.0), min(most, 1.05 * max(marks, default=0.0)))


def _lane(lane: Lane, count: int, width: float, top: float, reach: float) -> list[Shape]:
    """One side."""
    middle, right = top + ABOVE + HALF, width - AXIS

    def x_of(spoke: int) -> float:
        return 8 + (spoke - 0.5) / count * (right - 16)

    def y_of(value: float) -> float:
        return middle - HALF * max(-1.0, min(1.0, (value - lane.centre) / reach))

    name = SIDE_WORDS.get(lane.side, lane.side).capitalize()
    unit = f" ({lane.number_rows[0]})"
    shapes: list[Shape] = [Words(0, top + 13, name + unit, 12, strong=True)]
    for line in lane.lines:
        if abs(line.value - lane.centre) > reach:
            continue
        y = y_of(line.value)
        role: Role = "line" if line.kind == "mean" else "limit"
        shapes.append(
            Stroke(((0, y), (right, y)), role, 2.0 if line.kind == "bound" else 1.0, 0 if line.kind != "limit" else 4)
        )
        shapes.append(Words(right + 4, y + 4, line.label, 11, "quiet"))
    step = max(1, math.ceil(len(lane.points) * 26 / right))
    size = min(9.0, 0.7 * right / max(len(lane.points), 1))
    for place, point in enumerate(lane.points):
        shapes += _point(lane, point, x_of(point.spoke), y_of, size)
        if place % step == 0:
            shapes.append(Words(x_of(point.spoke), middle + HALF + 15, point.label, 10, "quiet", "middle"))
    return shapes


def _point(lane: Lane, point: Point, x: float, y_of: Callable[[float], float], size: float) -> list[Shape]:
    """A spoke: its stem of +/- 95 %, its mark, and its number where it is out."""
    if point.value is None:
        return list(mark("unread", x, y_of(lane.centre), size))
    y = y_of(point.value)
    shapes: list[Shape] = []
    if point.half:
        ends = (y_of(point.value - point.half), y_of(point.value + point.half))
        shapes.append(Stroke(((x, ends[0]), (x, ends[1])), "quiet"))
    shapes += mark(point.state, x, y, size)
    if point.state in ("high", "low"):
        low, room = point.state == "low", y_of(lane.centre)
        beside = y + 17 if (low and y + 17 < room + HALF + 4) or (not low and y - 9 < room - HALF - 4) else y - 9
        shapes.append(Words(x, beside, f"{point.label} {point.numbers[0]}", 10, "out", "middle", strong=True))
    return shapes


def wheel_drawing(reading: Reading, wheel: Wheel | None, size: float) -> Drawing:
    """The wheel as laced, seen from the right, the valve at the top: each spoke in the colour and with the mark of its state.

    Where the wheel file does not say how it is laced the spokes are drawn straight out, and the picture says so.
    """
    middle, rim = size / 2, size / 2 - 30
    shapes: list[Shape] = [Disc(middle, middle, rim, "line", hollow=True)]
    count = max((spoke.spoke for spoke in reading.spokes), default=1)
    laced = wheel is not None and all(place.line is not None for place in wheel.places) and wheel.spokes == count
    hub = 0.1 * rim
    for spoke in reading.spokes:
        angle = 2 * math.pi * (spoke.spoke - 0.5) / count
        inner, outer = (hub * math.sin(angle), -hub * math.cos(angle)), (rim * math.sin(angle), -rim * math.cos(angle))
        if laced and wheel is not None:
            line = wheel.place(spoke.spoke).line
            assert line is not None
            scale = rim / math.hypot(line.seat_m[1], line.seat_m[2])
            inner, outer = ((point[1] * scale, -point[2] * scale) for point in (line.hub_m, line.seat_m))
        state = state_of(spoke)
        loud = state in ("high", "low", "undecided")
        thick = 2.2 if loud else 1.0
        ends = ((middle + inner[0], middle + inner[1]), (middle + outer[0], middle + outer[1]))
        shapes.append(Stroke(ends, STATE_ROLES[state], thick, 4 if state in ("unread", "left_out") else 0))
        if loud:
            x, y = middle + 1.13 * outer[0], middle + 1.13 * outer[1] + 4
            shapes += mark(state, middle + 0.86 * outer[0], middle + 0.86 * outer[1], 8)
            shapes.append(Words(x, y, spoke.label, 10, STATE_ROLES[state], "middle", strong=True))
    shapes.append(Stroke(((middle, middle - rim - 2), (middle, middle - rim + 9)), "ink", 3))
    shapes.append(Words(middle, middle - rim - 8, "valve", 10, "quiet", "middle"))
    how = "seen from the right, as laced" if laced else "lacing not stated: drawn straight"
    shapes.append(Words(middle, size - 4, how, 10, "quiet", "middle"))
    return Drawing(size, size, f"The wheel {reading.title}, seen from the right", told_of(reading), tuple(shapes))


def told_of(reading: Reading) -> str:
    """What the pictures show, in words."""
    found = []
    if verdict_words(reading):
        found.append(f"The wheel is {verdict_words(reading)}.")
    for side, each in reading.sides.items():
        mean = "" if each.mean_n is None else f"mean {each.mean_n:.0f}, "
        if each.spread_percent is not None:
            found.append(
                f"{SIDE_WORDS.get(side, side).capitalize()}: {mean}spread plus or minus {each.spread_percent:.1f} %."
            )
    outside = [spoke for spoke in reading.spokes if state_of(spoke) in ("high", "low", "undecided", "unread")]
    for spoke in outside[:12]:
        apart = (
            "" if spoke.deviation_percent is None else f", {spoke.deviation_percent:+.1f} % from the mean of its side"
        )
        found.append(f"{spoke.label} {STATE_WORDS[state_of(spoke)]}{apart}.")
    if len(outside) > 12:
        found.append(f"{len(outside) - 12} more are not within.")
    return " ".join(found)
