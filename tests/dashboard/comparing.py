"""Exact screens kept as text beside the tests: draw to text, compare, and rewrite on purpose only."""

from __future__ import annotations

import io
import os
from pathlib import Path

from rich.console import Console

SCREENS = Path(__file__).with_name("screens")
#: Set to any text to write the screens anew; look at them before keeping them.
REWRITE = "TENSIONEAR_WRITE_SCREENS"


def console(width: int, encoding: str = "utf-8", colours: str | None = None) -> Console:
    """A console into memory, of this width, encoding and colour system (None: no colour)."""
    file = io.TextIOWrapper(io.BytesIO(), encoding=encoding, newline="")
    return Console(
        file=file,
        width=width,
        height=50,
        force_terminal=colours is not None,
        color_system=colours,  # type: ignore[arg-type]
        highlight=False,
        markup=False,
        legacy_windows=False,
        _environ={},
    )


def shown(on: Console) -> str:
    """What was drawn, without blanks at the ends of lines."""
    file = on.file
    assert isinstance(file, io.TextIOWrapper)
    file.flush()
    text = file.buffer.getvalue().decode(file.encoding)  # type: ignore[attr-defined]
    return "\n".join(line.rstrip() for line in text.splitlines()) + "\n"


def assert_screen(name: str, text: str) -> None:
    """The text is the kept screen of this name."""
    kept = SCREENS / f"{name}.txt"
    if os.environ.get(REWRITE):
        kept.write_text(text, "utf-8")
    assert text == kept.read_text("utf-8")
