"""A gauge study: how much of what is measured is the wheels, and how much the measuring. Pure; imports numpy, errors.

The analysis of variance of a crossed study, every operator measuring every wheel equally often, with both taken for random:
Measurement Systems Analysis (Automotive Industry Action Group), 4th edition, 2010, chapter III; ISO/TR 12888:2011 shows the same
(both from memory). With p wheels, o operators, r readings and mean squares M:

- repeatability: sigma^2 = M_e; interaction: (M_po - M_e)/r; operators: (M_o - M_po)/(p r); wheels: (M_p - M_po)/(o r);
- where the interaction is not significant at 5 %, its squares and degrees of freedom join those of repeatability, and M_po
  becomes M_e in the other two;
- a component below 0 is 0.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from tensionear.errors import InputError

#: The interaction counts where its p value is below this.
SIGNIFICANT = 0.05
#: Categories that can be told apart: sqrt(2) sigma_wheels / sigma_gauge, printed as 1.41 in the manual.
CATEGORIES_FACTOR = 1.41


@dataclass(frozen=True, slots=True)
class Source:
    """A line of the table of variance; ``f`` and ``p`` are None for what nothing is held against."""

    name: str
    squares: float
    freedom: int
    mean_square: float
    f: float | None = None
    p: float | None = None


@dataclass(frozen=True, slots=True)
class Component:
    """A source of scatter: its standard deviation, its share of the total standard deviation and of the variance, percent."""

    name: str
    sigma: float
    study_percent: float
    variance_percent: float


@dataclass(frozen=True, slots=True)
class Study:
    """What a study came to; ``pooled`` tells whether the interaction joined repeatability."""

    wheels: int
    operators: int
    readings: int
    table: tuple[Source, ...]
    pooled: bool
    repeatability: Component
    reproducibility: Component
    gauge: Component
    between_wheels: Component
    total: Component
    categories: int | None
    tolerance_percent: float | None

    @property
    def components(self) -> tuple[Component, ...]:
        """All components."""
        return self.repeatability, self.reproducibility, self.gauge, self.between_wheels, self.total


def analyse(values: NDArray[np.float64], tolerance: float | None = None) -> Study:
    """The study of readings.

    Parameters
    ----------
    values : ndarray, shape (wheels, operators, readings)
        At least two of each.
    tolerance : float, optional
        The width between the limits, in the unit of the values; six gauge standard deviations are told in percent of it.

    Raises
    ------
    InputError
        If there are fewer than two of each.
    """
    if min(values.shape) < 2:
        p, o, r = values.shape
        raise InputError(f"{p} wheels, {o} operators, {r} readings of each: a study needs at least two of each")
    table = sources_of(values)
    wheels, operators, both, repeats = table
    p, o, r = values.shape
    pooled = both.p is not None and both.p > SIGNIFICANT
    if pooled:
        noise = (both.squares + repeats.squares) / (both.freedom + repeats.freedom)
        against, interaction = noise, 0.0
    else:
        noise, against = repeats.mean_square, both.mean_square
        interaction = max(0.0, (both.mean_square - noise) / r)
    by_operator = max(0.0, (operators.mean_square - against) / (p * r)) + interaction
    by_wheel = max(0.0, (wheels.mean_square - against) / (o * r))
    gauge, total = noise + by_operator, noise + by_operator + by_wheel

    def component(name: str, variance: float) -> Component:
        share = variance / total if total else 0.0
        return Component(name, math.sqrt(variance), 100 * math.sqrt(share), 100 * share)

    return Study(
        p, o, r, table, pooled,
        component("repeatability", noise),
        component("reproducibility", by_operator),
        component("gauge, both together", gauge),
        component("between wheels", by_wheel),
        component("total", total),
        int(CATEGORIES_FACTOR * math.sqrt(by_wheel / gauge)) if gauge else None,
        100 * 6 * math.sqrt(gauge) / tolerance if tolerance else None,
    )  # fmt: skip


def sources_of(values: NDArray[np.float64]) -> tuple[Source, ...]:
    """The table of variance, shape (wheels, operators, readings): wheels, operators, both, repeats."""
    p, o, r = values.shape
    mean = values.mean()
    cells = values.mean(axis=2)
    of_wheels = o * r * float(np.sum((values.mean(axis=(1, 2)) - mean) ** 2))
    of_operators = p * r * float(np.sum((values.mean(axis=(0, 2)) - mean) ** 2))
    of_both = max(0.0, r * float(np.sum((cells - mean) ** 2)) - of_wheels - of_operators)
    of_repeats = float(np.sum((values - cells[:, :, None]) ** 2))
    both = _line("wheels x operators", of_both, (p - 1) * (o - 1), of_repeats, p * o * (r - 1))
    return (
        _line("wheels", of_wheels, p - 1, of_both, both.freedom),
        _line("operators", of_operators, o - 1, of_both, both.freedom),
        both,
        Source("repeatability", of_repeats, p * o * (r - 1), of_repeats / (p * o * (r - 1))),
    )


def _line(name: str, squares: float, freedom: int, other: float, other_freedom: int) -> Source:
    """A line, its mean square held against another one's; p is the share of F beyond it (Fisher's distribution)."""
    from scipy.special import fdtrc

    against = other / other_freedom
    if not against:
        return Source(name, squares, freedom, squares / freedom)
    f = squares / freedom / against
    return Source(name, squares, freedom, squares / freedom, f, float(fdtrc(freedom, other_freedom, f)))
