"""The table of modes against the exact frequencies it stands for, and its slopes against differences."""

from __future__ import annotations

import dataclasses
import itertools
import math

import numpy as np
import pytest

from tensionear.catalogue import build_spoke
from tensionear.physics.beam import BendingPlane, natural_frequencies
from tensionear.physics.modes import HIGHEST_TENSION_N, LOWEST_TENSION_N, MODES, ModeTable, ends_tables, mode_table
from tensionear.physics.spoke import Spoke, Stretch

ROUND = build_spoke("round", {"material": "steel", "shape": "round", "diameter_mm": 2.0})
BUTTED = build_spoke(
    "butted",
    {
        "material": "steel",
        "shape": "butted",
        "end_diameter_mm": 2.0,
        "middle_diameter_mm": 1.5,
        "head_mm": 31.0,
        "tail_mm": 18.0,
    },
)
BLADE = build_spoke("blade", {"material": "carbon", "shape": "blade", "width_mm": 4.6, "thickness_mm": 1.2})

CASES: list[tuple[Spoke, float, BendingPlane]] = [
    (ROUND, 0.290, "flat"),
    (BUTTED, 0.255, "flat"),
    (BLADE, 0.270, "flat"),
    (BLADE, 0.270, "edge"),
]
IDS = ["round", "butted", "blade-flat", "blade-edge"]
TENSIONS_N = (100.0, 237.0, 612.0, 1333.0, 2600.0)
ENDS_N_M = (1.0, 6.3, 27.0, 140.0, 1000.0)


def cents(ratio: np.ndarray) -> np.ndarray:
    return np.abs(1200 * np.log2(ratio))


@pytest.fixture(scope="module", params=CASES, ids=IDS)
def case(request: pytest.FixtureRequest) -> tuple[Spoke, float, BendingPlane, ModeTable]:
    spoke, length_m, plane = request.param
    return spoke, length_m, plane, mode_table(spoke.stretches(length_m), plane)


def test_table_is_the_exact_beam_within_a_tenth_of_a_cent(
    case: tuple[Spoke, float, BendingPlane, ModeTable],
) -> None:
    spoke, length_m, plane, table = case
    ends = list(itertools.product(ENDS_N_M, ENDS_N_M))
    points = [(t, *ends[(7 * place + 3 * turn) % len(ends)]) for place, t in enumerate(TENSIONS_N) for turn in range(8)]
    found, _ = table.log_frequencies(*np.log(np.array(points)).T)
    assert found.shape == (len(points), MODES)
    for values, point in zip(found, points, strict=True):
        exact = natural_frequencies(spoke.stretches(length_m), *point, plane, MODES)
        away = cents(np.exp(values) / exact)
        assert away[exact < 20_000].max() < 0.1
        assert away[exact < 7_000].max() < 0.05  # as far up as partials are followed


def test_slopes_are_those_of_the_values(case: tuple[Spoke, float, BendingPlane, ModeTable]) -> None:
    table = case[3]
    rng = np.random.default_rng(3)
    at = np.log(np.array([rng.uniform(60, 2900, 20), rng.uniform(1, 300, 20), rng.uniform(1, 300, 20)]))
    _, slopes = table.log_frequencies(*at)
    assert slopes.shape == (3, 20, MODES)
    step = 1e-4
    for axis in range(3):
        shift = np.zeros((3, 1))
        shift[axis] = step
        upper, lower = table.log_frequencies(*(at + shift))[0], table.log_frequencies(*(at - shift))[0]
        np.testing.assert_allclose(slopes[axis], (upper - lower) / (2 * step), atol=2e-7)


def test_a_grid_of_equal_ends_is_the_same_table(case: tuple[Spoke, float, BendingPlane, ModeTable]) -> None:
    table = case[3]
    tensions, ends = np.log([60.0, 400.0, 1500.0, 3000.0]), np.log([0.5, 12.0, 500.0])
    grid = table.over_grid(tensions, ends)
    assert grid.shape == (4, 3, MODES)
    every_t, every_end = (each.ravel() for each in np.meshgrid(tensions, ends, indexing="ij"))
    single, _ = table.log_frequencies(every_t, every_end, every_end)
    np.testing.assert_allclose(grid.reshape(-1, MODES), single, atol=1e-12)


