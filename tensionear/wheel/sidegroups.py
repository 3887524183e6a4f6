"""The two groups of pitch that a wheel's sides sing in, and what a pitch says of a place. Imports struck, roundplan."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from .roundplan import RoundPlan
from .struck import CLEAR, Struck, log_pitches

Array = NDArray[np.float64]

_SIDE_OUTLIER, _SIDE_WIDE = 0.15, 0.25  # share, and sd of ln f, of spokes that do not sing as their side does
_GROUPS_APART = 3.2  # widths between the middles from which two groups of pitch are seen; one bell cut in two has 2.4
_SIDES_APART, _FEWEST_OF_A_SIDE = 0.7, 5.0  # the same for the pitches at two sides' places
_NO_SIDES, _NO_SIDES_GUESSED = 0.02, 0.2  # that pitch goes by something else than by the sides, stated or guessed
_AGAINST_BUILD = 0.003  # that the other side sings higher than the build of the wheel says


@dataclass(frozen=True, slots=True)
class Groups:
    """Middles of a higher and a lower group of pitches (ln of Hz) and their common spread, with a margin of a fifth."""

    high: float
    low: float
    sd: float


def groups_of(struck: Sequence[Struck]) -> Groups | None:
    """A higher and a lower group of clear plucks; None if there is one group only."""
    return two_groups(log_pitches([each for each in struck if each.probability > CLEAR]))


def groups_by_place(struck: Sequence[Struck], plan: RoundPlan, at: Array) -> Groups | None:
    """The pitches of both sides by a first naming, where they overlap too much to be seen without it.

    Parameters
    ----------
    struck : sequence of Struck
    plan : RoundPlan
    at : ndarray, shape (candidates, positions)
        How probably each candidate is at each position.
    """
    pitch, right = log_pitches(struck), _on_right(plan.spokes, plan.sides)
    heard = np.isfinite(pitch)
    share = np.stack([at[:, right].sum(axis=1), at[:, ~right].sum(axis=1)])[:, heard]
    if np.any(share.sum(axis=1) < _FEWEST_OF_A_SIDE):
        return None
    middle = [_weighted_median(pitch[heard], weight) for weight in share]
    away = np.concatenate([np.abs(pitch[heard] - each) for each in middle])
    sd = max(1.4826 * _weighted_median(away, share.ravel()), 0.01)
    high, low = max(middle), min(middle)
    return Groups(high, low, sd) if high - low > _SIDES_APART * sd else None


def two_groups(log_pitch: Array) -> Groups | None:
    """A higher and a lower group of pitches; None if there is one group only."""
    values = np.sort(log_pitch[np.isfinite(log_pitch)])
    if len(values) < 6:
        return None
    low, high = float(np.quantile(values, 0.2)), float(np.quantile(values, 0.8))
    for _ in range(12):
        upper = values > (low + high) / 2
        if upper.all() or not upper.any():
            return None
        low, high = float(np.median(values[~upper])), float(np.median(values[upper]))
    away = np.where(upper, np.abs(values - high), np.abs(values - low))
    sd = max(1.2 * 1.4826 * float(np.median(away)), 0.01)
    balanced = 0.2 < float(np.mean(upper)) < 0.8
    return Groups(high, low, sd) if balanced and high - low > _GROUPS_APART * sd else None


def log_places(log_pitch: Array, plan: RoundPlan, groups: Groups | None) -> tuple[Array, Array]:
    """ln likelihood of each candidate's pitch in each column, against either side's, and the prior of each way to see it.

    Either side may be the higher one, or pitch may go by something else; a wide part leaves room for a slack spoke.
    """
    nothing = np.zeros((len(log_pitch), len(plan.spokes) + 2))
    if groups is None:
        return nothing[None], np.ones(1)
    spokes, sides = (*plan.spokes, plan.spokes[0]), (*plan.sides, plan.sides[0])
    right = _on_right(spokes, sides)
    higher, lower = (_near(log_pitch, middle, groups.sd) for middle in (groups.high, groups.low))
    either = np.log(0.5 * np.exp(higher) + 0.5 * np.exp(lower))
    known = np.isfinite(log_pitch)
    found = []
    for first, second in ((higher, lower), (lower, higher)):
        evidence = nothing.copy()
        evidence[:, 1:] = np.where(right, (first - either)[:, None], (second - either)[:, None])
        found.append(np.where(known[:, None], evidence, 0.0))
    none = _NO_SIDES if plan.sides[0] else _NO_SIDES_GUESSED
    right_higher = {"R": 1 - _AGAINST_BUILD, "L": _AGAINST_BUILD}.get(plan.higher or "", 0.5)
    return np.stack([*found, nothing]), np.array([(1 - none) * right_higher, (1 - none) * (1 - right_higher), none])


def of_higher(log_pitch: Array, groups: Groups | None) -> NDArray[np.bool_]:
    """Which plucks are of the higher group; none where there is one group only."""
    return np.zeros(len(log_pitch), bool) if groups is None else log_pitch > (groups.high + groups.low) / 2


def _on_right(spokes: Sequence[int], sides: Sequence[str | None]) -> NDArray[np.bool_]:
    """Which positions are on the right, or would be if sides took turns from spoke 1 on."""
    return np.array([side == "R" if side else spoke % 2 == 1 for spoke, side in zip(spokes, sides, strict=True)])


def _near(log_pitch: Array, middle: float, sd: float) -> Array:
    """ln density of the pitch of a side: close to its middle, or anywhere around it."""
    away = log_pitch - middle
    return np.asarray(np.log((1 - _SIDE_OUTLIER) * normal(away, sd) + _SIDE_OUTLIER * normal(away, _SIDE_WIDE)))


def normal(away: Array, sd: float) -> Array:
    """The density of a normal deviate so far from its middle."""
    return np.asarray(np.exp(-0.5 * (away / sd) ** 2) / (sd * np.sqrt(2 * np.pi)))


def _weighted_median(values: Array, weight: Array) -> float:
    order = np.argsort(values)
    reached = np.cumsum(weight[order])
    return float(values[order][np.searchsorted(reached, reached[-1] / 2)])
