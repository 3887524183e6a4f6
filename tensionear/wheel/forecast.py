"""What a wheel will read after some turns, each figure with its uncertainty. Pure; imports stand and learning."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from tensionear.wheel.learning import MODEL_SHARE, Answer
from tensionear.wheel.ringbeam import Floats
from tensionear.wheel.stand import Stand

#: Draws of the possible outcomes (JCGM 101, propagation of distributions); the same for the same wheel.
DRAWS = 2000
COVERAGE = 1.96


@dataclass(frozen=True, slots=True)
class Figure:
    """A predicted figure: ``value`` +/- 1.96 ``u`` is the central 95 % interval."""

    value: float
    u: float


@dataclass(frozen=True, slots=True)
class Forecast:
    """What to expect after the turns; None where the readings do not tell.

    ``tension_n`` by spoke number; ``spread_percent`` by side, half the range of the deviations from its mean;
    ``lateral_m`` and ``radial_m`` peak to peak over the spokes.
    """

    tension_n: Mapping[int, Figure | None]
    spread_percent: Mapping[str, Figure | None]
    lateral_m: Figure | None
    radial_m: Figure | None
    dish_m: Figure | None


def forecast(
    stand: Stand, answer: Answer, sides: Mapping[str, Sequence[int]], turns: Floats, u_turns: Floats
) -> Forecast:
    """What to expect of these turns (spokes,), each really done to within ``u_turns`` (spokes,), one sigma.

    Notes
    -----
    Each quantity is its best estimate plus the model's change. Peaks are drawn, not propagated: doubt makes any run-out
    larger, never smaller, so that its expected value is above that of the expected shape.
    """
    count = len(turns)
    chance = np.random.default_rng(2)
    change = answer.nominal.stacked()
    really = turns * (1 + MODEL_SHARE * chance.standard_normal((DRAWS, count)))
    really += u_turns * chance.standard_normal((DRAWS, count))
    drawn = stand.state + _normal(chance, stand.covariance) + really @ change.T
    for shift in answer.shifts:
        drawn += np.outer(chance.standard_normal(DRAWS), shift @ turns)
    expected = stand.state + change @ turns
    u = drawn.std(axis=0)
    tension, lateral, radial = drawn[:, :count], drawn[:, count : 2 * count], drawn[:, 2 * count :]
    return Forecast(
        {one + 1: Figure(float(expected[one]), float(u[one])) if stand.read[0, one] else None for one in range(count)},
        {side: _spread(tension, stand, numbers) for side, numbers in sides.items()},
        _figure(np.ptp(lateral, axis=1)) if stand.read[1].any() else None,
        _figure(np.ptp(radial, axis=1)) if stand.read[2].any() else None,
        Figure(float(expected[count : 2 * count].mean()), float(lateral.mean(axis=1).std()))
        if stand.dish_read
        else None,
    )


def _normal(chance: np.random.Generator, covariance: Floats) -> Floats:
    """Draws of a normal distribution about zero, (draws, rows); rows may differ in unit by any factor."""
    u = np.sqrt(np.maximum(np.diag(covariance), 1e-30))
    sizes, parts = np.linalg.eigh(covariance / np.outer(u, u))
    spread = parts * np.sqrt(np.maximum(sizes, 0.0))
    found: Floats = u * (chance.standard_normal((DRAWS, len(u))) @ spread.T)
    return found


def _spread(tensions: Floats, stand: Stand, numbers: Sequence[int]) -> Figure | None:
    """Half range of a side in percent of its mean; None with fewer than two spokes read."""
    members = np.array([number - 1 for number in numbers if stand.read[0, number - 1]], dtype=int)
    if len(members) < 2:
        return None
    side = tensions[:, members]
    return _figure(50 * np.ptp(side, axis=1) / side.mean(axis=1))


def _figure(drawn: Floats) -> Figure:
    """Middle of the central 95 % of the draws, and half its width over 1.96."""
    low, high = np.percentile(drawn, [2.5, 97.5])
    return Figure(float(low + high) / 2, float(high - low) / 2 / COVERAGE)
