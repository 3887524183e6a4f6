"""The answer of rim and spokes to turns: symmetry, limits, rigid motions, and an independent frame of finite elements."""

from __future__ import annotations

import time
from dataclasses import replace

import numpy as np
import pytest

from benchmarks.simulator.frame import PER_GAP, Frame, RimBeam
from tensionear.errors import InputError
from tensionear.wheel.mechanics import (
    axial_stiffness_n_m,
    check_stable,
    hoop_compression_n,
    influence,
    moved_by,
    scaled,
    skeleton_of,
    spoke_stiffness_n_m,
)
from tensionear.wheel.ringbeam import rigid
from tensionear.wheel.stand import targets_n
from tensionear.wheel.wheelfile import parse_wheel
from tests.wheel.turning import cart, text


def skeleton(spokes: int = 20, crosses: int = 2, offset: float = 0.0):
    wheel = cart(spokes, crosses, offset)
    return skeleton_of(wheel, wheel.rim.stiffness), targets_n(wheel, {})[0], wheel


def tilt(radius_m: float, about_rad: float) -> np.ndarray:
    """A rigid rotation by one radian as coefficients of harmonics 0 and 1: u = R cos(theta - about), phi = -u/R."""
    found = np.zeros(12)
    for start, size in ((6, radius_m), (9, -1.0)):
        found[start + 1], found[start + 2] = size * np.cos(about_rad), size * np.sin(about_rad)
    return found


@pytest.mark.parametrize("crosses", [0, 2])
@pytest.mark.parametrize("offset", [0.0, -2.5])
@pytest.mark.parametrize("about", [0.0, 0.4, 1.3, 2.2])
def test_a_rigid_rotation_of_rim_and_hub_stores_no_energy(crosses, offset, about):
    one, tension, wheel = skeleton(36, crosses, offset)
    motion = tilt(one.radius_m, about)
    elastic = rigid(one.section, one.radius_m, 0.0, one.angles_rad).stiffness
    assert abs(motion @ elastic @ motion) < 1e-9 * np.abs(motion) @ np.abs(elastic) @ np.abs(motion)
    pressed = rigid(one.section, one.radius_m, hoop_compression_n(one, tension), one.angles_rad)
    hoop = 0.5 * motion @ (pressed.stiffness - elastic) @ motion
    axis = np.array([0.0, np.cos(about), -np.sin(about)])  # turns z to x: u = R cos(theta - about)
    hubs = np.array([place.line.hub_m for place in wheel.places])
    along = np.array([place.line.seat_m for place in wheel.places]) - hubs
    angles = one.angles_rad
    local = np.stack(
        [  # outward, along the rim, to the right
            np.column_stack([0 * angles, np.sin(angles), np.cos(angles)]),
            np.column_stack([0 * angles, np.cos(angles), -np.sin(angles)]),
            np.tile([1.0, 0.0, 0.0], (36, 1)),
        ],
        axis=1,
    )
    apart = np.einsum("iab,ib->ia", local, np.cross(axis, along))  # seat against hub hole
    spokes = 0.5 * float(np.einsum("ia,iab,ib", apart, spoke_stiffness_n_m(one, tension), apart))
    units = along / np.linalg.norm(along, axis=1)[:, None]
    second_order = 0.5 * np.cross(axis, np.cross(axis, hubs))
    follower = -float(np.sum(tension[:, None] * units * second_order))
    assert spokes > 100
    assert abs(spokes + hoop + follower) < 1e-3 * spokes
    assert abs(spokes + follower) > 0.5 * spokes  # without the rim's own part it would cost a lot


@pytest.mark.parametrize("offset", [0.0, -2.5])
def test_invariants_of_the_influence(offset):
    one, tension, _ = skeleton(36, 3, offset)
    answer = influence(one, tension)
    scale = np.abs(answer.tension_n).max()
    assert answer.tension_n == pytest.approx(answer.tension_n.T, abs=1e-9 * scale)
    assert np.all(np.diag(answer.tension_n) > 0)
    assert np.all(np.diag(answer.tension_n) < one.stiffness_n_m * one.pitch_m)
    assert answer.dish_m == pytest.approx(answer.lateral_m.mean(axis=0))
    assert np.all(answer.dish_m[0::2] > 0)  # the right side pulls to the right
    assert np.all(answer.dish_m[1::2] < 0)
    for shift in range(0, 36, 4):  # circulant by pairs of spokes of one sense
        assert np.roll(answer.tension_n[:, 0], shift) == pytest.approx(answer.tension_n[:, shift], abs=1e-6 * scale)


def test_changes_of_untensioned_spokes_balance():
    """Without prestress the changes alone hold the rim: no net force or moment."""
    one, tension, _ = skeleton(36, 3)
    change = influence(one, tension * 1e-9).tension_n[:, 5]
    outward, along, sideways = (one.directions * change[:, None]).T
    angles = one.angles_rad
    scale = np.abs(change).sum()
    forces = [
        np.sum(outward * np.sin(angles) + along * np.cos(angles)),
        np.sum(outward * np.cos(angles) - along * np.sin(angles)),
        np.sum(sideways),
        np.sum(along),
        np.sum(sideways * np.cos(angles)),
        np.sum(sideways * np.sin(angles)),
    ]
    assert forces == pytest.approx([0.0] * 6, abs=1e-7 * scale)


def push_sideways(spokes: int) -> np.ndarray:
    """1 N to the right at the third spoke."""
    loads = np.zeros((3 * spokes, 1))
    loads[2 * spokes + 2] = 1.0
    return loads


