"""Dead weight: a spoke hung from its head, plucked under several masses, tells its lot's mass and stiffness. Imports physics.

The tension is the weight of the mass, of what hangs with it, and of half the spoke (its middle), less the air's buoyancy. The
mass stands still beside the spoke: it moves the pitch by g / (4 pi^2 f^2 L), a few parts in 100 000. The jig's ends are fitted
as any ends are and thrown away: a wheel has others.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from tensionear.errors import InputError
from tensionear.physics.believed import EndsPrior
from tensionear.physics.expectation import spoke_model
from tensionear.physics.gravity import Gravity, buoyancy
from tensionear.physics.inverse import GroupFit, Partials, fit_group
from tensionear.physics.known import posterior, tolerances_of
from tensionear.physics.modes import LOWEST_TENSION_N
from tensionear.physics.spoke import Spoke
from tensionear.physics.spokemodel import SpokeModel
from tensionear.physics.uncertainty import Budget

from .budgets import mass_budget
from .lots import Lot

#: A jig may hold a spoke more loosely or more firmly than any wheel; it is the same jig for every mass.
_JIG = EndsPrior(lowest=0.5, highest=400.0, nodes=6, spoke_sd=0.03)
#: Never believed better than this (relative).
_LEAST_OWN = 2e-4
#: No spoke is hung with more than this stress unless its maker's limit says so; common practice, no source.
_WORKING_PA = 330e6
_FEWEST = 3
#: ln of a ratio of heard to hung tension that is a slip, not a spoke.
_SLIP = 0.12


@dataclass(frozen=True, slots=True)
class Hung:
    """One mass (kg) with its standard uncertainty."""

    mass_kg: float
    u_mass_kg: float


@dataclass(frozen=True, slots=True)
class Jig:
    """Where and how a spoke hangs: free length with standard uncertainty (m), gravity, density of the masses (kg/m3 or None)."""

    free_length_m: float
    u_length_m: float
    gravity: Gravity
    density_kg_m3: float | None = None


@dataclass(frozen=True, slots=True)
class HungTension:
    """One mass as used: its pull in N, what the fit of all says of it, and how far apart in u of the mass."""

    mass_kg: float
    pull_n: float
    u_pull_n: float
    sound_n: float
    residual_sd: float


@dataclass(frozen=True, slots=True, eq=False)
class HangingResult:
    """What hanging found of the lot, mass by mass, with the chi-square of what they are apart
    (two of its degrees of freedom go to mass and stiffness), and the budget of ln of the mass per length."""

    lot: Lot
    rows: tuple[HungTension, ...]
    chi_square: float
    degrees: int
    probability: float
    budget: Budget


def working_load_n(spoke: Spoke) -> float:
    """The most a spoke of this kind is hung with: its maker's limit, else 330 MPa in its middle."""
    return spoke.max_tension_n or _WORKING_PA * spoke.middle.area_m2


def pull_of(mass_kg: float, spoke: Spoke, jig: Jig) -> float:
    """Tension at the middle of a spoke that a mass hangs from, N."""
    share, _ = buoyancy(jig.density_kg_m3)
    own = sum(piece.length_m * piece.linear_density_kg_m for piece in spoke.stretches(jig.free_length_m)) / 2
    return jig.gravity.m_s2 * (mass_kg * (1 - share) + own)


def check_masses(masses: Sequence[Hung], spoke: Spoke, jig: Jig) -> None:
    """Refuse masses that say too little or are too much for the spoke.

    Raises
    ------
    InputError
        If there are fewer than three different ones, or one pulls less than a spoke can ring at or more than it may bear.
    """
    if len({one.mass_kg for one in masses}) < _FEWEST:
        raise InputError(
            f"{len(masses)} masses given; mass and stiffness need at least {_FEWEST} different ones, better 5; hang more"
        )
    for one in masses:
        pull = pull_of(one.mass_kg, spoke, jig)
        if pull > working_load_n(spoke):
            raise InputError(
                f"{one.mass_kg:g} kg pulls {pull:.0f} N, more than the {working_load_n(spoke):.0f} N this spoke is hung "
                "with at most; hang less"
            )
        if pull < LOWEST_TENSION_N * 1.2:
            raise InputError(
                f"{one.mass_kg:g} kg pulls {pull:.0f} N, too little for a spoke to ring; is it kg, not t or lb? hang more"
            )


