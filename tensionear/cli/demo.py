"""``tensionear demo``: reads the shipped recording and shows the wheel. Imports what it needs when it runs."""

from __future__ import annotations

import sys
from typing import Annotated

import typer


def demo(
    plain: Annotated[bool, typer.Option("--plain", help="Plain lines for pipes and screen readers.")] = False,
    as_json: Annotated[bool, typer.Option("--json", help="The reading as JSON, and nothing else.")] = False,
) -> None:
    """Read the shipped recording of an invented wheel and show it; needs no microphone."""
    from tensionear.dashboard.comparison import truth_line
    from tensionear.data import data_file
    from tensionear.loading import load_wheel
    from tensionear.pipeline import read
    from tensionear.wheel.comparison import compare, known_tensions

    from .show import show, show_json

    wheel = load_wheel(data_file("recordings_demo", "wheel.toml"))
    reading = read(data_file("recordings_demo", "round.flac"), wheel=wheel)
    if as_json:
        show_json([reading])
        return
    show(reading, "plain" if plain else "picture")
    truth = data_file("recordings_demo", "truth.csv")
    line = truth_line(compare(reading.spokes, known_tensions(truth.read_text("utf-8"), truth.name)))
    sys.stdout.write(f"{'' if plain else chr(10)}Against the tensions this recording was made with: {line}\n")
