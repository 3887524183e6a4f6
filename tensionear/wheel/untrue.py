"""How untrue a rim is likely to be, and how much this one, by its readings. Pure; imports numpy only."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import astuple, dataclass

import numpy as np
import numpy.typing as npt

Floats = npt.NDArray[np.float64]

#: A rim's figures are within this factor of the usual ones, one sigma. Judgement, no source.
WITHIN = 2.0
#: Factors tried of each figure, and how often each is tried anew beside the others.
FACTORS, SWEEPS = tuple(float(2**power) for power in np.arange(-2, 2.5, 0.5)), 2


@dataclass(frozen=True, slots=True)
class Untrue:
    """A rim untrue by so much (one sigma), alike over so many radians round it, and rough from spoke to spoke."""

    lateral_m: float
    radial_m: float
    alike_rad: float
    rough_m: float

    def covariance(self, count: int) -> tuple[Floats, Floats]:
        """Of lateral and of radial places at so many spokes, (count, count) each, about any zero."""
        angles = 2 * np.pi * np.arange(count) / count
        chord = 2 * np.sin((angles[:, None] - angles[None, :]) / 2)
        alike = np.exp(-(chord**2) / (2 * self.alike_rad**2))
        rough = self.rough_m**2 * np.eye(count)
        return self.lateral_m**2 * alike + rough, self.radial_m**2 * alike + rough


#: What rims are like, unless readings tell of this one. Judgement, no source.
USUAL = Untrue(0.15e-3, 0.08e-3, 0.5, 0.01e-3)


def most_likely(log_likelihood: Callable[[Untrue], float]) -> Untrue:
    """The figures that make the readings most likely, each held near the usual ones.

    Parameters
    ----------
    log_likelihood : callable
        Of the readings, given the figures.

    Notes
    -----
    Type II maximum likelihood (C. E. Rasmussen and C. K. I. Williams, Gaussian Processes for Machine Learning, section
    5.4; from memory) with a log-normal prior, over a grid of factors, one figure after the other.
    """
    usual = np.array(astuple(USUAL))

    def score(powers: Floats) -> float:
        return log_likelihood(Untrue(*(usual * powers))) - 0.5 * float(np.sum((np.log(powers) / np.log(WITHIN)) ** 2))

    best = np.ones(4)
    highest = score(best)
    for _ in range(SWEEPS):
        for one in range(4):
            for factor in FACTORS:
                tried = best.copy()
                tried[one] = factor
                if factor != best[one] and (reached := score(tried)) > highest:
                    best, highest = tried, reached
    return Untrue(*(usual * best))
