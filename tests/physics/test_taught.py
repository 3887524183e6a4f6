"""What a fitted side teaches: the series of its spokes, with the making and the ends that were found, and no wider than that."""

from __future__ import annotations

import dataclasses

import numpy as np
import pytest

from tensionear.physics.beam import BendingPlane, natural_frequencies
from tensionear.physics.believed import SHARED_ENDS, EndsPrior
from tensionear.physics.expectation import LOG_TENSION, expect, spoke_model
from tensionear.physics.inverse import GroupFit, fit_group
from tensionear.physics.modes import MODES
from tensionear.physics.spoke import Spoke
from tensionear.physics.taught import taught
from tests.physics.drawn import BLADE, ROUND, U_LENGTH_M, draw_side, heard

LENGTH_M = 0.28
TENSION_N = 900.0
ENDS = np.log([30.0, 18.0])  # hub and nipple, N m/rad
PLANES = np.array([[0.1, -0.2], [0.3, 0.2]])  # by which either plane's ends differ, hub and nipple


def fitted(spoke: Spoke) -> GroupFit:
    """A fit to six spokes."""
    rng = np.random.default_rng(1)
    side = draw_side(rng, spoke, LENGTH_M, rng.uniform(800, 1000, 6))
    model = spoke_model(spoke, LENGTH_M, U_LENGTH_M)
    return fit_group((model,), np.zeros(6, np.intp), heard(rng, side), EndsPrior())


def surely(fit: GroupFit, shared: np.ndarray) -> GroupFit:
    """The same fit, had it found just this of what the spokes share, and that exactly."""
    size = len(shared)
    return dataclasses.replace(
        fit, weight=np.ones(1), shared=shared[None], shared_covariance=1e-12 * np.eye(size)[None]
    )


@pytest.mark.parametrize("spoke", [ROUND, BLADE], ids=["round", "blade"])
def test_the_middle_of_the_grid_is_the_spoke_that_was_found(spoke: Spoke) -> None:
    model = spoke_model(spoke, LENGTH_M, U_LENGTH_M)
    away = np.array([2.0, -1.5, 1.0, 0.5, -1.0, 1.0])[: len(model.tolerances)]  # standard deviations
    shared = np.concatenate([ENDS, PLANES[0], PLANES[1], away])
    grid = taught(expect(spoke, LENGTH_M), model, surely(fitted(spoke), shared)).grid
    longer, heavier, *stiffer = np.exp(away @ model.tolerances)
    planes: tuple[BendingPlane, ...] = ("flat", "edge") if spoke.is_flat else ("flat",)
    for number, plane in enumerate(planes):
        pieces = [
            dataclasses.replace(
                piece,
                length_m=piece.length_m * longer,
                linear_density_kg_m=piece.linear_density_kg_m * heavier,
                flat_stiffness_n_m2=piece.flat_stiffness_n_m2 * stiffer[0],
                edge_stiffness_n_m2=piece.edge_stiffness_n_m2 * stiffer[1],
            )
            for piece in spoke.stretches(LENGTH_M)
        ]
        true = np.log(natural_frequencies(pieces, TENSION_N, *np.exp(ENDS + PLANES[number]), plane, MODES))
        middle = grid.log_frequency[number][:, 2]
        told = [np.interp(np.log(TENSION_N), LOG_TENSION, mode) for mode in middle.T]
        assert 1731.2 * np.abs(np.array(told) - true).max() < 0.1  # cents


@pytest.mark.parametrize("spoke", [ROUND, BLADE], ids=["round", "blade"])
def test_it_is_narrower_than_what_was_listened_for_at_first(spoke: Spoke) -> None:
    first = expect(spoke, LENGTH_M)
    model = spoke_model(spoke, LENGTH_M, U_LENGTH_M)
    grid = taught(first, model, fitted(spoke)).grid
    at = int(np.searchsorted(LOG_TENSION, np.log(TENSION_N)))
    wide, narrow = (np.ptp(each.log_frequency[0][at, :, 0]) for each in (first.grid, grid))
    assert 0.1 * wide < narrow < 0.7 * wide
    assert grid.alike == first.grid.alike
    assert len(model.tolerances) + SHARED_ENDS == fitted(spoke).shared.shape[1]
