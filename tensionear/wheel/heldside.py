"""Pinched spokes of a side to tensions: what may be said of each. Imports physics, pitch.

A spoke is told only where enough of its partials fit one state of it, and no other state nearly as well.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence

import numpy as np
from numpy.typing import NDArray

from tensionear.physics.expectation import bending_planes, spoke_model
from tensionear.physics.heldfit import HeldFit, HeldSide, fit_held
from tensionear.pitch.alone import ring_lines
from tensionear.pitch.lines import KeptRing

from .model import Place
from .sidefit import ReadTension, SideTensions

Array = NDArray[np.float64]

_COVERAGE = 1.959964
_WIDER, _OWN_SD = 1.2, 0.002  # by which the fit states too little, and of T, in simulated rounds
_FEWEST, _DEAREST_U, _MARGIN = 6, 0.008, 6.0
_FEWEST_SPOKES, _FEWEST_SHARE = 3, 0.25  # of those heard: where fewer are clear, the side's fit is not to be trusted
_SENSITIVITY = 2.3


def can_hold(place: Place) -> bool:
    """Whether it is stated where a spoke crosses another, and so where it was pinched."""
    return place.meets is not None


def fit_held_side(places: Sequence[Place], rings: Mapping[int, KeptRing]) -> SideTensions | None:
    """Fit the pinched spokes of one side that were heard; None if too few of them can be told."""
    places = [place for place in places if place.number in rings]
    places = [place for place in places if place.spoke == places[0].spoke]
    heard = {place.number: ring_lines(rings[place.number]) for place in places}
    places = [place for place in places if heard[place.number]]
    if len(places) < _FEWEST_SPOKES:
        return None
    fit = fit_held(_side_of(places), [heard[place.number] for place in places])
    told = np.flatnonzero(clear(fit))
    return (
        _tensions([places[at] for at in told], fit, told)
        if len(told) >= max(_FEWEST_SPOKES, _FEWEST_SHARE * len(places))
        else None
    )


def _side_of(places: Sequence[Place]) -> HeldSide:
    """What the fit is told of the side."""
    first = places[0]
    length_m = float(np.median([place.free_length_m for place in places]))
    meets = [place.meets.from_hub_m for place in places if place.meets is not None]
    model = spoke_model(first.spoke, length_m, first.u_length_m)
    return HeldSide(
        first.spoke.stretches(length_m), float(np.median(meets)), bending_planes(first.spoke), model.tolerances
    )


def clear(fit: HeldFit) -> NDArray[np.bool_]:
    """Which spokes the fit tells, (spokes,)."""
    return np.asarray((fit.matched >= _FEWEST) & (np.sqrt(fit.individual) < _DEAREST_U) & (fit.margin > _MARGIN))


def _tensions(places: Sequence[Place], fit: HeldFit, told: NDArray[np.intp]) -> SideTensions:
    """The posterior as tensions."""
    count = len(told)
    loading = fit.loading[told]
    own = _WIDER**2 * fit.individual[told] + _OWN_SD**2
    covariance = np.diag(own) + loading @ fit.shared_covariance @ loading.T
    tension = np.exp(fit.log_tension[told])
    level = float(tension.mean())
    share = tension / tension.sum()
    slope = (tension / level)[:, None] * (np.eye(count) - share)  # of T/mean(T) by ln T
    u_deviation = np.sqrt(np.einsum("ij,jk,ik->i", slope, covariance, slope))
    u_level = level * math.sqrt(float(share @ covariance @ share))
    found = {}
    for at, place in enumerate(places):
        sd = math.sqrt(covariance[at, at])
        value = float(tension[at])
        interval = (value * math.exp(-_COVERAGE * sd), value * math.exp(_COVERAGE * sd))
        u = (interval[1] - interval[0]) / 2 / _COVERAGE
        part = min(value * math.sqrt(own[at]), u)
        found[place.number] = ReadTension(
            value,
            u,
            interval,
            float(part),
            math.sqrt(max(u**2 - part**2, 0.0)),
            float(tension[at] / level - 1),
            float(u_deviation[at]),
            _SENSITIVITY,
            float(fit.misfit[told[at]]),
        )
    return SideTensions(found, level, u_level, ())
