"""The wheel from its right side as laced, to find a spoke on the wheel in front of you. Imports wheel and siblings here.

Every spoke runs where it runs, the left side's behind the right side's; the valve is at the top. A spoke is drawn the
heavier the farther it is off, and who is off is named at the rim with the mark of its state.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from rich.console import Console, ConsoleOptions, RenderResult
from rich.text import Text

from tensionear.reading import Reading, SpokeReading
from tensionear.wheel.model import Wheel

from .canvas import Canvas
from .dots import ACROSS, DOWN, Dots, Stroke
from .glyphs import ASCII, Glyphs
from .palette import Palette
from .rim import style_of
from .states import State, state_of

#: Columns kept free on either side, and rows above and below, for names.
MARGIN, HEAD = 8, 2
MOST_ROWS = 29
#: Hub flange over rim where the wheel file has no geometry.
USUAL_HUB = 0.1
#: States whose spokes are named at the rim.
NAMED: frozenset[State] = frozenset({"high", "low", "undecided", "unread"})


@dataclass(frozen=True, slots=True)
class SideView:
    """The picture; ``wheel`` is None where only the number of spokes is known: they are drawn radial then."""

    reading: Reading
    wheel: Wheel | None
    glyphs: Glyphs
    palette: Palette

    def __rich_console__(self, console: Console, options: ConsoleOptions) -> RenderResult:
        """Heading, picture and legend."""
        width = options.max_width
        rows = min(MOST_ROWS, (width - 2 * MARGIN) * ACROSS // DOWN)
        yield Text("From the right side, valve at the top", style=self.palette.strong)
        canvas = Canvas(width, rows + 2 * HEAD)
        columns = rows * DOWN // ACROSS
        left = (width - columns) // 2
        dots = Dots(columns, rows + 2 * HEAD)
        radius = rows * DOWN / 2 - 1
        centre = (columns * ACROSS / 2, (rows + 2 * HEAD) * DOWN / 2)
        self._draw(dots, centre, radius)
        dots.onto(canvas, left, self.glyphs == ASCII)
        self._names(canvas, left, centre, radius)
        yield from canvas.lines()
        yield self._legend(width)
        yield Text("")

    def _draw(self, dots: Dots, centre: tuple[float, float], radius: float) -> None:
        """Rim, hub, valve, spokes."""
        quiet = Stroke(1, 1, 0, self.palette.line)
        dots.circle(centre, radius, quiet)
        dots.circle(centre, radius * self._hub(), quiet)
        dots.line((centre[0], centre[1] - radius), (centre[0], centre[1] - 0.86 * radius), Stroke(1, 2, 1, ""))
        for spoke in sorted(self.reading.spokes, key=lambda each: self._stroke(each).weight):
            start, end = self._ends(spoke.spoke)
            stroke = self._stroke(spoke)
            dots.line(_at(centre, radius, start), _at(centre, radius, end), stroke)

    def _hub(self) -> float:
        """Radius of the hub's hole circle over that of the rim."""
        ends = [self._ends(spoke.spoke)[0] for spoke in self.reading.spokes]
        return max((math.hypot(*end) for end in ends), default=USUAL_HUB)

    def _ends(self, number: int) -> tuple[tuple[float, float], tuple[float, float]]:
        """Hub and rim end of a spoke, to the right and up, the rim's radius being 1."""
        line = None if self.wheel is None else self.wheel.place(number).line
        if line is None:
            angle = self._angle(number)
            out = (math.sin(angle), math.cos(angle))
            return (USUAL_HUB * out[0], USUAL_HUB * out[1]), out
        size = math.hypot(line.seat_m[1], line.seat_m[2])
        return (line.hub_m[1] / size, line.hub_m[2] / size), (line.seat_m[1] / size, line.seat_m[2] / size)

    def _angle(self, number: int) -> float:
        return 2 * math.pi * (number - 0.5) / len(self.reading.spokes)

    def _stroke(self, spoke: SpokeReading) -> Stroke:
        """The farther off, the heavier; a spoke of the left side has half the dots of one of the right."""
        state = state_of(spoke)
        style = style_of(state, self.palette)
        limit = self.reading.limits.evenness_percent
        far = abs(spoke.deviation_percent or 0.0) > 2 * limit
        if state in ("high", "low"):
            return Stroke(1, 3 if far else 2, 5, style)
        if state == "undecided":
            return Stroke(1, 1, 4, style)
        behind = 2 if spoke.side == "left" else 1
        return Stroke((6 if state in ("unread", "left_out") else 2) * behind, 1, 3 - behind, style)

    def _names(self, canvas: Canvas, left: int, centre: tuple[float, float], radius: float) -> None:
        """The names of the spokes that are off, outside the rim, none over another; the valve's above it."""
        width = left + left + int(centre[0] * 2 / ACROSS)
        rows = int(centre[1] * 2 / DOWN)
        taken: set[tuple[int, int]] = set()
        canvas.put(0, left + int(centre[0] / ACROSS) - 2, "valve", self.palette.quiet)
        taken.update((0, left + int(centre[0] / ACROSS) + at) for at in range(-3, 5))
        off = [spoke for spoke in self.reading.spokes if state_of(spoke) in NAMED]
        order = {"high": 0, "low": 0, "undecided": 1, "unread": 2}
        for spoke in sorted(off, key=lambda each: order[state_of(each)]):
            state = state_of(spoke)
            text = f"{getattr(self.glyphs, state)}{spoke.label}"
            angle = self._angle(spoke.spoke)
            for away in (1.06, 1.12, 1.2, 1.3):
                x, y = _at(centre, radius, (away * math.sin(angle), away * math.cos(angle)))
                row, column = math.floor(y / DOWN), left + math.floor(x / ACROSS)
                column -= (
                    len(text) - 1 if math.sin(angle) < -0.2 else len(text) // 2 if abs(math.sin(angle)) <= 0.2 else 0
                )
                cells = {(row, column + at) for at in range(-1, len(text) + 1)}
                if 0 <= row < rows and column >= 0 and column + len(text) <= width and not cells & taken:
                    canvas.put(row, column, text, style_of(state, self.palette))
                    taken |= cells
                    break

    def _legend(self, width: int) -> Text:
        """What the strokes mean."""
        limit = self.reading.limits.evenness_percent
        words = [
            "dotted: within, the left side fainter",
            "full line: undecided",
            f"heavy: out, heaviest beyond {2 * limit:g} %",
        ]
        text = f" {self.glyphs.dot} ".join(words)
        return Text(text if len(text) <= width else "\n".join(words), style=self.palette.quiet)


def _at(centre: tuple[float, float], radius: float, place: tuple[float, float]) -> tuple[float, float]:
    """A place in units of the rim's radius, up and to the right, as dots from the upper left."""
    return centre[0] + radius * place[0], centre[1] - radius * place[1]
