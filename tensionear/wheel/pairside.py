"""Touching pairs of a side to tensions: which spokes are partners, what of each pair may be said. Imports physics, pitch.

A pair is split only where the sound tells its two spokes apart; where it does not, the pair's mean alone is given. Nothing
is said of one spoke whose partner was not heard.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from tensionear.physics.expectation import spoke_model
from tensionear.physics.pairfit import fit_pairs
from tensionear.physics.pairvalues import PairsFit, PairSide
from tensionear.pitch.lines import KeptRing
from tensionear.pitch.shared import shared_lines

from .model import Place
from .sidefit import ReadTension, SideTensions

Array = NDArray[np.float64]

_COVERAGE = 1.959964
_WIDER = 1.3  # by which a joint fit of pairs states too little, in simulated rounds
_OWN_SD = 0.004  # of T, what one pair's crossing lies off its fellows'
_FEWEST, _SHARE, _DEAREST_U, _MIRROR, _PLAIN = 6, 0.75, 0.035, 6.0, 2.0
_FEWEST_PAIRS = 2
_BOTH_ENDS_SENSITIVITY = 2.35


@dataclass(frozen=True, slots=True)
class PairMean:
    """The mean tension of a pair whose two spokes could not be told apart, with its standard uncertainty (N)."""

    spokes: tuple[int, int]
    tension_n: float
    u_tension_n: float


@dataclass(frozen=True, slots=True)
class SidePairs:
    """A side of touching pairs: what was split, and the means of those that were not."""

    tensions: SideTensions
    means: tuple[PairMean, ...]


def partners(places: Sequence[Place]) -> list[tuple[Place, Place]]:
    """Pairs of places that meet at their outermost crossings, the one running clockwise first."""
    by_number = {place.number: place for place in places}
    found = []
    for place in places:
        if place.line is None or place.line.runs != "clockwise" or place.meets is None or place.meets.partner is None:
            continue
        other = by_number.get(place.meets.partner)
        if other is not None and other.meets is not None and other.meets.partner == place.number:
            found.append((place, other))
    return found


def can_split(place: Place) -> bool:
    """Whether enough is stated of a touching spoke: a round one of known partner."""
    return place.meets is not None and place.meets.partner is not None and not place.spoke.is_flat


def fit_pair_side(places: Sequence[Place], rings: Mapping[int, KeptRing]) -> SidePairs | None:
    """Fit the touching pairs of one side whose both spokes were heard; None if there are too few."""
    pairs = [pair for pair in partners(places) if all(place.number in rings for place in pair)]
    if not pairs:
        return None
    common = pairs[0][0].spoke
    pairs = [pair for pair in pairs if all(place.spoke == common for place in pair)]
    heard = [shared_lines(rings[first.number], rings[second.number]) for first, second in pairs]
    usable = [at for at, lines in enumerate(heard) if len(lines) >= _FEWEST]
    if len(usable) < _FEWEST_PAIRS:
        return None
    pairs, heard = [pairs[at] for at in usable], [heard[at] for at in usable]
    fit = fit_pairs(_side_of(pairs), heard)
    return _told(pairs, fit)


def _side_of(pairs: Sequence[tuple[Place, Place]]) -> PairSide:
    """What the fit is told of the side."""
    places = [place for pair in pairs for place in pair]
    first = places[0]
    length_m = float(np.median([place.free_length_m for place in places]))
    model = spoke_model(first.spoke, length_m, first.u_length_m)
    meets = [place.meets for place in places if place.meets is not None]
    return PairSide(
        first.spoke.stretches(length_m),
        float(np.median([each.from_hub_m for each in meets])),
        float(np.median([each.angle_rad for each in meets])),
        model.tolerances,
    )


def refused(fit: PairsFit) -> NDArray[np.bool_]:
    """Which pairs the fit does not tell apart, shape (pairs,)."""
    covariance = fit.covariance()
    u = np.sqrt(np.diag(covariance)).reshape(-1, 2)
    difference, u_difference = _differences(fit)
    few = (fit.matched < _FEWEST) | (fit.share < _SHARE)
    vague = u.max(axis=1) > _DEAREST_U
    mirrored = (fit.mirror < _MIRROR) & (np.abs(difference) > _PLAIN * u_difference)
    even = ~fit.told & (np.abs(difference) < _PLAIN * u_difference)
    return np.asarray(few | vague | mirrored | even)


def _differences(fit: PairsFit) -> tuple[Array, Array]:
    """ln T1 - ln T2 of each pair and its standard uncertainty."""
    covariance, pairs = fit.covariance(), len(fit.log_tension)
    first, second = 2 * np.arange(pairs), 2 * np.arange(pairs) + 1
    variance = covariance[first, first] + covariance[second, second] - 2 * covariance[first, second]
    spread = np.sqrt(_WIDER**2 * variance + 2 * _OWN_SD**2)
    return np.asarray(fit.log_tension[:, 0] - fit.log_tension[:, 1]), np.asarray(spread)


def _told(pairs: Sequence[tuple[Place, Place]], fit: PairsFit) -> SidePairs:
    """The posterior as tensions of spokes, and means of pairs."""
    count = 2 * len(pairs)
    covariance = _WIDER**2 * fit.covariance() + _OWN_SD**2 * np.eye(count)
    tension = np.exp(fit.log_tension).ravel()
    level = float(tension.mean())
    share = tension / tension.sum()
    slope = (tension / level)[:, None] * (np.eye(count) - share)  # of T/mean(T) by ln T
    u_deviation = np.sqrt(np.einsum("ij,jk,ik->i", slope, covariance, slope))
    u_level = level * math.sqrt(float(share @ covariance @ share))
    not_split = refused(fit)
    found, means = {}, []
    for row, pair in enumerate(pairs):
        own = slice(2 * row, 2 * row + 2)
        if not_split[row]:
            half = tension[own] / tension[own].sum()
            mean = float(tension[own].mean())
            means.append(
                PairMean(
                    (pair[0].number, pair[1].number), mean, mean * math.sqrt(float(half @ covariance[own, own] @ half))
                )
            )
            continue
        for at, place in zip((2 * row, 2 * row + 1), pair, strict=True):
            found[place.number] = _tension(
                tension[at], covariance[at, at], tension[at] / level - 1, u_deviation[at], fit, row
            )
    return SidePairs(SideTensions(found, level, u_level, ()), tuple(means))


def _tension(
    value: float, variance: float, deviation: float, u_deviation: float, fit: PairsFit, row: int
) -> ReadTension:
    sd = math.sqrt(variance)
    interval = (value * math.exp(-_COVERAGE * sd), value * math.exp(_COVERAGE * sd))
    u = (interval[1] - interval[0]) / 2 / _COVERAGE
    own = min(value * u_deviation / (1 + deviation), u)
    return ReadTension(
        float(value),
        u,
        interval,
        float(own),
        math.sqrt(max(u**2 - own**2, 0.0)),
        float(deviation),
        float(u_deviation),
        _BOTH_ENDS_SENSITIVITY,
        float(fit.misfit[row]),
    )
