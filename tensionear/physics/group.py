"""What a fit of spokes that share their making starts from: models, what was heard, what is believed. Imports ``modes``."""

from __future__ import annotations

import math
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from .modes import MODES, ModeTable

Array = NDArray[np.float64]

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


@dataclass(frozen=True, slots=True, eq=False)
class SpokeModel:
    """One kind of spoke at one free length: a table for each plane and the effect of each tolerance.

    ``tables`` has two entries (twice the same for a round spoke). ``tolerances`` (sources, 4) gives, for one standard
    deviation of each source, the relative change of length, mass per length, flat and edge stiffness. ``bends`` (further
    sources, 2, MODES) gives for others what they add to ln f of each plane's partials.
    """

    tables: tuple[ModeTable, ModeTable]
    tolerances: Array
    sources: tuple[str, ...]
    bends: Array = field(default_factory=lambda: np.zeros((0, 2, MODES)))


@dataclass(frozen=True, slots=True, eq=False)
class Partials:
    """What was heard of a group: ln f and its standard deviation, shapes (spokes, 3, MODES); sd infinite where not heard.

    The rows are the first plane, the second plane, and lines that may be either's or a blend of both. The fit starts at
    ``start_log_tension`` (spokes,); where that is itself an observation, ``tension_sd`` (spokes,) is its standard deviation.
    """

    log_frequency: Array
    sd: Array
    start_log_tension: Array
    tension_sd: Array | None = None
