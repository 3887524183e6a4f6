"""Rings of named spokes to tensions, side by side: spokes with ends of one kind are fitted together. Imports physics, pitch.

A side's spokes of one kind and head share what their ends are like. Spokes that differ (the wheel file says so) are fitted
as a group of their own. What comes out says apart how much of the uncertainty all spokes of a group share.
"""

from __future__ import annotations

import math
from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from types import MappingProxyType
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from tensionear.physics.believed import EndsPrior, SharedPrior
from tensionear.physics.expectation import spoke_model
from tensionear.physics.inverse import GroupFit, Partials, fit_group
from tensionear.physics.observations import partials_of
from tensionear.physics.spokemodel import SpokeModel
from tensionear.pitch.lines import Heard
from tensionear.reading import BudgetLine, EndStiffness, How, Plane

from .budgets import Stated, budget_of
from .model import GroupKey, Place

_COVERAGE = 1.959964
_FOUND_SHARE = 1 / 3
_ENDS: tuple[Literal["hub", "nipple"], ...] = ("hub", "nipple")
_NOTHING: Mapping[GroupKey, SharedPrior] = MappingProxyType({})


@dataclass(frozen=True, slots=True)
class Rings:
    """The rings of one spoke: ``doubt`` is the standard deviation of ln f for not knowing surely which pluck is its own."""

    heard: tuple[Heard, ...]
    start_log_tension: float
    shift: float = 0.0
    doubt: float = 0.0


@dataclass(frozen=True, slots=True)
class ReadTension:
    """One spoke's tension: value, half the 95 % interval over 1.96, the interval, and the parts of the uncertainty (N).

    ``deviation`` and ``u_deviation`` are from its side's mean, as ratios. ``sensitivity`` is dlnT/dlnf of the first mode.
    ``misfit`` is the mean square of the standardised residuals of its partials; ``budget`` what the uncertainty is made of.
    """

    tension_n: float
    u_tension_n: float
    interval_95_n: tuple[float, float]
    u_individual_n: float
    u_common_n: float
    deviation: float
    u_deviation: float
    sensitivity: float
    misfit: float
    budget: tuple[BudgetLine, ...] = ()


@dataclass(frozen=True, slots=True)
class SideTensions:
    """A side: its spokes by number, mean with standard uncertainty, what its ends are like, and the groups it was fitted in."""

    spokes: Mapping[int, ReadTension]
    mean_n: float
    u_mean_n: float
    ends: tuple[EndStiffness, ...]
    groups: tuple[Group, ...] = ()


def groups_of(places: Sequence[Place]) -> dict[GroupKey, list[Place]]:
    """Places that share what their ends are like and are fitted together."""
    groups: dict[GroupKey, list[Place]] = defaultdict(list)
    for place in places:
        groups[place.side, place.head, place.spoke.name].append(place)
    return groups


def fit_side(
    places: Sequence[Place], rings: Mapping[int, Rings], learned: Mapping[GroupKey, SharedPrior] = _NOTHING
) -> SideTensions:
    """Fit one side: the places of its read spokes, the rings of each by number, and what calibrations say of each group."""
    groups = groups_of(places)
    fits = [_fitted(members, rings, learned.get(key)) for key, members in groups.items()]
    main = max(fits, key=lambda group: len(group.places))
    found = {}
    for group in fits:
        deviation, u_deviation = group.deviations(main)
        for index, place in enumerate(group.places):
            found[place.number] = group.tension(index, deviation[index], u_deviation[index], rings[place.number])
    kept = [found[place.number] for place in places if place.leave_out is None] or list(found.values())
    mean = float(np.mean([each.tension_n for each in kept]))
    relative = float(np.mean([each.u_common_n / each.tension_n for each in kept]))
    own = math.sqrt(sum(each.u_individual_n**2 for each in kept)) / len(kept)
    flat = main.places[0].spoke.is_flat
    ends = ends_of(main.fit, flat, main.calibrated)
    return SideTensions(found, mean, math.hypot(relative * mean, own), ends, tuple(fits))


