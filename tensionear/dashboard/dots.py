"""A grid of dots drawn in braille cells of two by four, or in ASCII shades. Imports nothing of the package but canvas.

Braille patterns: U+2800 with one bit a dot (The Unicode Standard, block Braille Patterns); a terminal's cells are about
twice as high as wide, so that the dots lie on a square grid.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from .canvas import Canvas

ACROSS, DOWN = 2, 4
_BITS = ((0x01, 0x08), (0x02, 0x10), (0x04, 0x20), (0x40, 0x80))
#: Shades of a cell by how many of its eight dots are set.
_SHADES = " ..::+*##"


@dataclass(frozen=True, slots=True)
class Stroke:
    """How a line is drawn: a dot every so many, so many dots thick; the weightier stroke gives a cell its style."""

    every: int
    thick: int
    weight: int
    style: str


class Dots:
    """Dots set one by one; a cell takes the style of the weightiest stroke through it."""

    def __init__(self, columns: int, rows: int) -> None:
        self.columns, self.rows = columns, rows
        self._bits: dict[tuple[int, int], int] = {}
        self._styles: dict[tuple[int, int], tuple[int, str]] = {}

    def put(self, x: float, y: float, weight: int, style: str) -> None:
        """Set the dot at x to the right and y down, in dots from the upper left; outside nothing happens."""
        across, down = math.floor(x), math.floor(y)
        cell = (down // DOWN, across // ACROSS)
        if not (0 <= cell[0] < self.rows and 0 <= cell[1] < self.columns):
            return
        self._bits[cell] = self._bits.get(cell, 0) | _BITS[down % DOWN][across % ACROSS]
        if weight >= self._styles.get(cell, (-1, ""))[0]:
            self._styles[cell] = (weight, style)

    def line(self, start: tuple[float, float], end: tuple[float, float], stroke: Stroke) -> None:
        """A straight stroke."""
        length = math.dist(start, end)
        if length == 0:
            return
        along = ((end[0] - start[0]) / length, (end[1] - start[1]) / length)
        for step in range(round(length) + 1):
            if step % stroke.every:
                continue
            for beside in range(stroke.thick):
                offset = beside - (stroke.thick - 1) / 2
                x = start[0] + along[0] * step - along[1] * offset
                y = start[1] + along[1] * step + along[0] * offset
                self.put(x, y, stroke.weight, stroke.style)

    def circle(self, centre: tuple[float, float], radius: float, stroke: Stroke) -> None:
        """A circle."""
        steps = max(8, round(2 * math.pi * radius / stroke.every))
        for step in range(steps):
            angle = 2 * math.pi * step / steps
            x, y = centre[0] + radius * math.sin(angle), centre[1] - radius * math.cos(angle)
            self.put(x, y, stroke.weight, stroke.style)

    def onto(self, canvas: Canvas, left: int, ascii_only: bool) -> None:
        """Put the cells on a canvas, from column ``left`` on."""
        for (row, column), bits in self._bits.items():
            sign = _SHADES[bits.bit_count()] if ascii_only else chr(0x2800 + bits)
            canvas.put(row, left + column, sign, self._styles[row, column][1])
