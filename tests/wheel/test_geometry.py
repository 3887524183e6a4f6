"""Lines, lengths, crossings and the balance of the sides, against closed forms and figures computed elsewhere."""

import itertools
import math

import pytest

from tensionear.wheel.geometry import (
    Flange,
    RimSeat,
    can_be_laced,
    crossings,
    side_numbers,
    side_tension_ratio,
    spoke_lines,
)

SEAT = RimSeat(0.285, 0.0)


def one_side(
    count, crosses, circle_mm=58.0, first_runs="clockwise", sides="RL", side="right", seat=SEAT, offset_mm=18.0
):
    numbers = side_numbers(count, sides, side)
    return spoke_lines(count, numbers, side, seat, Flange(circle_mm / 2e3, offset_mm / 1e3, crosses, first_runs))


def test_numbers_go_round_the_pattern():
    assert side_numbers(6, "RL", "right") == (1, 3, 5)
    assert side_numbers(6, "LR", "right") == (2, 4, 6)
    assert side_numbers(6, "RLR", "left") == (2, 5)
    assert side_numbers(3, "R", "right") == (1, 2, 3)
    assert side_numbers(3, "R", "left") == ()


def test_spoke_one_is_first_clockwise_from_the_valve_seen_from_the_right():
    """With the valve at the top, clockwise seen from the right is towards the front: y > 0, z near the top."""
    first = one_side(36, 3)[0]
    x, y, z = first.seat_m
    assert (x, y > 0, z > 0.28) == (0.0, True, True)
    assert math.degrees(math.atan2(y, z)) == pytest.approx(5.0)  # half of the ten degrees between holes
    assert first.hub_m[0] == pytest.approx(0.018)


def test_first_runs_clockwise_means_from_hub_to_rim_and_alternates():
    lines = one_side(28, 2)
    assert [line.runs for line in lines[:3]] == ["clockwise", "counterclockwise", "clockwise"]
    for line in lines:
        turn = math.atan2(
            line.hub_m[2] * line.seat_m[1] - line.hub_m[1] * line.seat_m[2],
            line.hub_m[1] * line.seat_m[1] + line.hub_m[2] * line.seat_m[2],
        )
        assert math.degrees(turn) == pytest.approx(2 * 360 / 14 * (1 if line.runs == "clockwise" else -1))
    assert one_side(28, 2, first_runs="counterclockwise")[0].runs == "counterclockwise"


@pytest.mark.parametrize("crosses", [0, 1, 2, 3, 4])
@pytest.mark.parametrize("side", ["right", "left"])
def test_length_is_the_law_of_cosines(crosses, side):
    """l^2 = R^2 + r^2 + f^2 - 2 R r cos(crosses x hole spacing): plane trigonometry, the trade's textbook formula."""
    turn = crosses * 2 * math.pi / 18
    expected = math.sqrt(0.285**2 + 0.029**2 + 0.018**2 - 2 * 0.285 * 0.029 * math.cos(turn))
    for line in one_side(36, crosses, side=side):
        assert line.length_m == pytest.approx(expected, rel=1e-12)
        assert math.sin(line.bracing_angle_rad) == pytest.approx(0.018 / expected)


def test_hub_holes_are_evenly_spaced_and_used_once():
    for sides, count in (("RL", 32), ("RLR", 24)):
        lines = one_side(count, 3, sides=sides)
        angles = sorted(math.atan2(line.hub_m[1], line.hub_m[2]) for line in lines)
        steps = [b - a for a, b in itertools.pairwise(angles)]
        assert steps == pytest.approx([2 * math.pi / 16] * 15)


@pytest.mark.parametrize("crosses", [0, 1, 2, 3, 4])
@pytest.mark.parametrize("first_runs", ["clockwise", "counterclockwise"])
def test_each_spoke_crosses_as_many_as_it_says(crosses, first_runs):
    lines = one_side(36, crosses, first_runs=first_runs)
    assert {len(crossings(line, lines)) for line in lines} == {crosses}


