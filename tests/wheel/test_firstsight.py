"""What a wheel tells of its rim before the first turn."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from tensionear.wheel.firstsight import at_first_sight
from tensionear.wheel.learning import RimKnowledge, answer_of
from tensionear.wheel.mechanics import skeleton_of
from tensionear.wheel.stand import Readings, rows_of, seen, targets_n
from tests.wheel.turning import cart, prior, spoilt

COUNT = 20


def random_turns(seed: int) -> dict[int, float]:
    chance = np.random.default_rng(seed)
    return {spoke: float(0.25 * chance.standard_normal()) for spoke in range(1, COUNT + 1)}


def told_by(readings: Readings, known: RimKnowledge | None = None) -> RimKnowledge:
    wheel = cart()
    stiffness = wheel.rim.stiffness
    assert stiffness is not None
    target, _ = targets_n(wheel, readings.tensions_n)
    what = seen(rows_of(wheel, readings), readings.dish_m, target)
    return at_first_sight(skeleton_of(wheel, stiffness), known or prior(wheel), target, what)


@pytest.mark.parametrize("true", [(0.0, 0.45, 0.0, 0.0), (0.0, -0.45, 0.0, 0.0)])
def test_a_rim_stiffer_or_softer_than_its_class_shows(true: tuple[float, ...]) -> None:
    found = told_by(spoilt(cart(), random_turns(4), true))
    u = np.sqrt(np.diag(found.covariance))
    assert u[1] < 0.8 * np.sqrt(prior(cart()).covariance[1, 1])
    assert abs(found.log_factors[1] - true[1]) < 0.6 * abs(true[1])
    assert np.all(np.abs(found.log_factors - true) < 3 * u)


def test_the_mean_tells_nothing_of_the_axial_stiffness() -> None:
    found = told_by(spoilt(cart(), random_turns(4), (0.5, 0.0, 0.0, 0.0)))
    assert abs(found.log_factors[0]) < 0.1
    assert np.sqrt(found.covariance[0, 0]) > 0.9 * np.sqrt(prior(cart()).covariance[0, 0])


def test_what_is_known_is_never_lost() -> None:
    """From a pass the rim is known to 2 %: a look at the wheel does not move it far, nor make it more doubtful."""
    known = RimKnowledge(np.array([0.1, 0.3, -0.2, 0.0]), 0.02**2 * np.eye(4))
    found = told_by(spoilt(cart(), random_turns(4)), known)
    assert np.all(np.abs(found.log_factors - known.log_factors) <= 3 * 0.02)
    assert np.all(np.linalg.eigvalsh(known.covariance - found.covariance) > -1e-12)


@pytest.mark.parametrize("missing", ["tensions_n", "lateral_m", "radial_m"])
def test_one_kind_of_reading_missing_teaches_nothing(missing: str) -> None:
    start = prior(cart())
    found = told_by(replace(spoilt(cart(), random_turns(4), (0.0, 0.45, 0.0, 0.0)), **{missing: {}}))
    assert found.log_factors == pytest.approx(start.log_factors)
    assert found.covariance == pytest.approx(start.covariance)


def test_each_doubt_moves_the_wheel_in_its_own_way() -> None:
    """The wire and the four figures of the rim: a stiffer wire and axially stiffer rim raise the mean, the rest does not."""
    wheel = cart()
    assert wheel.rim.stiffness is not None
    target, _ = targets_n(wheel, {})
    answer = answer_of(skeleton_of(wheel, wheel.rim.stiffness), prior(wheel), target)
    rise = [float(shift[:COUNT].sum() / answer.nominal.tension_n.sum()) for shift in answer.shifts]
    assert len(rise) == 5
    give = 0.21  # N K R / (2 pi EA) = 0.27 of twenty spokes on this rim; its share of the whole is 0.27 / 1.27
    assert rise[0] == pytest.approx((1 - give) * 0.02, rel=0.1)
    assert rise[1] == pytest.approx(give * np.log(1.35), rel=0.1)
    assert np.abs(rise[2:]) == pytest.approx([0.0] * 3, abs=0.01)


def test_a_bent_rim_teaches_nothing() -> None:
    """A rim bent by 0.6 mm here and there: its own shape is not to be taken for what turns did to it."""
    read = spoilt(cart(), random_turns(4), (0.0, 0.45, 0.0, 0.0))
    bent = {spoke: value + 0.6e-3 * np.sin(2.4 * spoke + spoke**2) for spoke, value in read.lateral_m.items()}
    found = told_by(replace(read, lateral_m=bent))
    assert found.covariance == pytest.approx(prior(cart()).covariance)
