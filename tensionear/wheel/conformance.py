"""Probabilities that measured quantities keep their limits, alone and together, by JCGM 106:2012. Imports numpy, reading.

A quantity is normal about its value. Clause numbers of the guide are from memory.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from tensionear.reading import Verdict

Floats = npt.NDArray[np.float64]
_DRAWS = 16_384  # standard error of a probability near 0.95: 0.0017
_SEED = 106  # the same reading gets the same verdict
_TINY = 1e-12


@dataclass(frozen=True, slots=True)
class Rule:
    """How a probability becomes a verdict.

    Parameters
    ----------
    consumer_risk : float
        The most a thing called within may risk to be outside (JCGM 106:2012, 9.3).
    producer_risk : float
        The most a thing called out may risk to be inside (9.4).
    guard_band_u : float
        By how many standard uncertainties a limit is drawn in before anything is called within (8.3).
    """

    consumer_risk: float = 0.05
    producer_risk: float = 0.05
    guard_band_u: float = 0.0

    def decide(self, within: float, guarded: float) -> Verdict:
        """The verdict by the probability of being within the limits, and within the limits drawn in."""
        if guarded > 1 - self.consumer_risk:
            return "within"
        return "out" if 1 - within > 1 - self.producer_risk else "undecided"


@dataclass(frozen=True, slots=True)
class Limited:
    """One quantity with its limits: reading, how it moves with each independent standard normal cause, and the limits.

    ``loading`` maps the number of a cause to the change of the quantity for one standard deviation of it.
    """

    value: float
    loading: dict[int, float]
    low: float = -math.inf
    high: float = math.inf

    @property
    def u(self) -> float:
        """Standard uncertainty."""
        return math.sqrt(sum(each**2 for each in self.loading.values()))


def between(value: float, u: float, low: float, high: float) -> float:
    """Probability that a normal quantity lies between two limits (JCGM 106:2012, 7.3)."""
    u = max(u, _TINY)
    return _below((high - value) / u) - _below((low - value) / u)


def within_together(quantities: Sequence[Limited], guard_band_u: float = 0.0) -> float:
    """Probability that all quantities keep their limits at once.

    Parameters
    ----------
    quantities : sequence of Limited
        Their covariance follows from the causes they share.
    guard_band_u : float
        Each limit is drawn in by so many standard uncertainties of its quantity.

    Notes
    -----
    The integral of the joint normal density over the box of the limits, by sampling with a fixed seed. Quantities
    whose chance of breaking a limit is below 1e-7 are left out: a thousand of them would change it by 1e-4.
    """
    open_ones = []
    for each in quantities:
        drawn_in = guard_band_u * each.u
        if between(each.value, each.u, each.low + drawn_in, each.high - drawn_in) < 1 - 1e-7:
            open_ones.append((each, drawn_in))
    if not open_ones:
        return 1.0
    if len(open_ones) == 1:
        only, drawn_in = open_ones[0]
        return max(between(only.value, only.u, only.low + drawn_in, only.high - drawn_in), 0.0)
    causes = sorted({cause for each, _ in open_ones for cause in each.loading})
    column = {cause: at for at, cause in enumerate(causes)}
    loading = np.zeros((len(open_ones), len(causes)))
    for row, (each, _) in enumerate(open_ones):
        for cause, size in each.loading.items():
            loading[row, column[cause]] = size
    value = np.array([each.value for each, _ in open_ones])
    low = np.array([each.low + drawn_in for each, drawn_in in open_ones])
    high = np.array([each.high - drawn_in for each, drawn_in in open_ones])
    causes_drawn = np.random.default_rng(_SEED).standard_normal((_DRAWS, len(causes)))
    drawn: Floats = value + causes_drawn @ loading.T
    return float(np.mean(np.all((drawn >= low) & (drawn <= high), axis=1)))


def _below(z: float) -> float:
    return 0.5 * math.erfc(-z / math.sqrt(2))
