"""A wheel's sound tied to the known tensions of some of its spokes. Pure; imports physics and the wheel.

Each group of spokes (side, head, kind) is fitted by its sound as in any reading, then given the known tensions. What the known
values say beyond the sound goes to what the group shares: ends, length, mass, stiffness.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from tensionear.errors import InputError
from tensionear.physics.believed import EndsPrior, SharedPrior
from tensionear.physics.inverse import GroupFit, Partials, fit_group
from tensionear.physics.known import GAUGE, KnownTensions, foretold, posterior, tie
from tensionear.physics.spokemodel import Array
from tensionear.physics.uncertainty import Budget
from tensionear.wheel.comparison import Known
from tensionear.wheel.model import GroupKey, Place, Wheel
from tensionear.wheel.sidefit import groups_of, models_of

from .budgets import level_budget, tied_budget

#: Never believed better than this (relative): what a hand does with a gauge.
_LEAST_OWN = 0.001
#: Of ln T: so loose that the level of all known values says nothing.
_LOOSE = 10.0


@dataclass(frozen=True, slots=True, eq=False)
class HeardSpoke:
    """What was heard of one spoke: ln f and its standard deviation, shapes (3, MODES), and ln T where the fit starts."""

    log_frequency: Array
    sd: Array
    start_log_tension: float


@dataclass(frozen=True, slots=True)
class TiedSpoke:
    """One spoke: its tension by sound alone and once tied, with standard uncertainties, in N; what is known of it, if it is.

    ``known_sd`` is how far the known value is from what sound alone says, in standard deviations of that difference.
    """

    spoke: int
    sound_n: float
    u_sound_n: float
    tied_n: float
    u_tied_n: float
    known_n: float | None = None
    known_sd: float | None = None


@dataclass(frozen=True, slots=True)
class Agreement:
    """How known values agree among themselves, and how far all of them are from the sound.

    ``chi_square`` with ``degrees`` of freedom and its ``probability`` tell of their scatter once their common level is free;
    ``level`` is that of ln(known / sound), ``u_level`` its standard uncertainty without what the gauge shares.
    """

    chi_square: float
    degrees: int
    probability: float
    level: float
    u_level: float
    worst: int


@dataclass(frozen=True, slots=True, eq=False)
class TiedGroup:
    """One group tied: its spokes, how the known values agree, what it learned, and the fits before and after.

    ``budgets`` are those of the mean ln T of the spokes not known, before and after; None if all are known.
    """

    key: GroupKey
    places: tuple[Place, ...]
    spokes: tuple[TiedSpoke, ...]
    agreement: Agreement
    learned: SharedPrior
    sources: tuple[str, ...]
    before: GroupFit
    after: GroupFit
    budgets: tuple[Budget, Budget] | None


def tie_wheel(wheel: Wheel, heard: Mapping[int, HeardSpoke], known: Mapping[int, Known]) -> tuple[TiedGroup, ...]:
    """Tie every group of a wheel that has known tensions.

    Parameters
    ----------
    wheel : Wheel
        What its calibrations already say (``learned``) is where each group starts.
    heard : mapping
        Spoke to what was heard of it.
    known : mapping
        Spoke to its known tension; each with an uncertainty.

    Raises
    ------
    InputError
        If no known spoke was heard.
    """
    found = []
    for key, places in groups_of([place for place in wheel.places if place.number in heard]).items():
        if any(place.number in known for place in places):
            found.append(_tied(key, tuple(places), fit_heard(wheel, places, heard), known))
    if not found:
        raise InputError(
            f"none of the {len(known)} known spokes ({', '.join(str(each) for each in sorted(known))}) could be read from the "
            "sound; check the spoke numbers, or record the round again"
        )
    return tuple(found)


def fit_heard(wheel: Wheel, places: list[Place], heard: Mapping[int, HeardSpoke]) -> GroupFit:
    """The fit of a group by its sound alone."""
    models, which = models_of(places)
    rows = [heard[place.number] for place in places]
    partials = Partials(
        np.array([row.log_frequency for row in rows]),
        np.array([row.sd for row in rows]),
        np.array([row.start_log_tension for row in rows]),
    )
    key = next(iter(groups_of(places)))
    return fit_group(models, which, partials, EndsPrior(), wheel.learned.get(key))


def known_of(numbers: list[int], known: Mapping[int, Known]) -> KnownTensions:
    """The known values of a group's spokes (their numbers in its order) as the fit takes them."""
    at = [index for index, number in enumerate(numbers) if number in known]
    values = [known[numbers[index]] for index in at]
    total = np.array([(one.u_tension_n or 0.0) / one.tension_n for one in values])
    own = np.array(
        [
            (one.u_tension_n or 0.0) / one.tension_n if one.u_own_n is None else one.u_own_n / one.tension_n
            for one in values
        ]
    )
    common = float(np.sqrt(np.mean(np.maximum(total**2 - own**2, 0.0)))) if at else 0.0
    logs = np.log([one.tension_n for one in values])
    return KnownTensions(np.array(at, dtype=np.intp), logs, np.maximum(own, _LEAST_OWN), common)


def agreement_of(fit: GroupFit, known: KnownTensions, numbers: list[int]) -> Agreement:
    """How the known values of a group agree; chi-square as JCGM 100:2008 has no test of its own, by Pearson's."""
    from scipy import stats

    mean, covariance = foretold(fit, known.at)
    apart = known.log_tension - mean
    covariance = covariance + np.diag(known.own_sd**2)
    ones = np.ones(len(apart))
    pull = np.linalg.solve(covariance, ones)
    level, u_level = float(pull @ apart / pull.sum()), 1 / math.sqrt(float(pull.sum()))
    inverse = np.linalg.inv(covariance + _LOOSE**2)
    chi_square, degrees = float(apart @ inverse @ apart), len(apart) - 1
    probability = float(stats.chi2.sf(chi_square, degrees)) if degrees else 1.0
    standardised = np.abs(inverse @ apart) / np.sqrt(np.diag(inverse)) if degrees else np.abs(apart)
    worst = numbers[int(known.at[int(np.argmax(standardised))])]
    return Agreement(chi_square, degrees, probability, level, u_level, worst)


def _tied(key: GroupKey, places: tuple[Place, ...], fit: GroupFit, values: Mapping[int, Known]) -> TiedGroup:
    numbers = [place.number for place in places]
    known = known_of(numbers, values)
    after = tie(fit, known)
    (mean, sd, _), (tied, tied_sd, _) = fit.moments(), after.moments()
    spokes = []
    for index, number in enumerate(numbers):
        value, away = None, None
        if number in values:
            one = values[number]
            value = one.tension_n
            away = math.log(value / math.exp(mean[index])) / math.hypot(sd[index], (one.u_tension_n or 0.0) / value)
        by_sound, by_all = math.exp(mean[index]), math.exp(tied[index])
        row = (number, by_sound, by_sound * float(sd[index]), by_all, by_all * float(tied_sd[index]))
        spokes.append(TiedSpoke(*row, value, away))
    sources = tuple(source for source in fit.sources if source != GAUGE)
    agreement = agreement_of(fit, known, numbers)
    rest = np.setdiff1d(np.arange(len(numbers)), known.at)
    budgets = (level_budget(fit, rest), tied_budget(fit, after, known, rest)) if len(rest) else None
    return TiedGroup(key, places, tuple(spokes), agreement, posterior(after), sources, fit, after, budgets)
