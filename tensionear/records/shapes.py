"""A drawing as plain shapes, whoever puts it on paper: SVG or dots. Imports nothing of the package.

Lengths are in points of the drawing, y downwards. Colours are told by role; what a role looks like is the writer's matter.
No role carries meaning alone: every state has its own mark.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace
from typing import Literal

Role = Literal["ink", "quiet", "line", "limit", "within", "out", "undecided", "paper"]
Anchor = Literal["start", "middle", "end"]


@dataclass(frozen=True, slots=True)
class Stroke:
    """A line through points; ``dash`` is the length of dashes and gaps, 0 for a solid one."""

    points: tuple[tuple[float, float], ...]
    role: Role
    width: float = 1.0
    dash: float = 0.0


@dataclass(frozen=True, slots=True)
class Outline:
    """A closed shape: filled with its role, or with paper inside if ``hollow``."""

    points: tuple[tuple[float, float], ...]
    role: Role
    hollow: bool = False


@dataclass(frozen=True, slots=True)
class Disc:
    """A disc, or a ring if ``hollow``."""

    x: float
    y: float
    radius: float
    role: Role
    hollow: bool = False


@dataclass(frozen=True, slots=True)
class Words:
    """A line of text on its baseline."""

    x: float
    y: float
    text: str
    size: float
    role: Role = "ink"
    anchor: Anchor = "start"
    strong: bool = False


Shape = Stroke | Outline | Disc | Words


@dataclass(frozen=True, slots=True)
class Drawing:
    """Shapes on a sheet, with what it is (``title``) and what it shows (``told``) in words."""

    width: float
    height: float
    title: str
    told: str
    shapes: tuple[Shape, ...]


def moved(shape: Shape, by_x: float, by_y: float) -> Shape:
    """A shape at another place."""
    if isinstance(shape, (Disc, Words)):
        return replace(shape, x=shape.x + by_x, y=shape.y + by_y)
    return replace(shape, points=tuple((x + by_x, y + by_y) for x, y in shape.points))


def stacked(drawings: Iterable[Drawing], title: str, gap: float = 18.0) -> Drawing:
    """Drawings under each other, left edges aligned, the title above."""
    shapes: list[Shape] = [Words(0, 16, title, 14, strong=True)]
    told, width, y = [], 0.0, 16 + gap
    for drawing in drawings:
        shapes += [moved(shape, 0, y) for shape in drawing.shapes]
        told.append(drawing.told)
        width, y = max(width, drawing.width), y + drawing.height + gap
    return Drawing(width, y - gap, title, " ".join(told), tuple(shapes))


def mark(state: str, x: float, y: float, size: float) -> tuple[Shape, ...]:
    """The mark of a state, about ``size`` high, at a place: the shapes of the terminal's picture."""
    r = size / 2
    if state in ("high", "low"):
        up = -1 if state == "high" else 1
        return (Outline(((x, y + up * 1.15 * r), (x - r, y - up * 0.75 * r), (x + r, y - up * 0.75 * r)), "out"),)
    if state == "undecided":
        return (Outline(((x, y - 1.2 * r), (x + r, y), (x, y + 1.2 * r), (x - r, y)), "undecided", hollow=True),)
    if state == "unread":
        arms = (((x - r, y - r), (x + r, y + r)), ((x - r, y + r), (x + r, y - r)))
        return tuple(Stroke(arm, "undecided", 1.5) for arm in arms)
    if state == "left_out":
        return (Outline(((x - r, y - r), (x + r, y - r), (x + r, y + r), (x - r, y + r)), "quiet", hollow=True),)
    return (Disc(x, y, r, "within" if state == "within" else "ink", hollow=state == "unjudged"),)
