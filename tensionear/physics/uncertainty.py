"""Uncertainty as JCGM 100:2008 (GUM) has it: budgets, propagation, least squares. Imports nothing of the package."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Matrix = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Contribution:
    """One independent input of a measurement and what it does to the result.

    Parameters
    ----------
    source : str
        What it is, in words.
    value : float
        Estimate of the input, in the input's unit.
    standard_uncertainty : float
        u(x) in the input's unit, >= 0.
    sensitivity : float
        c = df/dx, unit of the result per unit of the input.
    degrees_of_freedom : float
        nu of u(x), > 0; infinite if u(x) is taken as exactly known.
    """

    source: str
    value: float
    standard_uncertainty: float
    sensitivity: float
    degrees_of_freedom: float = math.inf

    def __post_init__(self) -> None:
        """Refuse a negative uncertainty and degrees of freedom that are not above zero."""
        if not (self.standard_uncertainty >= 0 and self.degrees_of_freedom > 0):
            raise ValueError(
                f"{self.source}: standard uncertainty {self.standard_uncertainty} must be 0 or more, "
                f"degrees of freedom {self.degrees_of_freedom} above 0"
            )

    @property
    def contribution(self) -> float:
        """|c| u(x), in the unit of the result (GUM 5.1.3, eq. 11b)."""
        return abs(self.sensitivity) * self.standard_uncertainty


@dataclass(frozen=True, slots=True)
class Budget:
    """Uncorrelated contributions to one result; correlated inputs go through `propagate` first."""

    contributions: tuple[Contribution, ...]

    @property
    def combined_standard_uncertainty(self) -> float:
        """u_c, the root of the sum of squares (GUM eq. 11a), in the unit of the result; 0 if there is none."""
        return math.hypot(*(item.contribution for item in self.contributions))

    @property
    def effective_degrees_of_freedom(self) -> float:
        """nu_eff = u_c^4 / sum(u_i^4 / nu_i), Welch-Satterthwaite (GUM eq. G.2b); infinite if all nu_i are."""
        combined = self.combined_standard_uncertainty
        if combined == 0:
            return math.inf
        total = sum((item.contribution / combined) ** 4 / item.degrees_of_freedom for item in self.contributions)
        return 1 / total if total > 0 else math.inf

    def expanded_uncertainty(self, probability: float) -> float:
        """U = k u_c for a coverage probability of 0..1 (GUM eq. 18), in the unit of the result."""
        return coverage_factor(probability, self.effective_degrees_of_freedom) * self.combined_standard_uncertainty


def coverage_factor(probability: float, degrees_of_freedom: float) -> float:
    """Student's t for a two-sided coverage probability (GUM G.3.2, table G.2).

    Parameters
    ----------
    probability : float
        Between 0 and 1, both excluded.
    degrees_of_freedom : float
        >= 1; cut down to the next integer as GUM G.4.1 has it; infinite for the normal distribution.

    Returns
    -------
    float

    Raises
    ------
    ValueError
        If an argument is out of its range.
    """
    if not (0 < probability < 1 and degrees_of_freedom >= 1):
        raise ValueError(
            f"coverage probability {probability} must lie between 0 and 1, "
            f"degrees of freedom {degrees_of_freedom} be 1 or more"
        )
    from scipy import stats

    upper = (1 + probability) / 2
    if math.isinf(degrees_of_freedom):
        return float(stats.norm.ppf(upper))
    return float(stats.t.ppf(upper, math.floor(degrees_of_freedom)))


def propagate(jacobian: Matrix, covariance: Matrix) -> Matrix:
    """Covariance of results from that of correlated inputs, J C J^T (GUM eq. 13 and H.9, first order).

    Parameters
    ----------
    jacobian : ndarray, shape (results, inputs)
        J, derivative of each result by each input.
    covariance : ndarray, shape (inputs, inputs)
        C, in products of the inputs' units.

    Returns
    -------
    ndarray, shape (results, results)
    """
    return np.asarray(jacobian @ covariance @ jacobian.T)


def correlation(covariance: Matrix) -> Matrix:
    """Correlation coefficients r_ij = u_ij / (u_i u_j) of a covariance, shape (n, n) (GUM eq. 14); no u_i may be 0."""
    u = np.sqrt(np.diag(covariance))
    return np.asarray(covariance / np.outer(u, u))


def fit_linear(design: Matrix, observed: Matrix) -> tuple[Matrix, Matrix, float]:
    """General linear least squares with equal, unknown uncertainty of all observations (GUM H.3).

    Parameters
    ----------
    design : ndarray, shape (observations, parameters)
        X in observed = X values + scatter; one more row than columns at least, of full rank.
    observed : ndarray, shape (observations,)

    Returns
    -------
    values : ndarray, shape (parameters,)
    covariance : ndarray, shape (parameters, parameters)
        s^2 (X^T X)^-1.
    s : float
        Standard deviation of one observation about the fit, with observations - parameters degrees of freedom.

    Raises
    ------
    ValueError
        If there are too few observations, or the parameters cannot be told apart.
    """
    rows, columns = design.shape
    if rows <= columns:
        raise ValueError(f"{rows} observations for {columns} parameters: observe at least {columns + 1} times")
    left, sizes, right = np.linalg.svd(design, full_matrices=False)
    if sizes[-1] <= sizes[0] * rows * np.finfo(float).eps:
        raise ValueError(f"{columns} parameters cannot be told apart here; vary the conditions or fit fewer")
    inverse = right.T / sizes
    values = inverse @ (left.T @ observed)
    s = math.sqrt(float(np.sum((observed - design @ values) ** 2)) / (rows - columns))
    return values, s**2 * (inverse @ inverse.T), s
