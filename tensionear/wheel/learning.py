"""What is known of a rim's stiffness, and what a pass of turns teaches of it. Pure; imports mechanics only."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

import numpy as np
import numpy.typing as npt

from tensionear.catalogue import RimClass
from tensionear.errors import InputError
from tensionear.wheel.mechanics import Influence, Skeleton, check_stable, influence, scaled, with_wire
from tensionear.wheel.ringbeam import Floats

#: The figures of a rim, in the order of all arrays here.
FIGURES = ("ea_n", "ei_radial_n_m2", "ei_lateral_n_m2", "gj_n_m2")
#: Rounds of improvement, and the change of ln factors that ends them.
ROUNDS, SMALL = 8, 1e-4
#: Step of ln factors by which slopes are taken.
STEP = 0.05
#: One sigma of what the model itself gets wrong of a change, as a share of it: straight spokes, thin ring, even rim.
MODEL_SHARE = 0.02
#: The readings fit a pass if their squared misfits, each over its variance, are on average no more than this.
FITS = 4.0
#: Farthest a figure is thought to be from what is known of it, in sigmas: a rim of another class shows by its misfit.
FARTHEST = 3.0
#: No figure of a rim is farther than this factor from what it was described as.
FACTOR = 1000.0
#: Standard deviation of the zero of a run-out, in m: none is known.
FREE_ZERO_M = 0.01


@dataclass(frozen=True, slots=True, eq=False)
class RimKnowledge:
    """What a rim's figures are to be multiplied with: exp(``log_factors``), (4,), with their covariance, (4, 4)."""

    log_factors: Floats
    covariance: Floats

    def to_dict(self) -> dict[str, Any]:
        """Factor and standard uncertainty (of its logarithm) by figure, and the whole covariance."""
        return {
            "factors": dict(zip(FIGURES, np.exp(self.log_factors).tolist(), strict=True)),
            "u_log_factors": dict(zip(FIGURES, np.sqrt(np.diag(self.covariance)).tolist(), strict=True)),
            "covariance": self.covariance.tolist(),
        }


def rim_from_dict(kept: Mapping[str, Any]) -> RimKnowledge:
    """What ``RimKnowledge.to_dict`` kept; InputError if it is no such thing."""
    try:
        factors = np.array([float(kept["factors"][name]) for name in FIGURES])
        covariance = np.array(kept["covariance"], dtype=float)
        with np.errstate(all="ignore"):
            good = (
                covariance.shape == (4, 4)
                and np.all((factors > 1 / FACTOR) & (factors < FACTOR))
                and np.all(np.abs(covariance) < math.log(FACTOR) ** 2)
                and np.allclose(covariance, covariance.T)
                and np.all(np.linalg.eigvalsh(covariance) >= -1e-9)
            )
    except (KeyError, TypeError, ValueError, np.linalg.LinAlgError):
        good = False
    if not good or not np.all(np.isfinite(covariance)) or not np.all(np.isfinite(factors)):
        raise InputError("the kept rim is no table of four factors and their covariance; plan without it")
    return RimKnowledge(np.log(factors), covariance)


def as_described(stiffness: RimClass) -> RimKnowledge:
    """Before anything is learnt: each figure as described, a factor ``u_factor`` up or down on its own."""
    return RimKnowledge(np.zeros(4), np.eye(4) * math.log(stiffness.u_factor) ** 2)


@dataclass(frozen=True, slots=True, eq=False)
class Answer:
    """How a wheel answers to turns, and how that may differ by what is not known of its rim and of its spokes' wire.

    ``shifts``: changes of ``nominal.stacked()`` by one sigma of each independent part of the doubt, (3 spokes, spokes).
    """

    nominal: Influence
    shifts: tuple[Floats, ...] = field(default=())


def answer_of(skeleton: Skeleton, rim: RimKnowledge, tensions_n: Floats) -> Answer:
    """The answer of a wheel at these tensions, with the doubts about it; InputError if that rim would buckle."""
    check_stable(scaled(skeleton, rim.log_factors), tensions_n)
    nominal = influence(scaled(skeleton, rim.log_factors), tensions_n)
    sizes, parts = np.linalg.eigh(rim.covariance)
    here, shifts = scaled(skeleton, rim.log_factors), []

    def shift(stiffer: Skeleton, softer: Skeleton) -> Floats:
        """Half of what lies between the two."""
        apart: Floats = influence(stiffer, tensions_n).stacked() - influence(softer, tensions_n).stacked()
        return apart / 2

    if np.any(skeleton.u_stiffness):
        shifts.append(shift(with_wire(here, 1.0), with_wire(here, -1.0)))
    for size, part in zip(sizes, parts.T, strict=True):
        if size > SMALL**2:
            upward = part * math.copysign(math.sqrt(float(size)), float(part.sum()))
            shifts.append(shift(scaled(here, upward), scaled(here, -upward)))
    return Answer(nominal, tuple(shifts))


