"""Readings put out as picture, plain lines or JSON, for the commands. Imports reading; dashboard when it runs."""

from __future__ import annotations

import json
import os
import sys
from collections.abc import Sequence
from typing import TYPE_CHECKING, Literal

from tensionear.reading import FORMAT, Reading

if TYPE_CHECKING:
    from tensionear.wheel.comparison import Comparison

Form = Literal["picture", "plain", "json"]


def show(reading: Reading, form: Form) -> None:
    """Show one reading as picture or plain lines; JSON is for all of them at once (`show_json`)."""
    from tensionear.dashboard.view import draw, draw_plain, terminal

    (draw_plain if form == "plain" else draw)(as_shown(reading), terminal())


def as_shown(reading: Reading) -> Reading:
    """A reading in the units that the environment or its wheel file sets."""
    from tensionear.units import chosen_units, in_units

    return in_units(reading, chosen_units(reading.units, os.environ))


def show_json(readings: Sequence[Reading]) -> None:
    """Print all readings as one JSON document, in ASCII so that any output can carry it."""
    document = {"format": FORMAT, "recordings": [reading.to_member() for reading in readings]}
    sys.stdout.write(f"{json.dumps(document, indent=1, allow_nan=False)}\n")


def show_explained(sound: str, reading: Reading, form: Form) -> None:
    """Show how each pluck was heard and what was assumed."""
    from tensionear.dashboard.explain import draw_explained, explained_lines
    from tensionear.dashboard.view import terminal

    from .second_opinion import hear_again

    heard = hear_again(sound, reading)
    shown = as_shown(reading)
    if form == "plain":
        for line in explained_lines(shown, heard):
            sys.stdout.write(f"{line}\n")
    else:
        draw_explained(shown, heard, terminal())


def show_comparison(comparison: Comparison, form: Form) -> None:
    """Show differences from known tensions."""
    from tensionear.dashboard.comparison import comparison_lines, draw_comparison
    from tensionear.dashboard.view import terminal

    if form == "plain":
        for line in comparison_lines(comparison):
            sys.stdout.write(f"{line}\n")
    else:
        draw_comparison(comparison, terminal())
