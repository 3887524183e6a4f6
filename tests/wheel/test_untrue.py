"""What readings say of a wheel as it stands: how untrue its rim is, and a tension that no turns could make."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from tensionear.wheel.plan import plan_turns
from tensionear.wheel.planoptions import PlanOptions
from tensionear.wheel.stand import Stand, rows_of, seen, stand_of, suppose, targets_n
from tensionear.wheel.untrue import USUAL, Untrue, most_likely
from tests.wheel.turning import cart, spoilt

COUNT = 20


def stand(readings) -> Stand:
    from tensionear.wheel.learning import answer_of, as_described
    from tensionear.wheel.mechanics import skeleton_of

    wheel = cart()
    target, _ = targets_n(wheel, readings.tensions_n)
    answer = answer_of(skeleton_of(wheel, wheel.rim.stiffness), as_described(wheel.rim.stiffness), target)
    what, change = seen(rows_of(wheel, readings), readings.dish_m, target), answer.nominal.stacked()
    return stand_of(what, change, suppose(what, change))


def test_a_tension_no_turns_could_make_stands_as_it_was_read() -> None:
    """One spoke 30 % slack and its neighbours as if it were not: on a rim they would hold more."""
    read = spoilt(cart(), {})
    tensions = {**read.tensions_n, 11: 0.7 * read.tensions_n[11]}
    broken = replace(
        read, tensions_n=tensions, u_tensions_n={spoke: 0.004 * value for spoke, value in tensions.items()}
    )
    found = stand(broken)
    assert found.tension_n[10] == pytest.approx(tensions[11], rel=0.005)
    for neighbour in (9, 13):
        assert found.tension_n[neighbour - 1] == pytest.approx(tensions[neighbour], rel=0.006)
    plan = plan_turns(cart(), tensions, options=PlanOptions(u_tensions_n=broken.u_tensions_n))
    now = plan.present.spread_percent["right"]
    side = [tensions[spoke] for spoke in range(1, COUNT, 2)]
    assert now is not None
    assert now.value == pytest.approx(50 * np.ptp(side) / np.mean(side), abs=0.5)


@pytest.mark.parametrize("size", [0.4, 3.0])
def test_the_run_out_tells_how_untrue_a_rim_is(size: float) -> None:
    drawn = Untrue(size * USUAL.lateral_m, size * USUAL.radial_m, USUAL.alike_rad, USUAL.rough_m)
    chance = np.random.default_rng(3)
    pairs = [[chance.multivariate_normal(np.zeros(24), each) for each in drawn.covariance(24)] for _ in range(4)]

    def log_likelihood(tried: Untrue) -> float:
        found = 0.0
        for shapes in pairs:
            for shape, covariance in zip(shapes, tried.covariance(24), strict=True):
                found -= 0.5 * float(shape @ np.linalg.solve(covariance, shape) + np.linalg.slogdet(covariance)[1])
        return found

    found = most_likely(log_likelihood)
    assert found.lateral_m == pytest.approx(drawn.lateral_m, rel=0.5)
    assert found.radial_m == pytest.approx(drawn.radial_m, rel=0.5)
    assert found.alike_rad == pytest.approx(drawn.alike_rad, rel=0.5)


def test_a_true_rim_is_believed_to_be_true() -> None:
    """With 0.02 mm of noise on a rim that is true, the best estimate is far closer than the readings."""
    chance = np.random.default_rng(5)
    read = spoilt(cart(), {})
    noisy = replace(
        read,
        lateral_m={spoke: value + 0.02e-3 * chance.standard_normal() for spoke, value in read.lateral_m.items()},
        radial_m={spoke: value + 0.02e-3 * chance.standard_normal() for spoke, value in read.radial_m.items()},
    )
    found = stand(noisy)
    lateral = found.state[COUNT : 2 * COUNT]
    assert float(np.std(lateral)) < 0.01e-3
    assert float(np.std(list(noisy.lateral_m.values()))) > 0.015e-3
