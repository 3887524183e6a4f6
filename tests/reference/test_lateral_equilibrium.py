"""Balance of the sides: n_L T_L sin(a_L) = n_R T_R sin(a_R), values recomputed from that equation."""

import math

import pytest

from tensionear.wheel.geometry import Flange, RimSeat, SpokeLine, side_numbers, side_tension_ratio, spoke_lines

PROJECTED_M = 0.280  # length of each spoke seen along the axle
# flange offset left mm, right mm, sides round the rim, spokes, T_L / T_R.
RATIOS = [
    (36, 18, "RL", 32, 0.5031),  # 16 and 16
    (36, 18, "RLR", 24, 1.0062),  # 8 and 16: two to one evens the sides where offsets are two to one
    (37, 17, "RL", 28, 0.4626),  # 14 and 14
    (37, 17, "RLR", 24, 0.9252),  # 8 and 16
]


def wheel(left_mm: float, right_mm: float, sides: str, count: int, crosses: int, seat_offset_mm: float = 0.0):
    """Lines of all spokes; the rim is as large as makes the spokes 280 mm long seen along the axle."""
    # Two to one, rim holes stand off the even hub holes: a tiny hub keeps the projected lengths alike.
    circle = 0.022 if sides == "RL" else 0.001
    lines: list[SpokeLine] = []
    for side, offset_mm in (("left", left_mm), ("right", right_mm)):
        numbers = side_numbers(count, sides, side)
        turn = crosses * 2 * math.pi / len(numbers)
        radius = circle * math.cos(turn) + math.sqrt(PROJECTED_M**2 - (circle * math.sin(turn)) ** 2)
        flange = Flange(circle, offset_mm / 1000, crosses, "clockwise")
        lines += spoke_lines(count, numbers, side, RimSeat(radius, seat_offset_mm / 1000), flange)
    return lines


@pytest.mark.parametrize(("left_mm", "right_mm", "sides", "count", "ratio"), RATIOS)
def test_ratio_of_side_tensions(left_mm, right_mm, sides, count, ratio):
    # Round a crossed two-to-one wheel projected lengths differ, so that one is radial only.
    for crosses in (0, 3) if sides == "RL" else (0,):
        assert side_tension_ratio(wheel(left_mm, right_mm, sides, count, crosses)) == pytest.approx(ratio, abs=6e-5)


def test_an_asymmetric_rim_lifts_the_slack_side():
    """Offsets 17/35 mm give 0.49; seats 2.5 mm off, towards the wide side, make it 0.60 (recomputed)."""
    assert side_tension_ratio(wheel(35, 17, "RL", 28, 2)) == pytest.approx(0.49, abs=0.006)
    assert side_tension_ratio(wheel(35, 17, "RL", 28, 2, seat_offset_mm=-2.5)) == pytest.approx(0.60, abs=0.006)


@pytest.mark.parametrize("crosses", [0, 1, 3])
@pytest.mark.parametrize("seat_offset_mm", [0.0, -2.5])
def test_at_that_ratio_the_rim_stands_still_sideways(crosses, seat_offset_mm):
    lines = wheel(35, 18, "RL", 36, crosses, seat_offset_mm)
    tension = {"right": 1000.0, "left": 1000.0 * side_tension_ratio(lines)}
    pull = [
        tension[line.side] * (line.hub_m[0] - line.seat_m[0]) / math.dist(line.hub_m, line.seat_m) for line in lines
    ]
    assert max(pull) > 50
    assert sum(pull) == pytest.approx(0, abs=1e-9)
