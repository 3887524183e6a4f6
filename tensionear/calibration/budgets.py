"""Uncertainty budgets of what a calibration found, source by source, as JCGM 100:2008 has them. Pure; imports physics.

A fit is a mixture of Gaussians. In each of its parts the estimate is linear in the inputs: in what was believed of each tolerance
(0 +/- 1 before), in each known tension or hung mass, and in what was heard. With C the covariance of what a group shares after
all, ds/dm = C / u^2 for the belief m +/- u of a shared unknown, and ds/dy = C r / v for an observation y of r s with variance v.
What the named inputs leave of the whole is the sound's: its partials, and the ends as far as these leave them open.
"""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from tensionear.physics.believed import SHARED_ENDS
from tensionear.physics.inverse import GroupFit
from tensionear.physics.known import GAUGE, KnownTensions
from tensionear.physics.spoke import Spoke
from tensionear.physics.spokemodel import Array
from tensionear.physics.uncertainty import Budget, Contribution

Members = NDArray[np.intp]

SOUND = "sound: partials and ends"


def level_budget(fit: GroupFit, members: Members) -> Budget:
    """Budget of the mean ln T of some members (n,) of a group, by its sound alone; its tolerances began as stated."""
    return _budget(_level(fit, members), _tolerances(fit, members))


def tied_budget(before: GroupFit, after: GroupFit, known: KnownTensions, members: Members) -> Budget:
    """The same once tied, for members none of which is known."""
    pull = np.einsum("c,cs,cst->ct", after.weight, _slope(after, members), after.shared_covariance)
    named = _tolerances(after, members)
    if known.common_sd:
        by_gauge = float(pull[:, -1].sum()) / known.common_sd**2
        named.append(Contribution("known tensions, in common", 0.0, known.common_sd, by_gauge))
    rows = np.concatenate([before.loading[:, known.at], np.ones((len(pull), len(known.at), 1))], axis=2)
    by_known = np.sum(np.einsum("ct,ckt->ck", pull, rows) / (before.individual[:, known.at] + known.own_sd**2), axis=0)
    own = float(np.linalg.norm(by_known * known.own_sd))
    named.append(Contribution("known tensions, each by itself", 0.0, own, 1.0))
    return _budget(_level(after, members), named)


def mass_budget(fit: GroupFit, spoke: Spoke, own_sd: Array) -> Budget:
    """Budget of ln of the mass per length found by hanging masses, each known to ``own_sd`` (masses,) of ln."""
    slope = np.zeros(fit.shared.shape[1])
    made = [each.linear_density for each in spoke.tolerances()]
    slope[SHARED_ENDS + 1 : SHARED_ENDS + 1 + len(made)] = made
    pull = np.einsum("c,s,cst->ct", fit.weight, slope, fit.shared_covariance)
    named = [
        Contribution(source, 0.0, 1.0, float(pull[:, SHARED_ENDS + at].sum())) for at, source in enumerate(fit.sources)
    ]
    by_mass = np.einsum("ct,cit->i", pull, fit.loading) / own_sd**2
    named.append(Contribution("masses, each by itself", 0.0, float(np.linalg.norm(by_mass * own_sd)), 1.0))
    inner = np.einsum("s,cst,t->c", slope, fit.shared_covariance, slope)
    return _budget(_spread(fit.weight, fit.shared @ slope, inner), named)


def _slope(fit: GroupFit, members: Members) -> Array:
    """Derivative of the members' mean ln T by what the group shares, (parts, shared)."""
    return np.asarray(fit.loading[:, members].mean(axis=1))


def _level(fit: GroupFit, members: Members) -> float:
    """Standard uncertainty of the members' mean ln T."""
    slope = _slope(fit, members)
    inner = np.einsum("cs,cst,ct->c", slope, fit.shared_covariance, slope)
    inner = inner + fit.individual[:, members].sum(axis=1) / len(members) ** 2
    return _spread(fit.weight, fit.log_tension[:, members].mean(axis=1), inner)


def _spread(weight: Array, middle: Array, variance: Array) -> float:
    """Standard deviation of a mixture."""
    return math.sqrt(float(weight @ (variance + (middle - weight @ middle) ** 2)))


def _tolerances(fit: GroupFit, members: Members) -> list[Contribution]:
    """What was believed of each tolerance."""
    pull = np.einsum("c,cs,cst->t", fit.weight, _slope(fit, members), fit.shared_covariance)
    return [
        Contribution(source, 0.0, 1.0, float(pull[SHARED_ENDS + at]))
        for at, source in enumerate(fit.sources)
        if source != GAUGE
    ]


def _budget(whole: float, named: list[Contribution]) -> Budget:
    """The named inputs and what they leave of the whole."""
    left = whole**2 - Budget(tuple(named)).combined_standard_uncertainty ** 2
    return Budget((*named, Contribution(SOUND, 0.0, math.sqrt(max(left, 0.0)), 1.0)))
