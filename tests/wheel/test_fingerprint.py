"""How alike two plucks sound, and what that says of their being one spoke."""

from __future__ import annotations

import numpy as np
import pytest

from tensionear.wheel.fingerprint import (
    FARTHEST_CENTS,
    NEAREST_CENTS,
    Array,
    Fingerprints,
    log_other_density,
    log_same_density,
)

SERIES = 400.0 * np.array([1.0, 2.01, 3.05, 4.12, 5.26])
LEVELS = np.array([-10.0, -14.0, -12.0, -20.0, -30.0])


def shifted(cents: float) -> Array:
    return np.asarray(SERIES * 2 ** (cents / 1200))


def distance(first_hz: Array, first_db: Array, second_hz: Array, second_db: Array) -> float:
    prints = Fingerprints([first_hz, second_hz], [first_db, second_db])
    return float(prints.distance_cents(np.array([0]), np.array([1]))[0])


@pytest.mark.parametrize("cents", [0.7, 2.0, 15.0])
def test_distance_of_two_series_is_their_interval(cents: float) -> None:
    assert distance(SERIES, LEVELS, shifted(cents), LEVELS) == pytest.approx(cents, rel=1e-6)


def test_distance_is_the_same_both_ways_and_bounded() -> None:
    fewer = shifted(7.0)[:3]
    there, back = distance(SERIES, LEVELS, fewer, LEVELS[:3]), distance(fewer, LEVELS[:3], SERIES, LEVELS)
    assert there == pytest.approx(back)
    assert distance(SERIES, LEVELS, SERIES, LEVELS) == pytest.approx(NEAREST_CENTS)
    assert distance(SERIES, LEVELS, 50 * SERIES, LEVELS) == pytest.approx(FARTHEST_CENTS)


def test_without_lines_nothing_is_alike() -> None:
    assert distance(SERIES, LEVELS, np.zeros(0), np.zeros(0)) == pytest.approx(FARTHEST_CENTS)
    assert distance(np.zeros(0), np.zeros(0), np.zeros(0), np.zeros(0)) == pytest.approx(FARTHEST_CENTS)
    assert len(Fingerprints([], []).distance_cents(np.zeros(0, np.intp), np.zeros(0, np.intp))) == 0


def test_a_line_or_two_astray_matter_little_and_one_that_fits_by_chance_too() -> None:
    """The other plane is heard in one pluck only, and a stranger in the other; or a single line agrees."""
    first = np.append(SERIES, SERIES[:2] * 2 ** (11 / 1200))
    second = np.append(shifted(0.5), 1777.0)
    astray = distance(first, np.append(LEVELS, [-18.0, -22.0]), second, np.append(LEVELS, -20.0))
    assert NEAREST_CENTS < astray < 4 * NEAREST_CENTS
    by_chance = np.append(shifted(40.0)[:-1], SERIES[-1])
    assert distance(SERIES, LEVELS, by_chance, LEVELS) > 0.3 * FARTHEST_CENTS


def test_faint_lines_do_not_count() -> None:
    """Ten lines more than 30 dB down would otherwise outvote two strong ones."""
    first = np.append(SERIES[:2], 1111.0 + 202.0 * np.arange(10))
    level = np.append([-10.0, -12.0], np.full(10, -45.0))
    assert distance(first, level, shifted(1.0)[:2], LEVELS[:2]) == pytest.approx(1.0)


def test_many_pairs_at_once_are_as_each_alone() -> None:
    lines = [SERIES, shifted(3.0), shifted(40.0)[:2], np.zeros(0)]
    levels = [LEVELS, LEVELS, LEVELS[:2], np.zeros(0)]
    first, second = (each.ravel() for each in np.indices((4, 4)))
    found = Fingerprints(lines, levels).distance_cents(first, second)
    alone = [distance(lines[a], levels[a], lines[b], levels[b]) for a, b in zip(first, second, strict=True)]
    assert found == pytest.approx(alone)


@pytest.mark.parametrize("poor", [0.0, 0.5, 1.0])
def test_density_of_the_same_spoke_integrates_to_one(poor: float) -> None:
    x = np.linspace(-12, 14, 20001)
    density = np.exp(log_same_density(np.exp(x), np.full(len(x), poor)))
    assert np.sum(density) * (x[1] - x[0]) == pytest.approx(1.0, abs=1e-6)


def test_a_poorly_heard_pluck_may_be_farther_off() -> None:
    near, far = np.array([1.0]), np.array([30.0])
    well, badly = np.zeros(1), np.ones(1)
    assert log_same_density(near, well) > log_same_density(near, badly)
    assert log_same_density(far, well) < log_same_density(far, badly)


def test_density_of_others_is_learnt_from_the_take() -> None:
    apart = np.array([6.0, 9.0, 7.0, 10.0, 8.0])
    x = np.linspace(np.log(NEAREST_CENTS), np.log(60.0), 20001)
    density = np.exp(log_other_density(np.exp(x), apart))
    assert np.sum(density) * (x[1] - x[0]) == pytest.approx(1.0, abs=0.03)
    assert 6 < np.exp(x[np.argmax(density)]) < 10
    assert density[0] > 0


def test_few_others_tell_nothing_but_that_chance_comes_seldom_near() -> None:
    """Flat in ln d, and falling with its square where it is next to nothing."""
    found = np.exp(log_other_density(np.array([0.6, 1.2, 10.0, 20.0]), np.array([20.0, 30.0])))
    assert found[2] == found[3]
    assert found[1] == pytest.approx(4 * found[0])
    assert found[1] < 0.3 * found[2]