@dataclass(frozen=True, slots=True, eq=False)
class PassDone:
    """One pass: what was turned, and tension, lateral and radial readings before and after.

    ``changed`` and ``u_changed`` (3 spokes,): the changes in N and m, stacked, with their standard uncertainties
    (infinite where not read); ``tensions_n`` (spokes,): half-way; ``turns``, ``u_turns`` (spokes,).
    """

    tensions_n: Floats
    changed: Floats
    u_changed: Floats
    turns: Floats
    u_turns: Floats


def learnt(skeleton: Skeleton, before: RimKnowledge, done: PassDone) -> RimKnowledge:
    """What is known of the rim once a pass was heard: Bayes' rule on the logarithms of its figures.

    Notes
    -----
    Gauss-Newton for the most probable factors; the covariance is that of the last linear step (A. Tarantola, Inverse
    Problem Theory, section 3.2; from memory). The errors of the changes: readings, the zero of each run-out, what a
    nipple really turned, and `MODEL_SHARE` of the change. InputError if the readings do not fit the turns at all.
    """
    read = np.flatnonzero(np.isfinite(done.u_changed))
    inverse_prior = np.linalg.inv(before.covariance)
    reach = FARTHEST * np.sqrt(np.diag(before.covariance))
    factors, covariance = before.log_factors.copy(), before.covariance
    for _ in range(ROUNDS if len(read) else 0):
        here, slopes = _linear(skeleton, factors, done)
        weight = np.linalg.inv(_noise(done, here)[np.ix_(read, read)])
        gap = (done.changed - here @ done.turns)[read]
        covariance = np.linalg.inv(slopes[read].T @ weight @ slopes[read] + inverse_prior)
        step = covariance @ (slopes[read].T @ weight @ gap - inverse_prior @ (factors - before.log_factors))
        moved = np.clip(factors + step, before.log_factors - reach, before.log_factors + reach) - factors
        factors = factors + moved
        if np.max(np.abs(moved)) < SMALL:
            break
    _check_fit(skeleton, factors, done, read)
    return RimKnowledge(factors, covariance)


def _linear(skeleton: Skeleton, factors: Floats, done: PassDone) -> tuple[Floats, Floats]:
    """The answer to turns, and how the answer to those done changes with each figure's logarithm."""
    here = influence(scaled(skeleton, factors), done.tensions_n).stacked()
    apart = [influence(scaled(skeleton, factors + step), done.tensions_n).stacked() for step in STEP * np.eye(4)]
    return here, np.column_stack([(each - here) @ done.turns / STEP for each in apart])


def _check_fit(skeleton: Skeleton, factors: Floats, done: PassDone, read: npt.NDArray[np.int64]) -> None:
    """InputError if what was read after the turns is not what such turns do."""
    if not len(read):
        return
    here = influence(scaled(skeleton, factors), done.tensions_n).stacked()
    gap = (done.changed - here @ done.turns)[read]
    misfit = float(gap @ np.linalg.solve(_noise(done, here)[np.ix_(read, read)], gap)) / len(read)
    if misfit > FITS:
        raise InputError(
            f"the new readings do not follow from the kept pass (mean squared misfit {misfit:.0f}, allowed {FITS:g}): "
            "give the readings taken after it was done as planned, or plan without it"
        )


def _noise(done: PassDone, here: Floats) -> Floats:
    """Covariance of what was changed but for the rim's figures, (3 spokes, 3 spokes); rows not read are to be left out."""
    u = np.where(np.isfinite(done.u_changed), done.u_changed, 0.0)
    by_turns = here * done.u_turns
    share = here * (MODEL_SHARE * done.turns)
    found: Floats = np.diag(u**2) + by_turns @ by_turns.T + share @ share.T
    third = len(u) // 3
    for start in (third, 2 * third):
        found[start : start + third, start : start + third] += FREE_ZERO_M**2
    return found
