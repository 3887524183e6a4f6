"""Natural frequencies of a spoke with something sitting on it. Imports ``beam`` and ``spoke`` only.

A thing of mass m is taken as two halves a little apart, so that it resists being moved and being turned. With the bare
spoke's modes phi_n (mass-normalised) at angular frequencies w_n the loaded ones are the eigenvalues of
D (1 + m sum_i phi(x_i) phi(x_i)' / 2) D with D = diag(1/w_n): they are 1/w^2 (Rayleigh-Ritz in the lowest bare modes).
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from .beam import BendingPlane, beam_matrices, bubble_counts
from .spoke import Stretch

Array = NDArray[np.float64]

MODES = 10
_BUBBLES, _BASIS = 26, 18
#: What is tabled: ln T about the middle, ln of the mass over the spoke's own, the place as a share of the length from the hub,
#: and half the distance of the halves in m.
TENSION_REACH = 0.55
RATIOS = (0.04, 5.0)
PLACES = (0.12, 0.88)
HALVES_M = (0.003, 0.010)
_TENSION_NODES, _RATIO_NODES, _PLACE_NODES = 3, 13, 39


@dataclass(frozen=True, slots=True, eq=False)
class LoadedTable:
    """ln f of the first ``MODES`` modes of a loaded spoke; built by ``loaded_table``.

    ``logs`` has shape (tensions, ratios, places, halves, MODES), its nodes evenly spaced in ln T, ln of the ratio of masses,
    place and half distance.
    """

    logs: Array
    log_tension: float

    @property
    def low(self) -> Array:
        """The lowest ln T, ln ratio, place and half distance, shape (4,)."""
        return np.array([self.log_tension - TENSION_REACH, math.log(RATIOS[0]), PLACES[0], HALVES_M[0]])

    @property
    def step(self) -> Array:
        """From node to node, shape (4,)."""
        high = np.array([self.log_tension + TENSION_REACH, math.log(RATIOS[1]), PLACES[1], HALVES_M[1]])
        return np.asarray((high - self.low) / (np.array(self.logs.shape[:4]) - 1))

    def log_frequencies(self, states: Array) -> Array:
        """ln f (..., MODES) at states (..., 4): ln T, ln of the ratio of masses, place, half distance.

        Quadratic in ln T, linear between the nodes of the others.
        """
        node = np.clip((states - self.low) / self.step, 0, np.array(self.logs.shape[:4]) - 1 - 1e-9)
        t = node[..., 0] - 1
        by_tension = np.stack([t * (t - 1) / 2, 1 - t**2, t * (t + 1) / 2], axis=-1)
        below = node[..., 1:].astype(np.intp)
        part = node[..., 1:] - below
        found = np.zeros((*states.shape[:-1], MODES))
        for corner in np.ndindex(2, 2, 2):
            up = np.array(corner)
            weight = np.prod(np.where(up == 1, part, 1 - part), axis=-1)
            ratio, place, half = np.moveaxis(below + up, -1, 0)
            for tension in range(_TENSION_NODES):
                found += (weight * by_tension[..., tension])[..., None] * self.logs[tension, ratio, place, half]
        return found


def loaded_table(
    stretches: Sequence[Stretch], plane: BendingPlane, log_hub: float, log_nipple: float, log_tension: float
) -> LoadedTable:
    """Tabulate a loaded spoke in one bending plane, its ends (ln of N m/rad) as given, its tension about ``log_tension``."""
    length = sum(piece.length_m for piece in stretches)
    own_kg = mass_of(stretches)
    tension = np.exp(np.linspace(log_tension - TENSION_REACH, log_tension + TENSION_REACH, _TENSION_NODES))
    mass = own_kg * np.exp(np.linspace(math.log(RATIOS[0]), math.log(RATIOS[1]), _RATIO_NODES))
    place = length * np.linspace(*PLACES, _PLACE_NODES)
    beam = beam_matrices(stretches, plane, _BUBBLES)
    whiten = np.linalg.inv(np.linalg.cholesky(beam.mass))
    rows = np.stack([deflection_rows(stretches, place + sign * half) for half in HALVES_M for sign in (-1, 1)])
    logs = np.empty((_TENSION_NODES, _RATIO_NODES, _PLACE_NODES, len(HALVES_M), MODES))
    for at, newtons in enumerate(tension):
        stiffness = beam.bending + newtons * beam.geometric
        stiffness[beam.hub_slope, beam.hub_slope] += math.exp(log_hub)
        stiffness[beam.nipple_slope, beam.nipple_slope] += math.exp(log_nipple)
        squares, vectors = np.linalg.eigh(whiten @ stiffness @ whiten.T)
        inverse = 1 / np.sqrt(squares[:_BASIS])
        moved = (rows @ (whiten.T @ vectors)[:, :_BASIS]) * inverse
        moved = moved.reshape(len(HALVES_M), 2, _PLACE_NODES, _BASIS)
        added = np.einsum("hspi,hspj->phij", moved, moved) / 2
        loaded = np.diag(inverse**2) + mass[:, None, None, None, None] * added
        logs[at] = -0.5 * np.log(np.linalg.eigvalsh(loaded)[..., ::-1][..., :MODES]) - math.log(2 * math.pi)
    return LoadedTable(logs, log_tension)


def mass_of(stretches: Sequence[Stretch]) -> float:
    """Mass of the free length in kg."""
    return sum(piece.length_m * piece.linear_density_kg_m for piece in stretches)


def deflection_rows(stretches: Sequence[Stretch], places_m: Array) -> Array:
    """What each unknown of ``beam_matrices`` does to the deflection at these places (m from the hub), (places, unknowns)."""
    counts = bubble_counts(stretches, _BUBBLES)
    inner = len(stretches) - 1
    rows = np.zeros((len(places_m), 2 + 2 * inner + sum(counts)))
    first_bubble, begin = 2 + 2 * inner, 0.0
    for index, (piece, inside) in enumerate(zip(stretches, counts, strict=True)):
        here = np.flatnonzero((places_m >= begin) & (places_m < begin + piece.length_m))
        s = 2 * (places_m[here] - begin) / piece.length_m - 1
        left = [-1, 0] if index == 0 else [2 * index, 2 * index + 1]
        right = [-1, 1] if index == inner else [2 * index + 2, 2 * index + 3]
        shapes = _shapes(s, piece.length_m / 2, inside)
        for unknown, shape in zip([*left, *right, *range(first_bubble, first_bubble + inside)], shapes, strict=True):
            if unknown >= 0:
                rows[here, unknown] += shape
        first_bubble, begin = first_bubble + inside, begin + piece.length_m
    return rows


def _shapes(s: Array, half_m: float, bubbles: int) -> list[Array]:
    """Hermite cubics of deflection and slope at either end, then the bubbles, at s = -1..1 of an element."""
    legendre = np.polynomial.legendre.legvander(s, bubbles + 4).T

    def integral(m: int) -> Array:
        return np.asarray((legendre[m + 1] - legendre[m - 1]) / (2 * m + 1))

    cubics = [
        0.5 - 0.75 * s + 0.25 * s**3,
        half_m * (0.25 - 0.25 * s - 0.25 * s**2 + 0.25 * s**3),
        0.5 + 0.75 * s - 0.25 * s**3,
        half_m * (-0.25 - 0.25 * s + 0.25 * s**2 + 0.25 * s**3),
    ]
    return cubics + [(integral(m + 1) - integral(m - 1)) / (2 * m + 1) for m in range(2, bubbles + 2)]
