"""How a pluck was heard: partials, spectrum, second opinion, what was assumed."""

from __future__ import annotations

import dataclasses

import numpy as np
import pytest

from tensionear.dashboard.budget import looked_into
from tensionear.dashboard.explain import (
    Heard,
    assumed,
    column_levels,
    draw_explained,
    explained_lines,
    second_opinion,
)
from tensionear.reading import BudgetLine, EndStiffness, Reading
from tests.dashboard.comparing import assert_screen, console, shown
from tests.dashboard.invented import plucks, wheel


def heard(opinion_hz: float | None = 442.0) -> Heard:
    frequency_hz = np.arange(0.0, 5000.0, 2.0)
    level_db = np.full(len(frequency_hz), -70.0)
    for partial_hz, top_db in ((441.7, 0.0), (905.2, -7.5), (1402.9, -13.2)):
        level_db = np.maximum(level_db, top_db - ((frequency_hz - partial_hz) / 3.0) ** 2)
    return Heard(frequency_hz, level_db, opinion_hz)


BUDGET = (
    BudgetLine("first mode heard", "Hz", 441.7, 0.061, 4.82, 0.294, True),
    BudgetLine("overtones heard", "", 2.0, None, None, 3.0, True),
    BudgetLine("length", "mm", 290.0, 0.5, 7.4, 3.7, False),
    BudgetLine("stiffness of both ends", "ln k", 3.31, 1.277, 15.3, 19.538, False),
)


def reading() -> Reading:
    hub = EndStiffness("hub", "flat", 23.0, (11.0, 48.0), "assumed")
    first, *others = plucks().plucks
    found = dataclasses.replace(
        plucks(),
        plucks=(dataclasses.replace(first, budget=BUDGET), *others),
        ends={"all": (hub,)},
        assumptions=("free length 290.0 mm +/- 1.0 mm as stated",),
    )
    return found


@pytest.mark.parametrize("width", [60, 80, 120])
def test_screen(width: int) -> None:
    on = console(width)
    draw_explained(reading(), (heard(), heard(905.0), None), on)
    assert_screen(f"explain-{width}", shown(on))


def test_ascii_screen() -> None:
    on = console(60, "ascii")
    draw_explained(reading(), (heard(), heard(905.0), None), on)
    text = shown(on)
    assert text.isascii()
    assert_screen("explain-60-ascii", text)


def test_plain_lines() -> None:
    lines = list(explained_lines(reading(), (heard(), heard(None), None)))
    assert lines[0] == "Pluck 1, mode 1, plane flat: 441.70 +/- 0.12 Hz, decay 0.41 s, level 0 dB."
    assert lines[3] == "Pluck 1: Second opinion (librosa): 442.0 Hz, +1 cents from the first mode."
    assert lines[4] == (
        "Budget of pluck 1, own, first mode heard: 441.70 Hz, u 0.06 Hz, 4.82 N per Hz, contributes 0.29 N."
    )
    assert lines[8] == "Budget of pluck 1, standard uncertainty 20 N, of it own 3 N, common 20 N."
    assert lines[12] == "Pluck 2: Second opinion (librosa): no pitch."
    assert lines[-1] == "Assumed or found: all spokes, hub end, plane flat: 23 N m/rad (11 to 48 at 95 %), assumed."


def test_second_opinion_names_the_partial_it_hears() -> None:
    pluck = plucks().plucks[0]
    assert second_opinion(pluck, 905.0).endswith("it hears mode 2.")
    assert second_opinion(pluck, 441.7) == "Second opinion (librosa): 441.7 Hz, +0 cents from the first mode."


def test_assumptions_come_before_ends() -> None:
    assert assumed(reading())[0].startswith("free length")
    assert len(assumed(reading())) == 2


def test_column_levels_keep_the_highest_of_each_band() -> None:
    levels = column_levels(
        Heard(np.array([0.0, 10.0, 15.0, 39.0]), np.array([-90.0, 0.0, -30.0, -30.0]), None), 4, 40.0
    )
    np.testing.assert_allclose(levels, [0.0, 1.0, 0.0, 0.5])


def test_a_silent_spectrum_is_flat() -> None:
    silent = Heard(np.array([1.0, 2.0]), np.array([-np.inf, -np.inf]), None)
    assert not column_levels(silent, 3, 3.0).any()


def test_of_a_round_the_least_sure_pluck_of_each_side_is_looked_into() -> None:
    whole = wheel()
    made = [dataclasses.replace(each, side=("right", "left")[at % 2]) for at, each in enumerate(whole.plucks)]
    made[6] = dataclasses.replace(made[6], u_frequency_hz=3.0)
    made[9] = dataclasses.replace(made[9], u_frequency_hz=2.0)
    whole = dataclasses.replace(whole, plucks=tuple(made))
    assert looked_into(whole, ()) == {7, 10}
    assert looked_into(whole, (3, 4)) == {3, 4}
    on = console(80)
    draw_explained(whole, (None,) * len(made), on, (3,))
    assert "Pluck 3 " in shown(on)
    assert "Pluck 4 " not in shown(on)


def test_few_plucks_are_all_looked_into_if_used() -> None:
    assert looked_into(plucks(), ()) == {1, 2}
