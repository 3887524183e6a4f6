"""Where the spokes run: lengths, bracing angles, crossings, balance of the sides. Pure; imports nothing of the package.

Coordinates: x to the right, y to the front, z up, the valve hole at the top; angles run clockwise seen from the right,
from the valve hole. The origin is the middle of the hub, which lies in the rim's middle plane (dish 0).
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Literal

Side = Literal["right", "left"]
Runs = Literal["clockwise", "counterclockwise"]
Vector = tuple[float, float, float]

#: Sign of x on each side.
SIGN: Mapping[Side, int] = {"right": 1, "left": -1}


@dataclass(frozen=True, slots=True)
class RimSeat:
    """Circle of the nipple seats: radius in m, and its offset from the rim's middle plane in m, + to the right."""

    radius_m: float
    offset_m: float


@dataclass(frozen=True, slots=True)
class Flange:
    """One side of the hub and its lacing.

    Parameters
    ----------
    circle_radius_m : float
        Radius of the hole circle, > 0.
    offset_m : float
        Distance of the flange from the hub's middle plane, >= 0, on its own side.
    crosses : int
        How many spokes of its side each spoke crosses, 0 (radial) to 4.
    first_runs : {"clockwise", "counterclockwise"}
        Sense in which the lowest-numbered spoke of the side runs from hub to rim, seen from the right.
    """

    circle_radius_m: float
    offset_m: float
    crosses: int
    first_runs: Runs


@dataclass(frozen=True, slots=True)
class SpokeLine:
    """A spoke as a straight line from its hole in the hub to its nipple seat; ``runs`` is None for a radial spoke."""

    number: int
    side: Side
    runs: Runs | None
    hub_m: Vector
    seat_m: Vector

    @property
    def length_m(self) -> float:
        """From the hole's centre to the nipple seat, in m."""
        return math.dist(self.hub_m, self.seat_m)

    @property
    def bracing_angle_rad(self) -> float:
        """Angle between the spoke and the wheel plane, + where the spoke pulls the rim to its own side."""
        return math.asin(SIGN[self.side] * (self.hub_m[0] - self.seat_m[0]) / self.length_m)


@dataclass(frozen=True, slots=True)
class CrossingPlace:
    """Where a spoke meets its partner: distance along it from its hub hole (m), and the angle between the two (rad).

    ``partner`` is its number, None where it is not known which of the neighbours it is.
    """

    partner: int | None
    from_hub_m: float
    angle_rad: float


def side_numbers(count: int, sides: str, side: Side) -> tuple[int, ...]:
    """Numbers of the spokes of one side; the pattern ``sides`` (``"RL"``, ``"RLR"``) repeats round the rim."""
    letter = side[0].upper()
    return tuple(number for number in range(1, count + 1) if sides[(number - 1) % len(sides)] == letter)


def spoke_lines(count: int, numbers: Sequence[int], side: Side, seat: RimSeat, flange: Flange) -> tuple[SpokeLine, ...]:
    """The spokes of one side in space.

    Parameters
    ----------
    count : int
        Spokes of the whole wheel; rim holes are evenly spaced, the valve hole midway between the last and the first.
    numbers : sequence of int
        The numbers of this side, rising. Its hub holes are evenly spaced.
    side, seat, flange
        The side, the rim's nipple seats and the side's flange.

    Notes
    -----
    A spoke running clockwise sits ``crosses`` hub holes behind its rim hole, one running the other way as many ahead.
    Where the rim holes of a side are not evenly spaced (two to one), the hub stands so that the differences average
    zero: turning it away from there would tighten the spokes of one sense and slacken those of the other.
    """
    pitch = 2 * math.pi / len(numbers)
    rim_angles = [2 * math.pi * (number - 0.5) / count for number in numbers]
    start = sum(angle - place * pitch for place, angle in enumerate(rim_angles)) / len(numbers)
    lines = []
    for place, (number, angle) in enumerate(zip(numbers, rim_angles, strict=True)):
        runs = _runs(place, flange)
        steps = {"clockwise": -flange.crosses, "counterclockwise": flange.crosses, None: 0}[runs]
        hub = _point(SIGN[side] * flange.offset_m, flange.circle_radius_m, start + (place + steps) * pitch)
        lines.append(SpokeLine(number, side, runs, hub, _point(seat.offset_m, seat.radius_m, angle)))
    return tuple(lines)


def crossings(line: SpokeLine, side_lines: Sequence[SpokeLine]) -> tuple[CrossingPlace, ...]:
    """Where this spoke crosses others of its side, as seen along the axle, from the hub outwards."""
    found = [place for other in side_lines if (place := _crossing(line, other)) is not None]
    return tuple(sorted(found, key=lambda place: place.from_hub_m))


def can_be_laced(holes: int, crosses: int, circle_radius_m: float, seat_radius_m: float) -> bool:
    """Whether a spoke of that many crosses leaves its hub hole outwards, without running through the flange."""
    turn = 2 * math.pi * crosses / holes
    return seat_radius_m * math.cos(turn) >= circle_radius_m


def side_tension_ratio(lines: Sequence[SpokeLine]) -> float | None:
    """Left tension over right for a rim at rest sideways, each side evenly tensioned.

    From n_R T_R sin(a_R) = n_L T_L sin(a_L), with the sines summed over the spokes of each side (statics of the rim).
    None where a side does not pull the rim to its own side, so that no tensions balance.
    """
    pull = {side: sum(math.sin(line.bracing_angle_rad) for line in lines if line.side == side) for side in SIGN}
    return pull["right"] / pull["left"] if min(pull.values()) > 0 else None


def _runs(place: int, flange: Flange) -> Runs | None:
    if flange.crosses == 0:
        return None
    if place % 2 == 0:
        return flange.first_runs
    return "counterclockwise" if flange.first_runs == "clockwise" else "clockwise"


def _point(x_m: float, radius_m: float, angle_rad: float) -> Vector:
    return (x_m, radius_m * math.sin(angle_rad), radius_m * math.cos(angle_rad))


def _crossing(line: SpokeLine, other: SpokeLine) -> CrossingPlace | None:
    """Where two lines cut each other in the wheel plane, if inside both; hub + s along, other hub + t along other."""
    if other.number == line.number:
        return None
    (a_y, a_z), (b_y, b_z) = _in_plane(line), _in_plane(other)
    cross = a_y * b_z - a_z * b_y
    if abs(cross) < 1e-12 * math.hypot(a_y, a_z) * math.hypot(b_y, b_z):
        return None
    gap_y, gap_z = other.hub_m[1] - line.hub_m[1], other.hub_m[2] - line.hub_m[2]
    along = (gap_y * b_z - gap_z * b_y) / cross
    along_other = (gap_y * a_z - gap_z * a_y) / cross
    if not (0 < along < 1 and 0 < along_other < 1):
        return None
    angle = math.atan2(abs(cross), a_y * b_y + a_z * b_z)
    return CrossingPlace(other.number, along * line.length_m, min(angle, math.pi - angle))


def _in_plane(line: SpokeLine) -> tuple[float, float]:
    return line.seat_m[1] - line.hub_m[1], line.seat_m[2] - line.hub_m[2]
