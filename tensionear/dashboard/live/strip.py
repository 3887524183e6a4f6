"""The unrolled rim of a live round, one strip a side, filling up as spokes are accepted. Pure; imports glyphs and live.

Each spoke stands in a column of its own; its mark is as many rows above or below its side's mean as its deviation says.
"""

from __future__ import annotations

from dataclasses import dataclass

from rich.text import Text

from tensionear.dashboard.canvas import Canvas
from tensionear.dashboard.glyphs import Glyphs
from tensionear.dashboard.palette import Palette
from tensionear.dashboard.rim import style_of
from tensionear.dashboard.states import State, state_of
from tensionear.live.subject import Subject
from tensionear.live.told import Snapshot

_AXIS = 7
_EVENNESS_PERCENT = 5.0


@dataclass(frozen=True, slots=True)
class Strip:
    """How much room there is, and how marks look."""

    width: int
    height: int
    glyphs: Glyphs
    palette: Palette


@dataclass(frozen=True, slots=True)
class Mark:
    """One spoke: its deviation from the side's mean (None: not read), what is known of it."""

    spoke: int
    label: str
    deviation_percent: float | None
    state: State
    is_stale: bool
    is_now: bool


def marks_of(snapshot: Snapshot, subject: Subject) -> dict[str, list[Mark]]:
    """All spokes by side: by the reading of the round, and those it does not have yet by their own plucks."""
    read = {each.spoke: each for each in snapshot.reading.spokes} if snapshot.reading else {}
    now = snapshot.turning.spoke if snapshot.turning else snapshot.round.spoke
    found: dict[str, list[Mark]] = {}
    for spoke in range(1, subject.spokes + 1):
        taken, known = snapshot.round.accepted.get(spoke, ()), read.get(spoke)
        deviation: float | None = None
        state: State = "unread"
        if taken and known is not None and known.deviation_percent is not None:
            deviation, state = known.deviation_percent, state_of(known)
        elif taken:
            deviation, state = taken[-1].value.deviation_percent or 0.0, "undecided"
        mark = Mark(
            spoke, subject.label(spoke), deviation, state, spoke in snapshot.stale and bool(taken), spoke == now
        )
        found.setdefault(subject.side(spoke), []).append(mark)
    return found


def strip_of(snapshot: Snapshot, subject: Subject, strip: Strip) -> list[Text]:
    """The strips of all sides, in the room there is."""
    sides = marks_of(snapshot, subject)
    each = max(2, strip.height // max(len(sides), 1))
    found: list[Text] = []
    for side, marks in sides.items():
        found += _one(side, marks, min(each, 10), subject.spokes, strip)
    return found


def _one(side: str, marks: list[Mark], rows: int, spokes: int, strip: Strip) -> list[Text]:
    """Marks over their row of numbers."""
    drawn = rows - 1
    canvas = Canvas(strip.width, rows)
    middle = (drawn - 1) // 2
    step = 2 * _EVENNESS_PERCENT / max(drawn - 1, 2)
    canvas.put(middle, 0, f"{side:>6} "[:_AXIS], strip.palette.strong)
    room = strip.width - _AXIS - 2
    rule = strip.glyphs.mean * (room + 1)
    canvas.put(middle, _AXIS, rule, strip.palette.line)
    for row in {middle - round(_EVENNESS_PERCENT / step), middle + round(_EVENNESS_PERCENT / step)} & set(range(drawn)):
        if row != middle:
            canvas.put(row, _AXIS, strip.glyphs.limit * (room + 1), strip.palette.limit)
    last = -9
    for mark in marks:
        column = _AXIS + int((mark.spoke - 0.5) * room / spokes)
        row, sign = _placed(mark, middle, drawn, step, strip.glyphs)
        style = strip.palette.alarm if mark.is_now else style_of(mark.state, strip.palette)
        canvas.put(row, column, sign, style)
        number = mark.label.lstrip("RL")
        if column - last > len(number) or mark.is_now:
            start = min(column, strip.width - len(number))
            canvas.put(rows - 1, start, number, strip.palette.strong if mark.is_now else strip.palette.quiet)
            last = start + len(number) - 1
    return list(canvas.lines())


def _placed(mark: Mark, middle: int, rows: int, step: float, glyphs: Glyphs) -> tuple[int, str]:
    """Row and sign of a mark; the awaited spoke is an arrow until it is read."""
    if mark.deviation_percent is None:
        return middle, "V" if mark.is_now else glyphs.dot
    sign = str(getattr(glyphs, mark.state))
    if mark.is_stale:
        sign = glyphs.unjudged
    row = middle - round(mark.deviation_percent / step)
    return min(max(row, 0), rows - 1), sign
