"""Drawings as PNG. Imports shapes and svg's colours; Pillow when it runs.

A font of the system is used if there is one with many letters, else the one that comes with Pillow, whose letters are few:
accents are dropped then and other letters become question marks. The SVG has them all.
"""

from __future__ import annotations

import io
import unicodedata
from itertools import pairwise
from typing import TYPE_CHECKING

from .shapes import Disc, Drawing, Outline, Shape, Stroke, Words
from .svg import ON_PAPER

if TYPE_CHECKING:
    from PIL.ImageDraw import ImageDraw
    from PIL.ImageFont import FreeTypeFont, ImageFont

#: Dots per point of the drawing, and how much finer it is drawn before it is smoothed.
SCALE, FINER = 2, 2
_FONTS = ("DejaVuSans.ttf", "NotoSans-Regular.ttf", "LiberationSans-Regular.ttf", "Arial.ttf", "Helvetica.ttc")
_ANCHORS = {"start": "ls", "middle": "ms", "end": "rs"}


def png_file(drawing: Drawing, margin: float = 16.0) -> bytes:
    """The drawing on white paper, two dots a point; its title and words are kept as text beside it."""
    from PIL import Image, ImageDraw
    from PIL.PngImagePlugin import PngInfo

    size = tuple(round((length + 2 * margin) * SCALE * FINER) for length in (drawing.width, drawing.height))
    image = Image.new("RGB", (size[0], size[1]), ON_PAPER["paper"])
    brush = _Brush(ImageDraw.Draw(image), margin)
    for shape in drawing.shapes:
        brush.draw(shape)
    small = image.resize((size[0] // FINER, size[1] // FINER), Image.Resampling.LANCZOS)
    told = PngInfo()
    told.add_itxt("Title", drawing.title)
    told.add_itxt("Description", drawing.told)
    file = io.BytesIO()
    small.save(file, "PNG", pnginfo=told, optimize=True)
    return file.getvalue()


class _Brush:
    """Draws shapes at the fine scale."""

    def __init__(self, draw: ImageDraw, margin: float) -> None:
        self._draw = draw
        self._margin = margin
        self._fonts: dict[float, FreeTypeFont | ImageFont] = {}

    def draw(self, shape: Shape) -> None:
        """One shape."""
        if isinstance(shape, Words):
            text, font = shape.text, self._font(shape.size)
            weight = SCALE * FINER // 4 if shape.strong else 0
            colour = ON_PAPER[shape.role]
            self._draw.text(
                self._at(shape.x, shape.y), self._known(text, font), colour, font, _ANCHORS[shape.anchor],
                stroke_width=weight, stroke_fill=colour,
            )  # fmt: skip
        elif isinstance(shape, Disc):
            (x, y), r = self._at(shape.x, shape.y), shape.radius * SCALE * FINER
            self._draw.ellipse((x - r, y - r, x + r, y + r), *self._inks(shape))
        elif isinstance(shape, Outline):
            self._draw.polygon([self._at(x, y) for x, y in shape.points], *self._inks(shape))
        else:
            self._stroke(shape)

    def _stroke(self, shape: Stroke) -> None:
        width = max(1, round(shape.width * SCALE * FINER))
        points = [self._at(x, y) for x, y in shape.points]
        for start, end in pairwise(points):
            for piece in _dashes(start, end, shape.dash * SCALE * FINER):
                self._draw.line(piece, ON_PAPER[shape.role], width)

    def _inks(self, shape: Disc | Outline) -> tuple[str, str, int]:
        """Fill, outline and its width."""
        colour = ON_PAPER[shape.role]
        return (ON_PAPER["paper"] if shape.hollow else colour, colour, round(1.5 * SCALE * FINER))

    def _at(self, x: float, y: float) -> tuple[float, float]:
        return (x + self._margin) * SCALE * FINER, (y + self._margin) * SCALE * FINER

    def _font(self, size: float) -> FreeTypeFont | ImageFont:
        if size not in self._fonts:
            self._fonts[size] = _found_font(size * SCALE * FINER)
        return self._fonts[size]

    def _known(self, text: str, font: FreeTypeFont | ImageFont) -> str:
        """The text in letters that the font has."""
        missing = bytes(font.getmask("\uffff"))

        def has(sign: str) -> bool:
            return sign == " " or bytes(font.getmask(sign)) != missing

        found = []
        for sign in text:
            if not sign.isprintable():
                continue
            plain = sign if has(sign) else unicodedata.normalize("NFKD", sign)[0]
            found.append(plain if has(plain) else "?")
        return "".join(found)


def _found_font(size: float) -> FreeTypeFont | ImageFont:
    from PIL import ImageFont

    for name in _FONTS:
        try:
            return ImageFont.truetype(name, size)
        except OSError:
            continue
    return ImageFont.load_default(size)


def _dashes(
    start: tuple[float, float], end: tuple[float, float], dash: float
) -> list[tuple[tuple[float, float], tuple[float, float]]]:
    """A line in pieces; in one where ``dash`` is 0."""
    length = ((end[0] - start[0]) ** 2 + (end[1] - start[1]) ** 2) ** 0.5
    if not dash or not length:
        return [(start, end)]

    def at(way: float) -> tuple[float, float]:
        part = min(way / length, 1.0)
        return start[0] + part * (end[0] - start[0]), start[1] + part * (end[1] - start[1])

    return [(at(2 * n * dash), at((2 * n + 1) * dash)) for n in range(int(length / (2 * dash)) + 1)]
