"""Groups by position: dished, two to one, alike; a slack spoke stays where it stands."""

from __future__ import annotations

import numpy as np
import pytest

from tensionear.wheel.evenness import side_pattern

LEVEL = {"higher": np.log(480.0), "lower": np.log(390.0)}


def pitches(groups: tuple[str, ...], spread: float = 0.01, seed: int = 1) -> dict[int, float]:
    rng = np.random.default_rng(seed)
    return {number: LEVEL[group] + spread * rng.normal() for number, group in enumerate(groups, start=1)}


@pytest.mark.parametrize(
    ("unit", "spokes"),
    [
        (("higher", "lower"), 28),
        (("lower", "higher"), 32),
        (("higher", "higher", "lower"), 24),
        (("higher", "lower", "higher"), 36),
        (("lower", "higher", "higher"), 24),
        (("lower", "lower", "higher"), 24),
    ],
)
@pytest.mark.parametrize("seed", [1, 2])
def test_sides_are_found_from_their_pattern(unit: tuple[str, ...], spokes: int, seed: int) -> None:
    groups = unit * (spokes // len(unit))
    assert side_pattern(pitches(groups, seed=seed), spokes) == groups


@pytest.mark.parametrize("spread", [0.0, 0.001, 0.01, 0.03])
@pytest.mark.parametrize("spokes", [20, 24, 36])
def test_a_wheel_that_is_alike_is_one_group(spread: float, spokes: int) -> None:
    for seed in range(5):
        assert side_pattern(pitches(("higher",) * spokes, spread, seed), spokes) == ("all",) * spokes


def test_a_slack_spoke_stays_in_the_group_of_its_place() -> None:
    """Spokes 5 and 11 of the higher side sound like the lower one, and below it."""
    groups = ("higher", "lower") * 14
    found = pitches(groups)
    found[5], found[11] = LEVEL["lower"], LEVEL["lower"] - 0.3
    assert side_pattern(found, 28) == groups


def test_spokes_not_read_have_the_group_of_their_place() -> None:
    groups = ("higher", "lower") * 14
    found = pitches(groups)
    for number in (1, 2, 3, 17, 28):
        del found[number]
    assert side_pattern(found, 28) == groups


def test_two_to_one_needs_a_count_that_three_divides() -> None:
    """32 spokes cannot stand two to one, whatever they sound like."""
    groups = (("higher", "higher", "lower") * 11)[:32]
    assert side_pattern(pitches(groups), 32) != groups


def test_a_small_step_between_sides_needs_evidence() -> None:
    """1 % of pitch between the sides: told at 0.3 % of spread, not at 2 %."""
    groups = ("higher", "lower") * 14
    near = {number: LEVEL[group] for number, group in enumerate(groups, start=1)}
    rng = np.random.default_rng(3)
    step = {number: (0.01 if group == "higher" else 0.0) for number, group in enumerate(groups, start=1)}
    clear = {number: 6.0 + step[number] + 0.003 * rng.normal() for number in near}
    vague = {number: 6.0 + step[number] + 0.02 * rng.normal() for number in near}
    assert side_pattern(clear, 28) == groups
    assert side_pattern(vague, 28) == ("all",) * 28


@pytest.mark.parametrize("read", [{}, {1: 6.0}, {7: 6.0, 8: 6.01}])
def test_with_next_to_nothing_read_it_is_one_group(read: dict[int, float]) -> None:
    assert side_pattern(read, 20) == ("all",) * 20
