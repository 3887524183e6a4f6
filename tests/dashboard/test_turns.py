"""The walk round the wheel, exactly, at three widths, in ASCII and as plain lines."""

from __future__ import annotations

import dataclasses

import numpy as np
import pytest
from rich.cells import cell_len

from tensionear.dashboard.turns import CAUTIONS, draw_plan, fraction, instruction, plan_lines
from tensionear.wheel.forecast import Figure, Forecast
from tensionear.wheel.learning import RimKnowledge
from tensionear.wheel.stand import Readings
from tensionear.wheel.turnplan import Quality, Turn, TurnPlan
from tests.dashboard.comparing import assert_screen, console, shown

LABELS = {number: f"{'R' if number % 2 else 'L'}{(number + 1) // 2}" for number in range(1, 21)}
SIDES = {"right": tuple(range(1, 21, 2)), "left": tuple(range(2, 21, 2))}


def forecast(spread: float, lateral: float, shift: float) -> Forecast:
    tension = {spoke: Figure((1040.0 if spoke % 2 else 655.0) + shift * (spoke % 5), 8.5) for spoke in LABELS}
    return Forecast(
        {**tension, 20: None},
        {"right": Figure(spread, 0.9), "left": Figure(spread + 0.6, 1.1)},
        Figure(lateral, 0.03e-3),
        Figure(0.11e-3, 0.014e-3),
        Figure(-0.02e-3, 0.008e-3),
    )


def plan() -> TurnPlan:
    sizes = {1: 0.125, 4: -0.25, 7: 1.0, 8: -1.375, 13: 0.0625, 19: -0.5}
    turns = tuple(Turn(spoke, LABELS[spoke], size, 0.125 if spoke % 2 else 0.0625) for spoke, size in sizes.items())
    return TurnPlan(
        title="Pump cart, rear",
        labels=LABELS,
        sides=SIDES,
        turns=turns,
        predicted=forecast(4.2, 0.16e-3, 3.0),
        present=forecast(17.4, 0.71e-3, -30.0),
        target_n=dict.fromkeys(LABELS, 1000.0),
        max_tension_n=1250.0,
        floor_n=None,
        highest_n=1187.4,
        left=(),
        notes=("L10: not read, so not turned",),
        quality=Quality(30.0, 900.0, 21.0),
        rim=RimKnowledge(np.zeros(4), 0.09 * np.eye(4)),
        readings=Readings({1: 1000.0}, {}, {}, None, {}),
    )


def drawn(what: TurnPlan, width: int, encoding: str = "utf-8", colours: str | None = None) -> str:
    on = console(width, encoding, colours)
    draw_plan(what, on)
    return shown(on)


@pytest.mark.parametrize("width", [60, 80, 120])
def test_screen(width):
    text = drawn(plan(), width)
    assert max(cell_len(line) for line in text.splitlines()) <= width
    assert_screen(f"turns-{width}", text)


def test_ascii_screen():
    text = drawn(plan(), 80, "ascii")
    assert text.isascii()
    assert "+/-" in text
    assert_screen("turns-80-ascii", text)


def test_plain_lines():
    text = "\n".join(plan_lines(plan())) + "\n"
    assert text.isascii()
    assert_screen("turns-plain", text)


@pytest.mark.parametrize("width", [60, 120])
def test_cautions_come_before_the_first_turn(width):
    text = " ".join(drawn(plan(), width).replace("▌", " ").split())
    first = text.index("R1: 1/8 tighter (clockwise, seen from the tyre side)")
    for caution in CAUTIONS:
        assert text.index(caution) < first
    assert text.index("go 1/8 past and come back 1/8: every nipple of the right side") < first
    for word in ("glasses", "pressure", "flat spokes", "measure again", "makers", "qualified wheel builder"):
        assert word in text[:first]


@pytest.mark.parametrize("colours", ["standard", "truecolor"])
def test_colour_changes_nothing_but_colour(colours):
    coloured = drawn(plan(), 80, colours=colours)
    assert "\x1b[" in coloured
    import re

    bare = "\n".join(line.rstrip() for line in re.sub(r"\x1b\[[0-9;]*m", "", coloured).splitlines()) + "\n"
    assert bare == drawn(plan(), 80)


def test_nothing_to_turn_is_said_without_cautions():
    nothing = dataclasses.replace(plan(), turns=())
    text = drawn(nothing, 80)
    assert "nothing to turn" in text
    assert "glasses" not in text
    assert "as it stands" in text
    lines = list(plan_lines(nothing))
    assert not any(line.startswith("CAUTION") for line in lines)


@pytest.mark.parametrize(
    ("turns", "told"), [(0.125, "1/8"), (-0.25, "1/4"), (1.0, "1"), (1.375, "1 3/8"), (0.0625, "1/16"), (1 / 3, "1/3")]
)
def test_sizes_as_people_say_them(turns, told):
    assert fraction(turns) == told


def test_instructions():
    assert instruction(Turn(13, "R7", 0.25, 0.125)) == "R7: 1/4 tighter (clockwise, seen from the tyre side)"
    assert instruction(Turn(4, "L2", -1.125, 0.0)) == "L2: 1 1/8 looser (counterclockwise, seen from the tyre side)"