@dataclass(frozen=True, slots=True)
class Group:
    """Spokes fitted together: their places, the distinct models, which is whose, and the fit."""

    places: Sequence[Place]
    models: tuple[SpokeModel, ...]
    which: NDArray[np.intp]
    fit: GroupFit
    calibrated: bool

    def deviations(self, main: Group) -> tuple[np.ndarray, np.ndarray]:
        """Deviations from the mean of the side's main group."""
        kept = np.array([at for at, place in enumerate(main.places) if place.leave_out is None], dtype=np.intp)
        kept = kept if len(kept) else np.arange(len(main.places))
        if self is main:
            return main.fit.deviations(np.arange(len(main.places)), kept)
        mean, sd, _ = self.fit.moments()
        main_mean, main_sd, _ = main.fit.moments()
        level = float(np.mean(np.exp(main_mean[kept])))
        deviation = np.exp(mean) / level - 1
        return deviation, (1 + deviation) * np.hypot(sd, float(np.mean(main_sd[kept])))

    def tension(self, index: int, deviation: float, u_deviation: float, rings: Rings) -> ReadTension:
        """The tension of one member, with the doubt about its pluck added."""
        mean, _, individual = (values[index] for values in self.fit.moments())
        low, high = self.fit.interval(index)
        sensitivity = float(self.fit.sensitivity[index])
        extra, shift = sensitivity * rings.doubt, sensitivity * rings.shift
        value = math.exp(mean + shift)
        half = math.hypot((high - low) / 2, _COVERAGE * extra)
        middle = (low + high) / 2 + shift
        interval = (math.exp(middle - half), math.exp(middle + half))
        u = (interval[1] - interval[0]) / 2 / _COVERAGE
        own = min(value * math.hypot(individual, extra), u)
        common, place = math.sqrt(max(u**2 - own**2, 0.0)), self.places[index]
        stated = Stated(
            place.spoke, place.free_length_m, place.u_length_m, rings.heard, value, own, common, value * extra
        )
        return ReadTension(
            value,
            u,
            interval,
            own,
            common,
            float((1 + deviation) * math.exp(shift) - 1),
            float(math.hypot(u_deviation, (1 + deviation) * extra)),
            sensitivity,
            float(self.fit.misfit[index]),
            budget_of(self.fit, index, stated),
        )


def _fitted(places: Sequence[Place], rings: Mapping[int, Rings], learned: SharedPrior | None) -> Group:
    """Fit a group."""
    models, which = models_of(places)
    heard = heard_of(places, rings)
    fit = fit_group(models, which, heard, EndsPrior(), learned)
    return Group(places, models, which, fit, learned is not None and learned.ends_known)


def heard_of(places: Sequence[Place], rings: Mapping[int, Rings]) -> Partials:
    """What was heard of a group, in the order of its places."""
    start = [rings[place.number].start_log_tension for place in places]
    return partials_of([rings[place.number].heard for place in places], not places[0].spoke.is_flat, start)


def models_of(places: Sequence[Place]) -> tuple[tuple[SpokeModel, ...], np.ndarray]:
    """The distinct models of the places, and which is whose."""
    keys = [(place.spoke, place.free_length_m, place.u_length_m) for place in places]
    distinct = list(dict.fromkeys(keys))
    which = np.array([distinct.index(key) for key in keys], dtype=np.intp)
    return tuple(spoke_model(*key) for key in distinct), which


def ends_of(fit: GroupFit, flat: bool, calibrated: bool = False) -> tuple[EndStiffness, ...]:
    """What a group's ends are like: for either end and bending plane the middle value and 95 % interval."""
    prior_sd = math.log(fit.prior.highest / fit.prior.lowest) / math.sqrt(12)
    planes: tuple[Plane, ...] = ("flat", "edge") if flat else ("both",)
    found = []
    for number, plane in enumerate(planes):
        for column, end in enumerate(_ENDS):
            base, shift = fit.shared[:, column], fit.shared[:, 2 + 2 * number + column]
            covariance = fit.shared_covariance
            value = base + (shift if flat else 0.0)
            variance = covariance[:, column, column]
            if flat:
                other = 2 + 2 * number + column
                variance = variance + covariance[:, other, other] + 2 * covariance[:, column, other]
            mean = float(fit.weight @ value)
            sd = math.sqrt(float(fit.weight @ (variance + (value - mean) ** 2)))
            how: How = "calibrated" if calibrated else "found" if sd < _FOUND_SHARE * prior_sd else "assumed"
            interval = (math.exp(mean - _COVERAGE * sd), math.exp(mean + _COVERAGE * sd))
            found.append(EndStiffness(end, plane, math.exp(mean), interval, how))
    return tuple(found)
