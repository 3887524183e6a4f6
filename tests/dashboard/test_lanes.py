"""The common scale of the lanes."""

from __future__ import annotations

import pytest

from tensionear.dashboard.lanes import MOST_ROWS, common_step, is_beyond, lanes_of, rows_needed
from tests.dashboard.invented import evenness, wheel


def test_one_step_for_both_sides_puts_limits_two_to_four_rows_away() -> None:
    lanes = lanes_of(wheel())
    step = common_step(lanes)
    assert step == 15.0  # a third of the mean of 55 N and 33 N
    for lane in lanes:
        for line in lane.lines:
            if line.kind == "limit":
                assert 2 <= abs(line.value - lane.centre) / step <= 4


def test_relative_lanes_are_in_percent() -> None:
    lanes = lanes_of(evenness())
    assert [lane.centre for lane in lanes] == [0.0, 0.0]
    assert common_step(lanes) == 1.5
    assert lanes[0].number_rows == ("%",)


@pytest.mark.parametrize("tension_n", [100.0, 700.0, 1090.0, 1500.0, 3000.0])
def test_no_mark_is_lost(tension_n: float) -> None:
    lanes = lanes_of(wheel({9: tension_n}))
    step = common_step(lanes)
    up, down = rows_needed(lanes[0], step)
    assert 1 <= up <= MOST_ROWS
    assert 1 <= down <= MOST_ROWS
    point = next(point for point in lanes[0].points if point.spoke == 9)
    assert point.value is not None
    row = round((point.value - lanes[0].centre) / step)
    assert is_beyond(lanes[0], point, step) == (not -down <= row <= up)


def test_a_side_of_which_nothing_is_known_has_no_lane() -> None:
    assert lanes_of(evenness(sides=("higher",), count=0)) == ()
