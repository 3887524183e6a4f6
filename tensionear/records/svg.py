"""Drawings as SVG, inside a page or as a file of their own: no script, no link, no font to fetch. Imports shapes only."""

from __future__ import annotations

from html import escape

from .shapes import Disc, Drawing, Outline, Shape, Stroke, Words

#: The roles on white paper; each stands out from it by 4.5 to 1 or more (WCAG 2.2, 1.4.3), lines by 3 to 1.
ON_PAPER = {
    "ink": "#1c2430",
    "quiet": "#545f6e",
    "line": "#7d8896",
    "limit": "#8a5d14",
    "within": "#0a6a78",
    "out": "#b0400e",
    "undecided": "#7143ad",
    "paper": "#ffffff",
}
_FONT = "font-family:system-ui,'Segoe UI','Helvetica Neue',Arial,sans-serif"


def svg_part(drawing: Drawing, ident: str) -> str:
    """The drawing as an element for an HTML page that colours ``.f-ROLE`` and ``.s-ROLE``; ``ident`` is unique in the page."""
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {_n(drawing.width)} {_n(drawing.height)}" role="img" '
        f'aria-labelledby="{ident}-t {ident}-d"><title id="{ident}-t">{_text(drawing.title)}</title>'
        f'<desc id="{ident}-d">{_text(drawing.told)}</desc>{"".join(map(_shape, drawing.shapes))}</svg>'
    )


def svg_file(drawing: Drawing, margin: float = 16.0) -> str:
    """The drawing as an SVG file on white paper."""
    width, height = drawing.width + 2 * margin, drawing.height + 2 * margin
    box = f"{_n(-margin)} {_n(-margin)} {_n(width)} {_n(height)}"
    rules = "".join(f".f-{role}{{fill:{colour}}}.s-{role}{{stroke:{colour}}}" for role, colour in ON_PAPER.items())
    paper = f'<rect x="{_n(-margin)}" y="{_n(-margin)}" width="{_n(width)}" height="{_n(height)}" class="f-paper"/>'
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="{box}" width="{_n(width)}" height="{_n(height)}" role="img" '
        f'aria-labelledby="t d"><title id="t">{_text(drawing.title)}</title><desc id="d">{_text(drawing.told)}</desc>'
        f"<style>text{{{_FONT}}}{rules}</style>{paper}{''.join(map(_shape, drawing.shapes))}</svg>\n"
    )


def _shape(shape: Shape) -> str:
    """One shape."""
    if isinstance(shape, Words):
        bold = ' font-weight="700"' if shape.strong else ""
        anchor = "" if shape.anchor == "start" else f' text-anchor="{shape.anchor}"'
        return (
            f'<text x="{_n(shape.x)}" y="{_n(shape.y)}" font-size="{_n(shape.size)}"{anchor}{bold} '
            f'class="f-{shape.role}">{_text(shape.text)}</text>'
        )
    if isinstance(shape, Disc):
        return f'<circle cx="{_n(shape.x)}" cy="{_n(shape.y)}" r="{_n(shape.radius)}" {_filled(shape)}/>'
    points = " ".join(f"{_n(x)},{_n(y)}" for x, y in shape.points)
    if isinstance(shape, Outline):
        return f'<polygon points="{points}" {_filled(shape)}/>'
    return f'<polyline points="{points}" fill="none" {_stroked(shape)}/>'


def _filled(shape: Disc | Outline) -> str:
    if shape.hollow:
        return f'class="f-paper s-{shape.role}" stroke-width="1.5"'
    return f'class="f-{shape.role}"'


def _stroked(shape: Stroke) -> str:
    dash = f' stroke-dasharray="{_n(shape.dash)}"' if shape.dash else ""
    return f'class="s-{shape.role}" stroke-width="{_n(shape.width)}"{dash}'


def _n(value: float) -> str:
    """A number in few digits."""
    return f"{round(value, 1):g}"


def _text(text: str) -> str:
    """Text that cannot be taken for markup, without signs that XML does not allow."""
    return escape("".join(sign for sign in text if sign.isprintable() or sign == " "), quote=True)
