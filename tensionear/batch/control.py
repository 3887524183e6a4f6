"""Individuals and moving-range charts. Pure; imports nothing of the package.

Source: ISO 7870-2:2013, Shewhart charts, the individuals chart with a moving range of two (title read, clauses from memory);
the factors follow from the normal distribution alone and are computed here.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise
from statistics import fmean

#: The mean and the standard deviation of the range of two normal values, in standard deviations: 2/sqrt(pi) and
#: sqrt(2 - 4/pi); usual tables print 1.128 and 0.853.
D2, D3 = 2 / math.sqrt(math.pi), math.sqrt(2 - 4 / math.pi)
#: Limits of individuals in mean moving ranges, 3/d2 = 2.660, and the upper limit of a range in mean ranges, 3.267.
INDIVIDUALS_FACTOR, RANGE_FACTOR = 3 / D2, 1 + 3 * D3 / D2
#: So many values in a row on one side of the centre are a signal too (test 2 of the standard's annex, from memory).
RUN = 9
#: Below so many values the limits are provisional (common practice, no source).
SETTLED = 25


@dataclass(frozen=True, slots=True)
class Control:
    """A chart's numbers.

    Parameters
    ----------
    values : tuple of float
        In order of time.
    ranges : tuple of float
        Between each value and the one before; one less than the values.
    centre, low, high : float
        The mean of the values and the limits of single ones; ``low`` is None where none is possible (below ``floor``).
    range_centre, range_high : float
        The mean range and its upper limit; the lower one is 0.
    beyond, range_beyond : tuple of int
        Places (from 0) of values beyond a limit; of ranges, the place of the later value.
    runs : tuple of int
        Places of values that end a run of nine or more on one side of the centre.
    """

    values: tuple[float, ...]
    ranges: tuple[float, ...]
    centre: float
    low: float | None
    high: float
    range_centre: float
    range_high: float
    beyond: tuple[int, ...]
    range_beyond: tuple[int, ...]
    runs: tuple[int, ...]

    @property
    def settled(self) -> bool:
        """Whether there are enough values for lasting limits."""
        return len(self.values) >= SETTLED

    @property
    def sigma(self) -> float:
        """The standard deviation from one value to the next, from the mean range."""
        return self.range_centre / D2


def control_of(values: Sequence[float], floor: float | None = None) -> Control:
    """The chart of these values.

    Parameters
    ----------
    values : sequence of float
        At least two, in order of time.
    floor : float, optional
        Below it no value is possible; a lower limit there is none.
    """
    given = tuple(float(value) for value in values)
    ranges = tuple(abs(after - before) for before, after in pairwise(given))
    centre, range_centre = fmean(given), fmean(ranges)
    reach = INDIVIDUALS_FACTOR * range_centre
    low: float | None = centre - reach
    if floor is not None and centre - reach < floor:
        low = None
    high, range_high = centre + reach, RANGE_FACTOR * range_centre
    beyond = tuple(at for at, value in enumerate(given) if value > high or (low is not None and value < low))
    range_beyond = tuple(at for at, value in enumerate(ranges, 1) if value > range_high)
    return Control(
        given, ranges, centre, low, high, range_centre, range_high, beyond, range_beyond, _runs(given, centre)
    )


def _runs(values: Sequence[float], centre: float) -> tuple[int, ...]:
    """Where runs on one side of the centre have become long."""
    found, length, side = [], 0, 0
    for at, value in enumerate(values):
        now = (value > centre) - (value < centre)
        length = length + 1 if now == side and now else abs(now)
        side = now
        if length >= RUN:
            found.append(at)
    return tuple(found)
