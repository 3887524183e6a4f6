"""What is listened for in a described spoke: the grid is the beam, the tables and tolerances are the spoke's."""

from __future__ import annotations

import math

import numpy as np
import pytest

from tensionear.catalogue import build_spoke
from tensionear.physics.beam import natural_frequencies
from tensionear.physics.expectation import (
    END_SHARES,
    LOG_TENSION,
    bending_planes,
    expect,
    spoke_model,
    spoke_tables,
    usual_stretch,
)
from tensionear.physics.stretch import stretch_of_first_mode
from tests.physics.drawn import BLADE, ROUND


def test_planes_of_round_and_flat_spokes() -> None:
    assert bending_planes(ROUND) == ("flat",)
    assert bending_planes(BLADE) == ("flat", "edge")
    flat, edge = spoke_tables(ROUND, 0.29)
    assert flat is edge
    flat, edge = spoke_tables(BLADE, 0.27)
    assert edge.middle_stiffness_n_m == pytest.approx(flat.middle_stiffness_n_m * 4.6 / 1.2, rel=1e-6)


def test_the_grid_covers_40_to_3000_n_in_steps_finer_than_a_fifth_of_a_percent_of_pitch() -> None:
    assert np.exp(LOG_TENSION[[0, -1]]) == pytest.approx([40.0, 3000.0], rel=0.005)
    assert np.diff(LOG_TENSION).max() <= 0.0040001
    assert ((END_SHARES > 0) & (END_SHARES < 1)).all()


@pytest.mark.parametrize(("spoke", "length_m"), [(ROUND, 0.29), (BLADE, 0.27)])
def test_the_grid_holds_the_frequencies_of_the_spoke(spoke, length_m) -> None:
    grid = expect(spoke, length_m).grid
    assert grid.alike is not spoke.is_flat
    tables = spoke_tables(spoke, length_m)
    for plane, name in enumerate(("flat", "edge")):
        for state, end in ((100, 0), (700, 7), (1000, 15)):
            k = tables[plane].middle_stiffness_n_m * END_SHARES[end] / (1 - END_SHARES[end])
            exact = natural_frequencies(spoke.stretches(length_m), math.exp(LOG_TENSION[state]), k, k, name, 5)
            np.testing.assert_allclose(grid.log_frequency[plane][state, end, :5], np.log(exact), atol=1e-4)


def test_usual_stretch_is_that_of_half_a_millimetre() -> None:
    axial = ROUND.stretches(0.29)[0].axial_stiffness_n
    found = usual_stretch(axial, 0.29)
    for at in (0, 500, 1000):
        tension_n = math.exp(LOG_TENSION[at])
        assert found[at] == pytest.approx(stretch_of_first_mode(axial, tension_n, 0.45e-3, 0.29))
    assert expect(ROUND, 0.29).stretch == pytest.approx(found)


def test_the_model_has_the_tolerances_of_the_spoke() -> None:
    """Length 0.5 of 290 mm; modulus 2 % on stiffness; diameter 0.3 %: 2 on mass, 4 on stiffness."""
    spoke = build_spoke(
        "s",
        {
            "material": "steel",
            "shape": "round",
            "diameter_mm": 2.0,
            "u_density_percent": 0.5,
            "u_modulus_percent": 2.0,
            "u_diameter_percent": 0.3,
        },
    )
    model = spoke_model(spoke, 0.290, 0.0005)
    assert model.sources == ("length", "modulus", "density", "diameter")
    np.testing.assert_allclose(
        model.tolerances,
        [
            [0.5 / 290, 0, 0, 0],
            [0, 0, 0.02, 0.02],
            [0, 0.005, 0, 0],
            [0, 0.006, 0.012, 0.012],
        ],
    )
    assert model.tables == spoke_tables(spoke, 0.290)


def test_all_is_made_once() -> None:
    assert expect(ROUND, 0.29) is expect(ROUND, 0.29)
    assert spoke_model(ROUND, 0.29, 0.0005) is spoke_model(ROUND, 0.29, 0.0005)
    assert expect(ROUND, 0.29) is not expect(ROUND, 0.291)
