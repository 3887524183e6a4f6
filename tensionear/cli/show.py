"""Readings put out as picture, plain lines or JSON, for the commands. Imports reading; dashboard when it runs."""

from __future__ import annotations

import json
import os
import sys
from collections.abc import Sequence
from typing import TYPE_CHECKING, Literal

from tensionear.errors import UsageError
from tensionear.reading import FORMAT, Reading, Units

if TYPE_CHECKING:
    from tensionear.wheel.comparison import Comparison
    from tensionear.wheel.model import Wheel

#: Which picture of a wheel: the rim unrolled, the wheel from the side, a histogram of each side, or all three.
View = Literal["rim", "side", "histogram", "all"]
Form = Literal["picture", "plain", "json"]


def show(reading: Reading, form: Form, view: View = "rim", wheel: Wheel | None = None) -> None:
    """Show one reading as picture or plain lines; JSON is for all of them at once (`show_json`)."""
    from tensionear.dashboard.view import draw, draw_plain, terminal

    shown = as_shown(reading)
    if form == "plain":
        draw_plain(shown, terminal())
        return
    pictures: tuple[View, ...] = ("rim", "side", "histogram") if view == "all" else (view,)
    draw(shown, terminal(), pictures, wheel)


def as_shown(reading: Reading) -> Reading:
    """A reading in the units that the environment or its wheel file sets."""
    from tensionear.units import in_units

    return in_units(reading, shown_units(reading.units))


def shown_units(stated: Units) -> Units:
    """What newtons are shown in: the environment's unit, else the one ``stated`` in the wheel file."""
    from tensionear.units import chosen_units

    return chosen_units(stated, os.environ)


def show_json(readings: Sequence[Reading]) -> None:
    """Print all readings as one JSON document, in ASCII so that any output can carry it."""
    document = {"format": FORMAT, "recordings": [reading.to_member() for reading in readings]}
    sys.stdout.write(f"{json.dumps(document, indent=1, allow_nan=False)}\n")


def show_explained(sound: str, reading: Reading, form: Form, chosen: Sequence[int] = ()) -> None:
    """Show how each pluck was heard, or the ``chosen`` ones, counted from 1, and what was assumed."""
    from tensionear.dashboard.budget import looked_into
    from tensionear.dashboard.explain import draw_explained, explained_lines
    from tensionear.dashboard.view import terminal

    from .second_opinion import hear_again

    for number in chosen:
        if not 1 <= number <= len(reading.plucks):
            raise UsageError(f"--pluck {number}: {len(reading.plucks)} plucks were heard; count them from 1")
    heard = hear_again(sound, reading, looked_into(reading, chosen))
    shown = as_shown(reading)
    if form == "plain":
        for line in explained_lines(shown, heard, chosen):
            sys.stdout.write(f"{line}\n")
    else:
        draw_explained(shown, heard, terminal(), chosen)


def show_comparison(comparison: Comparison, form: Form, stated: Units, tyre: str | None = None) -> None:
    """Show differences from known tensions, in the units set or ``stated``; ``tyre`` is how this wheel stood."""
    from tensionear.dashboard.comparison import comparison_lines, draw_comparison
    from tensionear.dashboard.view import terminal

    units = shown_units(stated)
    if form == "plain":
        for line in comparison_lines(comparison, tyre, units):
            sys.stdout.write(f"{line}\n")
    else:
        draw_comparison(comparison, terminal(), tyre, units)
