"""The best whole numbers of steps for a quadratic cost with costs of turning and touching. Pure; imports numpy only."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

Floats = npt.NDArray[np.float64]
Steps = npt.NDArray[np.int64]

#: Weight of a limit overstepped by its scale, against one tolerance of anything else: as good as forbidden.
FORBIDDEN = 1e3
#: Steps a pair of nipples is tried with together, and times the best is shaken and searched again.
PAIR_STEPS = (-2, -1, 1, 2)
SHAKES = 60
SHAKEN = 4
#: A gain below this share of the cost is none.
NO_GAIN = 1e-9


@dataclass(frozen=True, slots=True, eq=False)
class Quadratic:
    """z' gram z + 2 slope z + constant: (nipples, nipples), (nipples,) and a number."""

    gram: Floats
    slope: Floats
    constant: float

    def at(self, steps: Floats | Steps) -> float:
        """Its value."""
        return float(steps @ self.gram @ steps + 2 * self.slope @ steps) + self.constant


def least_squares(rows: Floats, offset: Floats) -> Quadratic:
    """|offset + rows z|^2 for rows (m, nipples) and offset (m,)."""
    return Quadratic(rows.T @ rows, rows.T @ offset, float(offset @ offset))


@dataclass(frozen=True, slots=True, eq=False)
class Problem:
    """What is to be minimised over whole steps z (nipples,), lowest <= z <= highest.

    deviations(z) + turn_cost sum |z| + touch_cost (number of z not 0)
    + FORBIDDEN sum (how far watched + answer z lies outside floor .. ceiling, / scale)^2

    Parameters
    ----------
    deviations : Quadratic
    lowest, highest : (nipples,)
        Whole numbers, 0 between them.
    turn_cost, touch_cost : float
        A step, and a nipple touched; >= 0.
    answer, watched : (w, nipples), (w,)
        What is held inside limits, and how it answers to a step.
    floor, ceiling : (w,)
        May be infinite.
    scale : float
        > 0
    """

    deviations: Quadratic
    lowest: Steps
    highest: Steps
    turn_cost: float
    touch_cost: float
    answer: Floats
    watched: Floats
    floor: Floats
    ceiling: Floats
    scale: float

    def cost(self, steps: Floats | Steps) -> float:
        """The cost of these steps."""
        turning = self.turn_cost * float(np.abs(steps).sum()) + self.touch_cost * np.count_nonzero(steps)
        return self.deviations.at(steps) + turning + float(self.penalty(self.watched + self.answer @ steps))

    def penalty(self, watched: Floats) -> Floats:
        """The cost of limits overstepped; ``watched`` is (w,) or (w, candidates)."""
        shape = (-1,) + (1,) * (watched.ndim - 1)
        over = np.maximum(watched - self.ceiling.reshape(shape), 0.0)
        under = np.maximum(self.floor.reshape(shape) - watched, 0.0)
        found: Floats = FORBIDDEN * np.sum((over + under) ** 2, axis=0) / self.scale**2
        return found


@dataclass(frozen=True, slots=True, eq=False)
class Solution:
    """Steps, their cost, and a bound no whole or broken steps can undercut."""

    steps: Steps
    cost: float
    bound: float


def relaxed(problem: Problem) -> tuple[Floats, float]:
    """The best broken steps, and a cost that no whole steps undercut.

    A touch counts in proportion to the turn (its convex envelope), and limits other than those of each nipple do not
    count at all: both make it a bound. Coordinate descent, exact in each coordinate.
    """
    gram, slope = problem.deviations.gram, problem.deviations.slope
    farthest = np.maximum(np.maximum(problem.highest, -problem.lowest), 1)
    price = (problem.turn_cost + problem.touch_cost / farthest) / 2
    own = np.maximum(np.diag(gram), 1e-30)
    steps, gradient = np.zeros(len(slope)), slope.copy()
    for _ in range(500):
        largest = 0.0
        for one in range(len(slope)):
            free = steps[one] * own[one] - gradient[one]
            wanted = np.sign(free) * max(abs(free) - price[one], 0.0) / own[one]
            change = min(max(wanted, problem.lowest[one]), problem.highest[one]) - steps[one]
            if change:
                steps[one] += change
                gradient += change * gram[one]
                largest = max(largest, abs(change))
        if largest < 1e-6:
            break
    return steps, problem.deviations.at(steps) + float(2 * price @ np.abs(steps))


