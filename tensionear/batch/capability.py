"""How a process lies within a limit, by quantiles. Pure; imports numpy.

Source of the indices: ISO 22514-2, performance by quantiles (from memory): Ppk = (U - X50) / (X99.865 - X50) towards an upper
limit, (X50 - L) / (X50 - X0.135) towards a lower one. For normal values they are the usual ones.

The outer quantiles lie beyond the largest of some hundred values and have to be extrapolated. Means are taken for normal.
Spreads are skewed and never negative: their logarithms are taken for normal. With thousands of values the quantiles are
those of the values themselves.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

#: Fewer values say nothing of the ends of a distribution.
FEWEST = 50
#: From so many on, some values lie beyond the outer quantiles: 0.135 % of 4000 are 5.
OWN = 4000
#: The outer quantiles: those of a normal value three standard deviations from the mean.
LOW, HIGH = 0.00135, 0.99865
_DRAWS, _SEED = 1000, 7870

Values = NDArray[np.float64]
#: Values to their quantiles X0.135, X50, X99.865.
Quantiles = Callable[[Values], tuple[float, float, float]]


@dataclass(frozen=True, slots=True)
class Capability:
    """Quantiles and the index towards the nearer limit, with a 95 % interval; None where there is no limit.

    ``count_beyond`` of ``count`` values lie beyond a limit.
    """

    count: int
    low: float
    median: float
    high: float
    index: float | None
    interval_95: tuple[float, float] | None
    count_beyond: int


def normal_quantiles(values: Values) -> tuple[float, float, float]:
    """Of values taken for normal (side means), shape (n,), n >= 2."""
    if len(values) >= OWN:
        return own_quantiles(values)
    mean, sigma = float(np.mean(values)), float(np.std(values, ddof=1))
    return mean - 3 * sigma, mean, mean + 3 * sigma


def skewed_quantiles(values: Values) -> tuple[float, float, float]:
    """Of values above 0 whose logarithms are taken for normal (spreads), shape (n,), n >= 2."""
    if len(values) >= OWN:
        return own_quantiles(values)
    low, median, high = normal_quantiles(np.log(np.maximum(values, 1e-9)))
    return float(np.exp(low)), float(np.exp(median)), float(np.exp(high))


def own_quantiles(values: Values) -> tuple[float, float, float]:
    """Of the values themselves, shape (n,)."""
    low, median, high = np.quantile(values, [LOW, 0.5, HIGH])
    return float(low), float(median), float(high)


def capability_of(
    values: Values, quantiles: Quantiles, lower: float | None = None, upper: float | None = None
) -> Capability | None:
    """How values lie within limits; None if there are too few of them (`FEWEST`).

    The interval is that of 1000 samples drawn from the values, with replacement (bootstrap, Efron 1979; from memory), with
    a fixed seed.
    """
    if len(values) < FEWEST:
        return None
    low, median, high = quantiles(values)
    index = index_of((low, median, high), lower, upper)
    interval = None
    if index is not None:
        chance = np.random.default_rng(_SEED)
        drawn = [
            index_of(quantiles(chance.choice(values, len(values))), lower, upper) or 0.0
            for _ in range(_DRAWS if len(values) < OWN else _DRAWS // 10)
        ]
        interval = (float(np.quantile(drawn, 0.025)), float(np.quantile(drawn, 0.975)))
    above = 0 if upper is None else int(np.sum(values > upper))
    below = 0 if lower is None else int(np.sum(values < lower))
    return Capability(len(values), low, median, high, index, interval, above + below)


def index_of(quantiles: tuple[float, float, float], lower: float | None, upper: float | None) -> float | None:
    """The index towards the nearer limit; None without a limit, or where all values are alike."""
    low, median, high = quantiles
    found = []
    if upper is not None and high > median:
        found.append((upper - median) / (high - median))
    if lower is not None and median > low:
        found.append((median - lower) / (median - low))
    return min(found) if found else None
