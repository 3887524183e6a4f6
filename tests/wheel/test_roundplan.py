"""The order in which the spokes of a round are expected."""

from __future__ import annotations

import pytest

from tensionear.errors import UsageError
from tensionear.wheel.roundplan import plan_round


def test_along_the_rim_from_the_valve() -> None:
    plan = plan_round(6, "RLRLRL", 1, "rim", "cw", ())
    assert plan.spokes == (1, 2, 3, 4, 5, 6)
    assert plan.sides == ("R", "L", "R", "L", "R", "L")


def test_from_another_spoke_and_the_other_way_round() -> None:
    assert plan_round(6, None, 5, "rim", "cw", ()).spokes == (5, 6, 1, 2, 3, 4)
    assert plan_round(6, None, 2, "rim", "ccw", ()).spokes == (2, 1, 6, 5, 4, 3)


@pytest.mark.parametrize(
    ("order", "first", "expected"),
    [
        ("right-then-left", 1, (1, 3, 5, 2, 4, 6)),
        ("left-then-right", 1, (2, 4, 6, 1, 3, 5)),
        ("right-then-left", 4, (5, 1, 3, 4, 6, 2)),
    ],
)
def test_one_side_before_the_other(order: str, first: int, expected: tuple[int, ...]) -> None:
    assert plan_round(6, "RLRLRL", first, order, "cw", ()).spokes == expected


def test_sides_of_the_wheel_file_decide_not_odd_and_even() -> None:
    plan = plan_round(6, "RRLRRL", 1, "right-then-left", "cw", ())
    assert plan.spokes == (1, 2, 4, 5, 3, 6)
    assert plan.sides == ("R", "R", "R", "R", "L", "L")


def test_sides_that_are_not_known_are_not_told() -> None:
    plan = plan_round(4, None, 1, "right-then-left", "cw", ())
    assert plan.spokes == (1, 3, 2, 4)
    assert plan.sides == (None,) * 4


def test_missing_spokes_are_left_out() -> None:
    assert plan_round(6, None, 1, "rim", "cw", (2, 6)).spokes == (1, 3, 4, 5)


@pytest.mark.parametrize(
    ("first", "missing", "text"),
    [
        (0, (), r"--first 0 is no spoke of a wheel of 4; give 1 to 4"),
        (5, (), r"--first 5 is no spoke of a wheel of 4; give 1 to 4"),
        (1, (9,), r"--missing 9 is no spoke of a wheel of 4; give 1 to 4"),
        (1, (1, 2, 3, 4), r"all 4 spokes are missing; leave out --missing for those that were plucked"),
    ],
)
def test_what_cannot_be(first: int, missing: tuple[int, ...], text: str) -> None:
    with pytest.raises(UsageError, match=text):
        plan_round(4, None, first, "rim", "cw", missing)