def search(problem: Problem) -> Solution:
    """The best whole steps found: rounded, improved one and two nipples at a time, shaken and improved again.

    Always the same result for the same problem.
    """
    start, bound = relaxed(problem)
    chance = np.random.default_rng(1)
    best = _improved(problem, np.rint(start).astype(np.int64))
    cost = problem.cost(best)
    movable = np.flatnonzero(problem.highest > problem.lowest)
    for _ in range(SHAKES if len(movable) else 0):
        tried = best.copy()
        some = chance.choice(movable, size=min(SHAKEN, len(movable)), replace=False)
        tried[some] += chance.integers(-2, 3, size=len(some))
        tried = _improved(problem, np.clip(tried, problem.lowest, problem.highest))
        if problem.cost(tried) < cost * (1 - NO_GAIN):
            best, cost = tried, problem.cost(tried)
    return Solution(best, cost, min(bound, cost))


def _improved(problem: Problem, steps: Steps) -> Steps:
    """Steps that no change of one nipple to any value, nor of two by up to two steps each, makes better."""
    gram = problem.deviations.gram
    while True:
        gradient = problem.deviations.slope + gram @ steps
        for who, change in _changes(problem, steps):
            gains = _gains(problem, steps, gram, gradient, who, change)
            best = int(np.argmin(gains))
            if gains[best] < -NO_GAIN * max(problem.cost(steps), 1.0):
                steps = steps.copy()
                np.add.at(steps, who[best], change[best])
                break
        else:
            return steps


def _changes(problem: Problem, steps: Steps) -> Iterator[tuple[Steps, Steps]]:
    """All changes of one nipple, then of two, as (candidates, 2) nipples and steps; what is not allowed is left out."""
    count = len(steps)
    values = np.arange(int(problem.lowest.min()), int(problem.highest.max()) + 1)
    one, to = (each.ravel() for each in np.meshgrid(np.arange(count), values, indexing="ij"))
    allowed = (to >= problem.lowest[one]) & (to <= problem.highest[one]) & (to != steps[one])
    one, to = one[allowed], to[allowed]
    if len(one):
        yield np.column_stack([one, one]), np.column_stack([to - steps[one], np.zeros_like(one)])
    first, second = np.triu_indices(count, 1)
    sizes = np.array([(a, b) for a in PAIR_STEPS for b in PAIR_STEPS])
    who = np.repeat(np.column_stack([first, second]), len(sizes), axis=0)
    change = np.tile(sizes, (len(first), 1))
    after = steps[who] + change
    allowed = np.all((after >= problem.lowest[who]) & (after <= problem.highest[who]), axis=1)
    if np.any(allowed):
        yield who[allowed], change[allowed]


def _gains(problem: Problem, steps: Steps, gram: Floats, gradient: Floats, who: Steps, change: Steps) -> Floats:
    """Change of the cost by each candidate, + worse."""
    a, b = who.T
    d, e = change.T
    found: Floats = (
        2 * (gradient[a] * d + gradient[b] * e) + gram[a, a] * d**2 + gram[b, b] * e**2 + 2 * gram[a, b] * d * e
    )
    for one, by in ((a, d), (b, e)):
        found += problem.turn_cost * (np.abs(steps[one] + by) - np.abs(steps[one]))
        found += problem.touch_cost * (((steps[one] + by) != 0) * 1.0 - (steps[one] != 0)) * (by != 0)
    now = problem.watched + problem.answer @ steps
    if np.any(np.isfinite(problem.ceiling) | (problem.floor > -np.inf)):
        after = now[:, None] + problem.answer[:, a] * d + problem.answer[:, b] * e
        found += problem.penalty(after) - problem.penalty(now)
    return found
