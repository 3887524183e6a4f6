"""Draws ``docs/dashboard.svg`` anew from the demo's own reading: ``python -m benchmarks.make_picture``. Imports rich.

The picture is what ``tensionear demo`` prints on a terminal of 110 columns in true colour. It links nothing: rich's own
template names a font on the network, so that part is left out and the reader's monospaced font is used.
"""

from __future__ import annotations

import io
import re
from pathlib import Path

from rich._export_format import CONSOLE_SVG_FORMAT
from rich.console import Console

import tensionear as te
from tensionear.dashboard.view import draw
from tensionear.data import data_file

PICTURE = Path(__file__).parents[1] / "docs" / "dashboard.svg"
WIDTH = 110
FONT_FACE = re.compile(r"\s*@font-face \{\{.*?\}\}", re.DOTALL)
COMMENT = re.compile(r"\s*<!--.*?-->", re.DOTALL)


def main() -> None:
    """Read the demo and write the picture."""
    wheel = te.load_wheel(data_file("recordings_demo", "wheel.toml"))
    reading = te.read(data_file("recordings_demo", "round.flac"), wheel=wheel)
    console = Console(
        file=io.StringIO(),
        record=True,
        width=WIDTH,
        force_terminal=True,
        color_system="truecolor",
        highlight=False,
        markup=False,
        legacy_windows=False,
        _environ={},
    )
    draw(reading, console)
    PICTURE.parent.mkdir(exist_ok=True)
    PICTURE.write_text(picture_of(console), encoding="utf-8")


def picture_of(console: Console) -> str:
    """What a recording console was shown, as an SVG that stands on its own and always comes out alike."""
    template = COMMENT.sub("", FONT_FACE.sub("", CONSOLE_SVG_FORMAT))
    template = template.replace("Fira Code, monospace", "ui-monospace, monospace")
    template = template.replace("<svg ", '<svg xml:space="preserve" ', 1)
    picture = console.export_svg(title="tensionear demo", code_format=template, unique_id="tensionear")
    return "\n".join(line.rstrip() for line in picture.splitlines()) + "\n"


if __name__ == "__main__":
    main()
