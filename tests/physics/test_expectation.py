"""What is listened for in a described spoke: the grid is the beam, the tables and tolerances are the spoke's."""

from __future__ import annotations

import math

import numpy as np
import pytest

from tensionear.catalogue import build_spoke, library_spoke
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


def test_a_flat_spoke_s_round_ends_change_by_themselves() -> None:
    """Width and thickness are the middle's, the diameter is the ends'; a round spoke is drawn as a whole."""
    spoke = library_spoke("steel-oval-2.3x1.0")
    model = spoke_model(spoke, 0.270, 0.0005)
    assert model.sources == ("length", "modulus", "density", "width", "thickness", "end diameter")
    u_d = spoke.u_diameter_percent / 100
    np.testing.assert_allclose(model.tolerances[5], 0)
    assert (model.tolerances[3:5, 1:] > 0).all()
    assert model.thick_ends is not None
    np.testing.assert_allclose(model.thick_ends.beyond[:3], 0)
    whole = model.tolerances[3:, 1:] + model.thick_ends.beyond[3:]
    np.testing.assert_allclose(whole, [[0, 0, 0], [0, 0, 0], [2 * u_d, 4 * u_d, 4 * u_d]], atol=1e-15)
    assert spoke_model(BLADE, 0.270, 0.0005).thick_ends is None
    butted = library_spoke("steel-butted-2.0-1.8")
    assert spoke_model(butted, 0.270, 0.0005).thick_ends is None


@pytest.mark.parametrize("key", ["width_mm", "thickness_mm", "end_diameter_mm"])
def test_tolerances_of_a_weighed_flat_spoke_are_those_of_its_sizes(key: str) -> None:
    """A size half a percent up, by its tolerance and by building the spoke so."""
    keys = {"material": "steel", "shape": "oval", "width_mm": 2.3, "thickness_mm": 1.0, "end_diameter_mm": 2.0}
    keys |= {"head_mm": 28.0, "tail_mm": 22.0, "mass_g": 4.9, "whole_length_mm": 272.0}
    keys |= {"u_width_percent": 0.5, "u_thickness_percent": 0.5, "u_diameter_percent": 0.5}
    source = {"end_diameter_mm": "end diameter"}.get(key, key.removesuffix("_mm"))
    told = next(each for each in build_spoke("s", keys).tolerances() if each.source == source)
    plain, bigger = (build_spoke("s", {**keys, key: keys[key] * up}).stretches(0.270) for up in (1.0, 1.005))
    assert told.ends is not None
    for at, mass in ((0, told.ends[0]), (1, told.linear_density)):
        assert bigger[at].linear_density_kg_m / plain[at].linear_density_kg_m - 1 == pytest.approx(mass, abs=1e-4)
    assert bigger[0].flat_stiffness_n_m2 / plain[0].flat_stiffness_n_m2 - 1 == pytest.approx(told.ends[1], abs=2e-4)
    assert bigger[1].flat_stiffness_n_m2 / plain[1].flat_stiffness_n_m2 - 1 == pytest.approx(
        told.flat_stiffness, abs=2e-4
    )


def test_all_is_made_once() -> None:
    assert expect(ROUND, 0.29) is expect(ROUND, 0.29)
    assert spoke_model(ROUND, 0.29, 0.0005) is spoke_model(ROUND, 0.29, 0.0005)
    assert expect(ROUND, 0.29) is not expect(ROUND, 0.291)
