"""Tying a fit to known tensions: against the dense algebra, in its limits, and on drawn sides."""

from __future__ import annotations

import dataclasses

import numpy as np
import pytest

from tensionear.physics.believed import EndsPrior, flat_prior
from tensionear.physics.expectation import spoke_model
from tensionear.physics.inverse import GroupFit, fit_group
from tensionear.physics.known import Carried, KnownTensions, carry, foretold, inform, posterior, tie, tolerances_of
from tests.physics.drawn import ROUND, U_LENGTH_M, draw_side, heard

LENGTH_M = 0.270
SPOKES = 8


def fitted(seed: int) -> tuple[GroupFit, np.ndarray]:
    rng = np.random.default_rng(seed)
    side = draw_side(rng, ROUND, LENGTH_M, 900.0 * (1 + 0.06 * rng.normal(size=SPOKES)))
    model = spoke_model(ROUND, LENGTH_M, U_LENGTH_M)
    return fit_group((model,), np.zeros(SPOKES, np.intp), heard(rng, side), EndsPrior()), np.log(side.tension_n)


@pytest.fixture(scope="module")
def one() -> tuple[GroupFit, np.ndarray]:
    return fitted(4)


def known(logs: np.ndarray, at: list[int], sd: float = 0.01, common: float = 0.0, off: float = 0.0) -> KnownTensions:
    return KnownTensions(np.array(at), logs[at] + off, np.full(len(at), sd), common)


def test_one_part_is_the_dense_conditional_gaussian(one: tuple[GroupFit, np.ndarray]) -> None:
    """Mean and covariance of ln T given y by the textbook formula, with the gauge's shared error in y's covariance."""
    fit, truth = one
    best = int(np.argmax(fit.weight))
    fields = ("weight", "log_tension", "individual", "loading", "shared", "shared_covariance")
    part = dataclasses.replace(fit, **{name: getattr(fit, name)[best : best + 1] for name in fields})
    part = dataclasses.replace(part, weight=np.ones(1))
    told = known(truth, [1, 4, 6], 0.012, 0.02, 0.01)
    _, prior = foretold(part, np.arange(SPOKES))
    spread = prior[np.ix_(told.at, told.at)] + np.diag(told.own_sd**2) + told.common_sd**2
    gain = prior[:, told.at] @ np.linalg.inv(spread)
    mean = part.log_tension[0] + gain @ (told.log_tension - part.log_tension[0, told.at])
    tied_mean, tied = foretold(tie(part, told), np.arange(SPOKES))
    assert tied_mean == pytest.approx(mean, abs=1e-12)
    assert tied == pytest.approx(prior - gain @ prior[told.at], abs=1e-12)


def test_values_known_to_nobody_change_nothing(one: tuple[GroupFit, np.ndarray]) -> None:
    fit, truth = one
    for told in (known(truth, [0, 3], sd=100.0, off=0.1), known(truth, [0, 3], common=100.0, off=0.1)):
        before, after = fit.moments(), tie(fit, told).moments()
        assert after[0].mean() == pytest.approx(before[0].mean(), abs=1e-4)
    assert after[1] == pytest.approx(before[1], rel=0.02)


@pytest.mark.parametrize("seed", range(6))
def test_three_known_values_bring_the_others_along(seed: int) -> None:
    fit, truth = fitted(seed)
    tied = tie(fit, known(truth, [0, 3, 6], 0.002))
    rest = [1, 2, 4, 5, 7]
    mean, sd, _ = tied.moments()
    assert np.abs(mean - truth)[rest].max() < 0.006
    assert sd[rest].max() < 0.5 * fit.moments()[1][rest].max()


def test_a_level_beyond_the_sound_is_seen_in_length_and_making(one: tuple[GroupFit, np.ndarray]) -> None:
    fit, truth = one
    higher = tie(fit, known(truth, [0, 3, 6], 0.002, off=0.02))
    mean, _ = tolerances_of(posterior(higher))
    usual, _ = tolerances_of(posterior(tie(fit, known(truth, [0, 3, 6], 0.002))))
    moved = dict(zip(fit.sources, mean - usual, strict=True))
    assert moved["length"] > 0.2
    assert moved["density"] > 0.2


def test_what_is_carried_is_less_sure_and_never_surer_than_nothing_known(one: tuple[GroupFit, np.ndarray]) -> None:
    fit, truth = one
    learned = posterior(tie(fit, known(truth, [0, 3, 6])))
    held = carry(learned, Carried())
    assert np.all(
        np.diagonal(held.covariance, axis1=1, axis2=2) >= np.diagonal(learned.covariance, axis1=1, axis2=2) - 1e-12
    )
    assert carry(learned, Carried(0.0, 1.0)).covariance == pytest.approx(learned.covariance)
    lost = carry(learned, Carried(0.0, 0.0))
    assert lost.mean[:, 6:] == pytest.approx(0.0)
    assert lost.covariance[:, 6:, 6:] == pytest.approx(np.broadcast_to(np.eye(4), (len(lost.weight), 4, 4)))


def test_another_measurement_of_the_tolerances() -> None:
    """Told nothing, nothing changes; told all, it is believed."""
    flat = flat_prior(EndsPrior(), 3)
    same = inform(flat, np.zeros(3), np.eye(3))
    assert (same.mean, same.covariance) == (pytest.approx(flat.mean), pytest.approx(flat.covariance))
    told = inform(flat, np.array([0.5, -1.0, 0.0]), np.diag([0.01, 0.04, 1.0]))
    mean, covariance = tolerances_of(told)
    assert mean == pytest.approx([0.5, -1.0, 0.0])
    assert np.diag(covariance) == pytest.approx([0.01, 0.04, 1.0])