def test_pitch_rises_with_tension_and_with_either_end(case: tuple[Spoke, float, BendingPlane, ModeTable]) -> None:
    table = case[3]
    logs = np.log(np.geomspace(30, 3000, 15))
    ends = np.log(np.array([2.0, 20.0, 200.0]))
    for hub, nipple in itertools.product(ends, ends):
        _, slopes = table.log_frequencies(logs, np.full(15, hub), np.full(15, nipple))
        assert (slopes > 0).all()
        assert (slopes[0] < 0.5).all()  # a beam answers less than a string


def test_hub_and_nipple_are_told_apart_only_where_the_ends_differ() -> None:
    thick_hub = mode_table(BUTTED.stretches(0.255), "flat")
    alike = mode_table(ROUND.stretches(0.255), "flat")
    one, two = (np.log([300.0]), np.log([5.0]), np.log([80.0])), (np.log([300.0]), np.log([80.0]), np.log([5.0]))
    np.testing.assert_allclose(alike.log_frequencies(*one)[0], alike.log_frequencies(*two)[0], atol=1e-10)
    assert cents(np.exp(thick_hub.log_frequencies(*one)[0] - thick_hub.log_frequencies(*two)[0])).max() > 0.5


def test_limits_pinned_and_clamped() -> None:
    """From nearly no to nearly endless stiffness the table runs into the pinned and the clamped beam."""
    table, stretches = mode_table(ROUND.stretches(0.290), "flat"), ROUND.stretches(0.290)
    soft, hard = (table.log_frequencies(np.log([1000.0]), *[np.log([k])] * 2)[0][0] for k in (1e-4, 1e6))
    assert cents(np.exp(soft) / natural_frequencies(stretches, 1000.0, 0, 0, "flat", MODES)).max() < 0.1
    assert cents(np.exp(hard) / natural_frequencies(stretches, 1000.0, 1e9, 1e9, "flat", MODES)).max() < 0.1


def test_the_range_of_tension_is_stated() -> None:
    table = mode_table(ROUND.stretches(0.290), "flat")
    assert table.log_tension_range == (math.log(LOWEST_TENSION_N), math.log(HIGHEST_TENSION_N))


@pytest.mark.parametrize("plane", ["flat", "edge"])
def test_what_the_round_ends_of_a_flat_spoke_do(plane: BendingPlane) -> None:
    """Against the beam with ends 1 % heavier or stiffer; the wide middle is stiffer edgewise than its ends are."""
    sizes = {"end_diameter_mm": 1.8, "width_mm": 2.8, "thickness_mm": 0.9, "head_mm": 31.0, "tail_mm": 18.0}
    pieces = build_spoke("oval", {"material": "steel", "shape": "oval", **sizes}).stretches(0.262)
    assert pieces[1].edge_stiffness_n_m2 > pieces[0].edge_stiffness_n_m2

    def changed(**by: float) -> list[Stretch]:
        outer = [
            dataclasses.replace(each, **{key: getattr(each, key) * up for key, up in by.items()}) for each in pieces
        ]
        return [outer[0], pieces[1], outer[2]]

    heavier = changed(linear_density_kg_m=1.01)
    stiffer = changed(flat_stiffness_n_m2=1.01, edge_stiffness_n_m2=1.01)
    tables = ends_tables(pieces, (0, -1), plane, mode_table(pieces, plane))
    for point in ((120.0, 5.0, 140.0), (950.0, 27.0, 27.0)):
        plain = natural_frequencies(pieces, *point, plane, 8)
        for table, other in zip(tables, (heavier, stiffer), strict=True):
            found = table.log_frequencies(*np.log(np.array([point])).T)[0][0, :8]
            exact = np.log(natural_frequencies(other, *point, plane, 8) / plain) / math.log(1.01)
            np.testing.assert_allclose(found, exact, atol=6e-4)
