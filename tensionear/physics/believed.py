"""What is believed before listening of all that a group of spokes shares: ends and tolerances. Imports ``spokemodel`` alone."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from .spokemodel import Array

#: Shared unknowns that tell the ends: the base at hub and nipple, and how either plane's differ from it.
SHARED_ENDS = 6


@dataclass(frozen=True, slots=True)
class EndsPrior:
    """What is believed of the ends before listening; stiffness in N m/rad.

    ``lowest``..``highest`` is the flat range of a side's base; ``plane_sd`` how far the planes of a side differ, and
    ``spoke_sd`` how far spokes of a side differ, both one standard deviation of ln k.
    """

    lowest: float = 3.0
    highest: float = 250.0
    nodes: int = 5
    plane_sd: float = 0.25
    spoke_sd: float = 0.22


@dataclass(frozen=True, slots=True, eq=False)
class SharedPrior:
    """What is believed of all a group shares, as a mixture of Gaussians; what a calibration hands to later wheels.

    Shapes: ``weight`` (parts,), ``mean`` (parts, shared), ``covariance`` (parts, shared, shared). Order: ln k of hub and nipple
    end, how the first and the second plane's differ from them (hub, nipple, hub, nipple), then one standardised unknown for
    each source of tolerance. ``ends_known`` tells whether the ends were learned at all.
    """

    weight: Array
    mean: Array
    covariance: Array
    ends_known: bool = True


def flat_prior(prior: EndsPrior, sources: int) -> SharedPrior:
    """Nothing known but the ranges: ends flat in ln k, as overlapping Gaussians; ``sources`` tolerances as stated."""
    span = math.log(prior.highest / prior.lowest)
    centres = math.log(prior.lowest) + span * (np.arange(prior.nodes) + 0.5) / prior.nodes
    mean = np.zeros((prior.nodes**2, SHARED_ENDS + sources))
    mean[:, :2] = [(hub, nipple) for hub in centres for nipple in centres]
    sd = np.concatenate([[0.55 * span / prior.nodes] * 2, [prior.plane_sd] * 4, np.ones(sources)])
    parts = len(mean)
    return SharedPrior(
        np.full(parts, 1 / parts), mean, np.broadcast_to(np.diag(sd**2), (parts, len(sd), len(sd))), False
    )