def fit_hanging(spoke: Spoke, jig: Jig, masses: Sequence[Hung], heard: Partials) -> HangingResult:
    """The lot from the partials heard under each mass (one row a mass).

    Raises
    ------
    InputError
        As ``check_masses``, or if a sound does not go with its mass.
    """
    from scipy import stats

    check_masses(masses, spoke, jig)
    if not spoke.is_flat:
        heard = _as_one(heard)
    model = spoke_model(spoke, jig.free_length_m, jig.u_length_m)
    which = np.zeros(len(masses), np.intp)
    pulls = np.array([pull_of(one.mass_kg, spoke, jig) for one in masses])
    _refuse_slips(fit_group((model,), which, heard, _JIG), masses, pulls)
    own = np.maximum([one.u_mass_kg / one.mass_kg for one in masses], _LEAST_OWN)
    _, u_share = buoyancy(jig.density_kg_m3)
    common = math.hypot(jig.gravity.u_m_s2 / jig.gravity.m_s2, u_share)
    known = replace(heard, start_log_tension=np.log(pulls), tension_sd=own)
    fit = fit_group((_with_common(model, common),), which, known, _JIG)
    mean, _, _ = fit.moments()
    apart = (mean - np.log(pulls)) / own
    chi_square, degrees = float(apart @ apart), len(masses) - 2
    rows = tuple(
        HungTension(one.mass_kg, float(pull), float(pull * math.hypot(u, common)), math.exp(value), float(away))
        for one, pull, u, value, away in zip(masses, pulls, own, mean, apart, strict=True)
    )
    found, spread = tolerances_of(posterior(fit))
    return HangingResult(
        Lot(spoke, found[1:-1], spread[1:-1, 1:-1]),
        rows,
        chi_square,
        degrees,
        float(stats.chi2.sf(chi_square, degrees)),
        mass_budget(fit, spoke, own),
    )


def _as_one(heard: Partials) -> Partials:
    """The partials of a round spoke with the two lines of a split one taken as one in their middle.

    In a jig the planes of a round spoke are nearly alike: a split of their lines, true or misheard, says little of the spoke,
    but where it is misheard it draws both lines off. A quarter of it is taken as the doubt of their middle.
    """
    (low, high, single), (u_low, u_high, u_single) = (
        np.moveaxis(each, 1, 0) for each in (heard.log_frequency, heard.sd)
    )
    split = np.isfinite(u_low) & np.isfinite(u_high)
    u_middle = np.sqrt((u_low**2 + u_high**2) / 4 + ((high - low) / 4) ** 2)
    weight = np.where(split, u_middle, 1.0) ** -2
    other = np.where(np.isfinite(u_single), u_single, np.inf) ** -2.0
    joined = (weight * (low + high) / 2 + other * single) / (weight + other)
    logs, sd = heard.log_frequency.copy(), heard.sd.copy()
    logs[:, 2] = np.where(split, joined, single)
    sd[:, 2] = np.where(split, (weight + other) ** -0.5, u_single)
    sd[:, :2] = np.where(split[:, None], np.inf, sd[:, :2])
    return replace(heard, log_frequency=logs, sd=sd)


def _with_common(model: SpokeModel, sd: float) -> SpokeModel:
    """The model with one more tolerance: all pulls off by one factor, which is as if mass and stiffness were by its inverse."""
    row = np.array([[0.0, -sd, -sd, -sd]])
    ends = model.thick_ends
    if ends is not None:
        ends = replace(ends, beyond=np.concatenate([ends.beyond, np.zeros((1, 3))]))
    return replace(
        model,
        tolerances=np.concatenate([model.tolerances, row]),
        sources=(*model.sources, "gravity and buoyancy"),
        thick_ends=ends,
    )


def _refuse_slips(fit: GroupFit, masses: Sequence[Hung], pulls: np.ndarray) -> None:
    """Refuse a mass that its sound plainly contradicts, against the median of all."""
    apart = fit.moments()[0] - np.log(pulls)
    middle = float(np.median(apart))
    if abs(middle) > 2 * _SLIP:
        raise InputError(
            f"the sounds go with {100 * math.exp(middle):.0f} % of the stated masses; check their unit (kg), the kind of "
            "spoke and "
            "--length"
        )
    for one, away in zip(masses, apart, strict=True):
        if abs(away - middle) > _SLIP:
            raise InputError(
                f"{one.mass_kg:g} kg does not go with its sound, which is of {one.mass_kg * math.exp(away - middle):.3g} kg "
                "beside the "
                "others; check the row's mass and recording"
            )
