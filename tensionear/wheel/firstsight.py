"""What a wheel tells of its rim's stiffness as it stands, before any nipple is turned. Pure; imports learning and stand."""

from __future__ import annotations

from collections.abc import Callable
from functools import partial

import numpy as np

from tensionear.wheel.learning import RimKnowledge
from tensionear.wheel.mechanics import Skeleton, influence, scaled
from tensionear.wheel.ringbeam import Floats
from tensionear.wheel.stand import Seen, Supposed, suppose
from tensionear.wheel.untrue import USUAL

#: Rounds of improvement; step of the slopes, longest step of a round and farthest place, in sigmas of what was known.
ROUNDS, STEP, LONGEST, FARTHEST = 4, 0.25, 1.0, 3.0
#: Change that ends the rounds, in sigmas.
SMALL = 0.1
#: Weight of what is seen: how wheels are spoilt is itself a supposition. With 1 the figures came out too sure by a fifth
#: on simulated wheels; with this they are as sure as they should be, and what it is good for is still there.
TRUST = 0.25
#: A rim more untrue than the usual by this factor is bent, and its own shape is taken for stiffness too easily.
BENT = 1.5
#: Share of the spokes whose tension, lateral and radial place must all be read: from one kind alone only the way
#: wheels are spoilt would be learnt, and that is a supposition.
ENOUGH = 0.75


def tells_of_rim(what: Seen) -> bool:
    """True if tensions and run-out were both read nearly all round."""
    return bool(np.all(what.rows.read.mean(axis=1) >= ENOUGH))


def at_first_sight(skeleton: Skeleton, known: RimKnowledge, tensions_n: Floats, what: Seen) -> RimKnowledge:
    """What is known of a rim once the wheel on it was read, by Bayes' rule on the logarithms of its figures;
    ``known`` itself where the readings cannot tell, or the rim is bent.

    Parameters
    ----------
    skeleton : Skeleton
    known : RimKnowledge
        Before the readings.
    tensions_n : (spokes,)
        Tensions the geometric stiffness is taken at.
    what : Seen

    Notes
    -----
    Nipples turned at random make tensions uneven and the rim untrue at once, and the rim's stiffness is in how much of
    one goes with how much of the other, whatever was turned. The figures are those that make all readings most likely
    (type II maximum likelihood, as in `untrue.most_likely`), weighted by `TRUST`, with what was known of them as the
    prior; the covariance is the inverse of the curvature there (Laplace's approximation), never above that of the
    prior. The mean tension tells nothing, so that the axial stiffness stays as doubtful as it was.
    """
    if not tells_of_rim(what):
        return known
    sizes, parts = np.linalg.eigh(known.covariance)
    axes = parts * np.sqrt(np.maximum(sizes, 0.0))

    def score(at: Floats, supposed: Supposed) -> float:
        return TRUST * what.weighed(change(at), supposed)[2] - 0.5 * float(at @ at)

    def change(place: Floats) -> Floats:
        return influence(scaled(skeleton, known.log_factors + axes @ place), tensions_n).stacked()

    place, curvature = np.zeros(4), np.eye(4)
    for _ in range(ROUNDS):
        supposed = suppose(what, change(place))
        if supposed.untrue.lateral_m > BENT * USUAL.lateral_m or supposed.untrue.radial_m > BENT * USUAL.radial_m:
            return known
        slope, curvature = _bent(partial(score, supposed=supposed), place)
        moved = np.clip(np.linalg.solve(curvature, slope), -LONGEST, LONGEST)
        moved = np.clip(place + moved, -FARTHEST, FARTHEST) - place
        place = place + moved
        if np.max(np.abs(moved)) < SMALL:
            break
    covariance = axes @ np.linalg.inv(curvature) @ axes.T
    return RimKnowledge(known.log_factors + axes @ place, (covariance + covariance.T) / 2)


def _bent(score: Callable[[Floats], float], place: Floats) -> tuple[Floats, Floats]:
    """Slope and negative curvature of a score by differences; the curvature is at least that of the prior, 1."""
    steps = STEP * np.eye(len(place))
    here = score(place)
    up, down = (np.array([score(place + sign * step) for step in steps]) for sign in (1, -1))
    bend = np.diag((up + down - 2 * here) / STEP**2)
    for one in range(len(place)):
        for other in range(one):
            both = score(place + steps[one] + steps[other])
            bend[one, other] = bend[other, one] = (both - up[one] - up[other] + here) / STEP**2
    sizes, parts = np.linalg.eigh(-bend)
    return (up - down) / (2 * STEP), (parts * np.maximum(sizes, 1.0)) @ parts.T