@pytest.mark.parametrize(
    ("count", "crosses", "low", "high"),
    [
        (36, 3, 29, 31),
        (32, 3, 32, 34),
        (28, 3, 35, 38),
        (32, 2, 30, 32),
        (28, 2, 34, 36),
        (24, 2, 39, 41),
        (20, 2, 45, 48),
    ],
)
def test_angle_at_the_outermost_crossing(count, crosses, low, high):
    """Computed elsewhere for hub circles of 45..58 mm and a rim of its own; one degree is allowed for the rim taken."""
    for circle_mm, expected in ((45, low), (58, high)):
        lines = one_side(count, crosses, circle_mm)
        assert math.degrees(crossings(lines[0], lines)[-1].angle_rad) == pytest.approx(expected, abs=1.0)


def test_outermost_crossing_is_with_the_neighbour_on_the_rim_at_a_quarter_to_a_third_of_the_length():
    """27 % from the hub: 72.9 mm of 270 (36 spokes, three crosses, small hub), computed elsewhere."""
    lines = one_side(36, 3, 45)
    outermost = crossings(lines[0], lines)[-1]
    assert outermost.partner == 35
    assert outermost.from_hub_m / lines[0].length_m == pytest.approx(0.26, abs=0.01)
    back = next(line for line in lines if line.number == 35)
    assert crossings(back, lines)[-1].partner == 1


def test_crossings_are_told_from_the_hub_outwards():
    lines = one_side(36, 3)
    along = [place.from_hub_m for place in crossings(lines[0], lines)]
    assert along == sorted(along)
    assert len(set(along)) == 3


def test_parallel_lines_do_not_cross():
    """Radial spokes opposite each other lie on one line."""
    lines = one_side(36, 0)
    assert crossings(lines[0], [lines[0], lines[9]]) == ()


def test_two_to_one_lengths_are_alike_and_the_hub_feels_no_twist():
    lines = one_side(24, 3, sides="RLR")
    assert {round(line.length_m, 9) for line in lines} == {round(lines[0].length_m, 9)}
    twist = sum(line.hub_m[1] * line.seat_m[2] - line.hub_m[2] * line.seat_m[1] for line in lines)
    assert twist == pytest.approx(0, abs=1e-12)


def test_lacing_is_refused_where_the_spoke_would_run_through_the_flange():
    assert can_be_laced(18, 4, 0.029, 0.285)
    assert not can_be_laced(14, 4, 0.001, 0.285)  # 103 degrees
    assert not can_be_laced(16, 4, 0.029, 0.285)  # a right angle
    assert not can_be_laced(18, 4, 0.06, 0.285)


# Flange offset left mm, right mm, sides, spokes, T_L / T_R at a projected length of 280 mm: n_L T_L sin(a_L) =
# n_R T_R sin(a_R), recomputed.
BALANCE = [
    (36, 18, "RL", 32, 0.5031),
    (36, 18, "RLR", 24, 1.0062),
    (37, 17, "RL", 28, 0.4626),
    (37, 17, "RLR", 24, 0.9252),
]


def both_sides(left_mm, right_mm, sides, count, seat_offset_mm=0.0):
    """Radial lacing on a point-like hub, so that every spoke is 280 mm long seen along the axle."""
    lines = []
    for side, offset_mm in (("right", right_mm), ("left", left_mm)):
        seat = RimSeat(0.280, seat_offset_mm / 1e3)
        lines += one_side(count, 0, 1e-6, sides=sides, side=side, seat=seat, offset_mm=offset_mm)
    return lines


@pytest.mark.parametrize(("left_mm", "right_mm", "sides", "count", "ratio"), BALANCE)
def test_balance_of_the_sides(left_mm, right_mm, sides, count, ratio):
    assert side_tension_ratio(both_sides(left_mm, right_mm, sides, count)) == pytest.approx(ratio, abs=5e-5)


def test_a_seat_offset_changes_the_balance():
    """Asymmetric rim: offsets 17/35 mm give a side ratio of 0.49; 2.5 mm of seat offset make it 0.60 (recomputed)."""
    assert side_tension_ratio(both_sides(35, 17, "RL", 32)) == pytest.approx(0.49, abs=0.005)
    assert side_tension_ratio(both_sides(35, 17, "RL", 32, -2.5)) == pytest.approx(0.60, abs=0.005)


def test_no_balance_where_a_side_pulls_the_wrong_way():
    assert side_tension_ratio(both_sides(35, 1, "RL", 32, 2.5)) is None