def test_lateral_stiffness_falls_as_tension_rises():
    one, tension, _ = skeleton(36, 3)
    stiffness = [1 / moved_by(one, level * tension, push_sideways(36)).lateral[2, 0] for level in (0.0, 0.5, 1.0)]
    assert stiffness[0] > 1.01 * stiffness[1] > 1.02 * stiffness[2]


def test_what_moves_what_is_mutual():
    """Betti and Maxwell: the seats' movement under unit loads is a symmetric matrix, whatever the wheel."""
    one, tension, _ = skeleton(36, 3, -2.5)
    uneven = tension * (1 + 0.2 * np.sin(np.arange(36) ** 2))
    seats = np.vstack(moved_by(one, uneven, np.eye(108)).seats)
    assert seats == pytest.approx(seats.T, abs=1e-9 * np.abs(seats).max())
    assert np.all(np.linalg.eigvalsh(seats) > 0)


def test_the_axis_moves_with_the_seats_where_they_lie_on_it():
    one, tension, _ = skeleton(20, 2, 0.0)
    moved = moved_by(one, tension, np.eye(60))
    assert moved.radial == pytest.approx(moved.seats[0], abs=1e-12)
    assert moved.lateral == pytest.approx(moved.seats[2], abs=1e-12)


def test_a_stiffer_rim_shares_less():
    one, tension, _ = skeleton(36, 3)
    own = [influence(scaled(one, np.full(4, by)), tension).tension_n[0, 0] for by in (-0.3, 0.0, 0.3)]
    assert own[0] < own[1] < own[2]


def test_a_rim_too_soft_is_said():
    one, tension, _ = skeleton(36, 3)
    with pytest.raises(InputError, match=r"a rim this soft would buckle under .* N a spoke; check"):
        check_stable(scaled(one, np.full(4, -3.0)), 3 * tension)
    check_stable(one, tension)


def test_spokes_in_stretches_are_springs_in_series():
    place = cart().place(1)
    (piece,) = place.spoke.stretches(place.free_length_m)
    assert axial_stiffness_n_m(place) == pytest.approx(piece.axial_stiffness_n / place.free_length_m)


def test_a_wheel_without_geometry_is_refused():
    told = text().replace("seat_diameter_mm = 560.0\n", "").replace("flange_offset_mm = 20.0\n", "")
    wheel = parse_wheel(told.replace("hub_circle", "free_length_mm = 270\nhub_circle"), "cart")
    with pytest.raises(InputError, match=r"add \[rim\] seat_diameter_mm, \[right\] flange_offset_mm to the wheel file"):
        skeleton_of(wheel, cart().rim.stiffness)


def test_fast_enough():
    one, tension, _ = skeleton(36, 3)
    taken = []
    for _ in range(5):
        start = time.process_time()
        influence(one, tension)
        taken.append(time.process_time() - start)
    assert min(taken) <= 0.050


def framed(spokes: int, crosses: int, offset: float):
    """The even wheel in the frame model."""
    one, tension, wheel = skeleton(spokes, crosses, offset)
    section = one.section
    rim = RimBeam(
        section.ea_n, section.ei_radial_n_m2, section.ei_lateral_n_m2, section.gj_n_m2, one.radius_m, one.seat_offset_m
    )
    hubs = np.array([place.line.hub_m for place in wheel.places])
    frame = Frame(rim, hubs, one.stiffness_n_m * one.lengths_m, np.zeros((PER_GAP * spokes, 2)))
    state = frame.shorten(0.7 * tension / one.stiffness_n_m)
    for _ in range(8):
        state = frame.shorten((tension - state.tension_n) / one.stiffness_n_m)
    return frame, state, one


@pytest.mark.parametrize(("spokes", "crosses", "offset"), [(36, 3, 0.0), (28, 0, 0.0), (28, 2, -2.5)])
def test_against_a_frame_of_finite_elements(spokes, crosses, offset):
    """An independent nonlinear frame of straight beams: within 1 % of the largest change, each quantity."""
    frame, state, one = framed(spokes, crosses, offset)
    answer = influence(one, state.tension_n)
    turned = np.zeros(spokes)
    turned[4] = 0.25 * one.pitch_m
    after = frame.shorten(turned)
    for name, column in (
        ("tension_n", answer.tension_n[:, 4]),
        ("lateral_m", answer.lateral_m[:, 4]),
        ("radial_m", answer.radial_m[:, 4]),
    ):
        change = getattr(after, name) - getattr(state, name)
        assert 0.25 * column == pytest.approx(change, abs=0.01 * np.abs(change).max()), name


def test_the_frame_needs_the_prestress_to_agree():
    """Leave the prestress out of the model and the frame tells: the comparison above can fail."""
    frame, state, one = framed(36, 3, 0.0)
    turned = np.zeros(36)
    turned[4] = 0.25 * one.pitch_m
    change = frame.shorten(turned).lateral_m - state.lateral_m
    slack = influence(one, 1e-6 * state.tension_n).lateral_m[:, 4]
    assert np.max(np.abs(0.25 * slack - change)) > 0.02 * np.abs(change).max()


def test_an_offset_bed_twists_the_rim():
    one, tension, _ = skeleton(36, 3, -2.5)
    level = influence(replace(one, seat_offset_m=0.0), tension)
    assert np.max(np.abs(influence(one, tension).lateral_m - level.lateral_m)) > 1e-3 * np.abs(level.lateral_m).max()
