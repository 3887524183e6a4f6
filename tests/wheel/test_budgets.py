"""The uncertainty budget: it adds up to u, and its sensitivities are those of the fit done anew."""

from __future__ import annotations

import math

import numpy as np
import pytest

from tensionear.physics.expectation import spoke_model
from tensionear.physics.inverse import EndsPrior, GroupFit, Partials, SharedPrior, fit_group
from tensionear.physics.spoke import Spoke
from tensionear.reading import BudgetLine
from tensionear.wheel.budgets import Stated, budget_of
from tests.physics.drawn import BLADE, ROUND, U_LENGTH_M, draw_side, heard

LENGTH_M = 0.280


def fitted(
    data: Partials, length_m: float = LENGTH_M, u_length_m: float = U_LENGTH_M, spoke: Spoke = ROUND
) -> GroupFit:
    model = spoke_model(spoke, length_m, u_length_m)
    return fit_group((model,), np.zeros(len(data.start_log_tension), np.intp), data, EndsPrior())


def side_of(spokes: int, spoke: Spoke = ROUND) -> Partials:
    rng = np.random.default_rng(11)
    return heard(rng, draw_side(rng, spoke, LENGTH_M, rng.uniform(700, 900, spokes)))


def budget(fit: GroupFit, spoke: Spoke = ROUND) -> tuple[tuple[BudgetLine, ...], float, float, float]:
    """Lines, tension, and the individual and common part of its standard deviation, N."""
    mean, sd, own = (float(values[0]) for values in fit.moments())
    value = math.exp(mean)
    common = math.sqrt(sd**2 - own**2)
    stated = Stated(spoke, LENGTH_M, U_LENGTH_M, (), value, value * own, value * common)
    return budget_of(fit, 0, stated), value, value * own, value * common


def total(lines: tuple[BudgetLine, ...], own: bool) -> float:
    return math.hypot(*(line.contribution_n for line in lines if line.own is own))


@pytest.mark.parametrize("spokes", [1, 12])
@pytest.mark.parametrize("spoke", [ROUND, BLADE], ids=["round", "blade"])
def test_squares_add_up_to_both_parts_of_u(spokes: int, spoke: Spoke) -> None:
    """The shares do so of themselves: no line is scaled for it."""
    fit = fitted(side_of(spokes, spoke), spoke=spoke)
    lines, _, own, common = budget(fit, spoke)
    assert total(lines, True) == pytest.approx(own, rel=1e-9)
    assert total(lines, False) == pytest.approx(common, rel=1e-9)
    assert (fit.weight @ fit.own_share[:, 0]).sum() == pytest.approx(fit.weight @ fit.individual[:, 0], rel=1e-9)
    mean = fit.weight @ fit.log_tension[:, 0]
    between = fit.weight @ (fit.log_tension[:, 0] - mean) ** 2
    shared = (fit.weight @ fit.common_share[:, 0]).sum()
    assert shared + between + fit.weight @ fit.individual[:, 0] == pytest.approx(fit.moments()[1][0] ** 2, rel=1e-9)
    assert (fit.weight @ fit.common_share[:, 0] >= 0).all()


@pytest.mark.parametrize("spokes", [1, 12])
def test_the_sensitivity_to_length_is_that_of_the_fit_done_anew(spokes: int) -> None:
    """A spoke stated 0.5 mm longer, all else as it was."""
    data = side_of(spokes)
    lines, value, *_ = budget(fitted(data))
    (length,) = (line for line in lines if line.source == "length")
    assert (length.unit, length.value, length.u) == ("mm", 280.0, 0.5)
    longer = math.exp(fitted(data, LENGTH_M + U_LENGTH_M).moments()[0][0])
    assert abs(longer - value) == pytest.approx((length.sensitivity_n or 0.0) * 0.5, rel=0.15)


def test_a_length_known_worse_contributes_more() -> None:
    data = side_of(12)
    by_length = [
        next(line.contribution_n for line in budget(fitted(data, u_length_m=u))[0] if line.source == "length")
        for u in (0.5e-3, 1e-3)
    ]
    assert 1.3 * by_length[0] < by_length[1] < 2 * by_length[0]  # less than twice: the sound tells of it too


def test_what_was_learned_is_one_line() -> None:
    data = side_of(12)
    fit = fitted(data)
    learned = SharedPrior(fit.weight, fit.shared, fit.shared_covariance)
    model = spoke_model(ROUND, LENGTH_M, U_LENGTH_M)
    again = fit_group((model,), np.zeros(12, np.intp), data, EndsPrior(), learned)
    lines, _, own, common = budget(again)
    assert {line.source for line in lines if not line.own} == {"ends and making, calibrated", "sound of spokes fitted"}
    assert total(lines, False) == pytest.approx(common)
    assert total(lines, True) == pytest.approx(own)
