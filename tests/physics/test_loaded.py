"""A loaded spoke's frequencies against finite elements with the same masses, and against the bare spoke's."""

from __future__ import annotations

import math

import numpy as np
import pytest

from benchmarks.simulator.beam import Beam, PointMass, Segment, modes
from tensionear.physics.beam import BendingPlane, natural_frequencies
from tensionear.physics.loaded import HALVES_M, MODES, PLACES, RATIOS, deflection_rows, loaded_table, mass_of
from tensionear.physics.spoke import Spoke
from tests.physics.test_modes import BLADE, BUTTED, ROUND

TENSION_N, HUB, NIPPLE = 900.0, 22.0, 60.0
NODE_RATIO = RATIOS[0] * (RATIOS[1] / RATIOS[0]) ** (8 / 12)  # the ninth of 13 nodes
CASES: list[tuple[Spoke, float, BendingPlane]] = [
    (ROUND, 0.290, "flat"),
    (BUTTED, 0.255, "flat"),
    (BLADE, 0.270, "edge"),
]


def cents(found: object, wanted: object) -> np.ndarray:
    return 1200 / math.log(2) * (np.asarray(found) - np.log(np.asarray(wanted)))


@pytest.mark.parametrize(("spoke", "length_m", "plane"), CASES, ids=["round", "butted", "blade-edge"])
@pytest.mark.parametrize("place", [0.30, 0.62])
def test_against_finite_elements(spoke: Spoke, length_m: float, plane: BendingPlane, place: float) -> None:
    pieces = spoke.stretches(length_m)
    table = loaded_table(pieces, plane, math.log(HUB), math.log(NIPPLE), math.log(TENSION_N))
    half = HALVES_M[1]
    own_kg = mass_of(pieces)
    assert own_kg == pytest.approx(sum(piece.length_m * piece.linear_density_kg_m for piece in pieces))
    for ratio in (RATIOS[0], NODE_RATIO, RATIOS[1]):
        stiff = [piece.flat_stiffness_n_m2 if plane == "flat" else piece.edge_stiffness_n_m2 for piece in pieces]
        segments = tuple(
            Segment(piece.length_m, ei, piece.linear_density_kg_m) for piece, ei in zip(pieces, stiff, strict=True)
        )
        masses = tuple(PointMass(place * length_m + sign * half, ratio * own_kg / 2) for sign in (-1, 1))
        truth = modes(Beam(segments, TENSION_N, HUB, NIPPLE, masses), 6).frequency_hz
        state = np.array([math.log(TENSION_N), math.log(ratio), place, half])
        # Between nodes of the place the table is linear.
        assert np.abs(cents(table.log_frequencies(state)[:3], truth[:3])).max() < 30
        node = np.argmin(np.abs(np.linspace(*PLACES, 39) - place))
        at_node = float(np.linspace(*PLACES, 39)[node])
        masses = tuple(PointMass(at_node * length_m + sign * half, ratio * own_kg / 2) for sign in (-1, 1))
        truth = modes(Beam(segments, TENSION_N, HUB, NIPPLE, masses), 6).frequency_hz
        state[2] = at_node
        assert np.abs(cents(table.log_frequencies(state)[:6], truth)).max() < 15


def test_a_light_load_hardly_matters_and_a_heavy_one_drags_every_mode_down() -> None:
    pieces = ROUND.stretches(0.290)
    bare = np.log(natural_frequencies(pieces, TENSION_N, HUB, NIPPLE, "flat", MODES))
    table = loaded_table(pieces, "flat", math.log(HUB), math.log(NIPPLE), math.log(TENSION_N))
    light, heavy = (
        table.log_frequencies(np.array([math.log(TENSION_N), math.log(ratio), 0.41, HALVES_M[0]])) for ratio in RATIOS
    )
    assert (light <= bare + 1e-6).all()
    assert (light > bare - 0.05).all()
    assert (heavy <= light).all()
    assert heavy[0] < bare[0] - 0.8


@pytest.mark.parametrize("spoke", [ROUND, BUTTED])
def test_deflections_of_a_straight_line_are_its_heights(spoke: Spoke) -> None:
    """The rows, given the slopes of a bent-free shape that is zero at both ends, are zero; a hub slope alone is its cubic."""
    pieces = spoke.stretches(0.255)
    first = pieces[0].length_m
    places = np.array([0.25, 0.5, 0.75]) * first
    rows = deflection_rows(pieces, places)
    s = places / first
    assert rows[:, 0] == pytest.approx(first * (s - 2 * s**2 + s**3))
    assert deflection_rows(pieces, np.array([0.2 * first]))[0, 0] != 0
