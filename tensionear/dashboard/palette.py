"""The colours of the pictures, in 16 colours and in true colour. Imports nothing of the package.

Every true colour has a relative luminance near 0.18, so that it stands out from a black and from a white ground alike
(contrast 4.5 to both: WCAG 2.2, 1.4.3). The 16 named colours leave the shade to the terminal's own theme. No
meaning rests on colour: each state has its own shape and word too.
"""

from __future__ import annotations

from dataclasses import dataclass

from rich.console import Console


@dataclass(frozen=True, slots=True)
class Palette:
    """Rich style strings by what they mean."""

    within: str
    out: str
    undecided: str
    line: str
    limit: str
    quiet: str
    strong: str = "bold"
    alarm: str = "bold reverse"


RICH_COLOURS = Palette(
    within="#0b8292",
    out="bold #c8501f",
    undecided="#8c60c4",
    line="#7a7568",
    limit="#9c6d1f",
    quiet="#7a7568",
    alarm="bold #c8501f",
)
SIXTEEN_COLOURS = Palette(
    within="cyan", out="bold red", undecided="magenta", line="dim", limit="dim", quiet="dim", alarm="bold red"
)
NO_COLOUR = Palette(within="", out="bold", undecided="", line="dim", limit="dim", quiet="dim")


def palette_for(console: Console) -> Palette:
    """The palette this console can show."""
    if console.color_system is None or console.no_color:
        return NO_COLOUR
    return SIXTEEN_COLOURS if console.color_system in ("standard", "windows") else RICH_COLOURS
