"""Natural frequencies of a tensioned beam of uniform stretches with springy ends, exact. Imports ``spoke`` only.

Symbols: EI w'''' - T w'' + mu w_tt = 0 (Euler-Bernoulli with axial tension), w = 0 at both ends, bending moment there
proportional to the slope: EI w''(0) = k_hub w'(0), EI w''(L) = -k_nipple w'(L). The stiffness number of a uniform beam
is xi = L sqrt(T/EI).

Method: Legendre p-elements, one a stretch - cubic Hermite end functions plus twice-integrated Legendre polynomials, whose
bending matrix is diagonal. The lowest modes are the largest eigenvalues of M v = K v / omega^2, so no mode can be
skipped and the lowest are the most exact. The degree grows with the stiffness number, whose end layers are L/xi wide.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from .spoke import Stretch

BendingPlane = Literal["flat", "edge"]
Matrix = NDArray[np.float64]


@dataclass(frozen=True, slots=True, eq=False)
class BeamMatrices:
    """Matrices of one bending plane: stiffness is ``bending + T geometric``, plus the end springs on two slopes.

    ``hub_slope`` and ``nipple_slope`` are the indices of the end rotations; a spring adds k to that diagonal entry.
    """

    bending: Matrix
    geometric: Matrix
    mass: Matrix
    hub_slope: int
    nipple_slope: int


def natural_frequencies(
    stretches: Sequence[Stretch],
    tension_n: float,
    hub_stiffness_n_m: float,
    nipple_stiffness_n_m: float,
    plane: BendingPlane,
    count: int,
) -> Matrix:
    """The lowest natural frequencies in Hz, ascending.

    Parameters
    ----------
    stretches : sequence of Stretch
        Uniform pieces from hub to nipple.
    tension_n : float
        >= 0.
    hub_stiffness_n_m, nipple_stiffness_n_m : float
        Rotational stiffness of the ends in N m/rad, >= 0 (0 pinned; 1e9 is clamped for any spoke).
    plane : {"flat", "edge"}
    count : int
        How many, >= 1.

    Returns
    -------
    ndarray, shape (count,)

    Notes
    -----
    Agrees with the roots of the characteristic equation to 1e-9 for stiffness numbers 0..500.
    """
    if tension_n < 0 or hub_stiffness_n_m < 0 or nipple_stiffness_n_m < 0:
        raise ValueError("tension and end stiffness must not be negative")
    length = sum(piece.length_m for piece in stretches)
    softest = min(_stiffness(piece, plane) for piece in stretches)
    xi = length * math.sqrt(tension_n / softest)
    bubbles = 14 + 2 * count + math.ceil(2.6 * math.sqrt(xi))
    beam = beam_matrices(stretches, plane, bubbles)
    stiffness = beam.bending + tension_n * beam.geometric
    stiffness[beam.hub_slope, beam.hub_slope] += hub_stiffness_n_m
    stiffness[beam.nipple_slope, beam.nipple_slope] += nipple_stiffness_n_m
    scale = 1 / np.sqrt(np.diag(stiffness))
    half = np.linalg.cholesky(stiffness * np.outer(scale, scale))
    inner = np.linalg.solve(half, np.linalg.solve(half, beam.mass * np.outer(scale, scale)).T)
    inverse_squares = np.linalg.eigvalsh((inner + inner.T) / 2)[::-1][:count]
    return np.asarray(1 / (2 * math.pi * np.sqrt(inverse_squares)))


def beam_matrices(stretches: Sequence[Stretch], plane: BendingPlane, bubbles: int) -> BeamMatrices:
    """Assemble the matrices with this many inner functions a stretch (fewer, in proportion, in short ones; at least 6)."""
    return assembled(stretches, plane, bubble_counts(stretches, bubbles))


def bubble_counts(stretches: Sequence[Stretch], bubbles: int) -> list[int]:
    """Inner functions of each stretch where the whole spoke in one piece would have ``bubbles``."""
    total = sum(piece.length_m for piece in stretches)
    return [max(6, math.ceil(bubbles * math.sqrt(piece.length_m / total))) for piece in stretches]


def assembled(stretches: Sequence[Stretch], plane: BendingPlane, counts: Sequence[int]) -> BeamMatrices:
    """Assemble the matrices with these numbers of inner functions, one a stretch.

    The degrees of freedom are the slope at the hub and at the nipple, then deflection and slope of each inner node.
    """
    inner_nodes = len(stretches) - 1
    # Order: slope at the hub, slope at the nipple, (deflection, slope) of each inner node, bubbles.
    size = 2 + 2 * inner_nodes + sum(counts)
    bending, geometric, mass = np.zeros((size, size)), np.zeros((size, size)), np.zeros((size, size))
    first_bubble = 2 + 2 * inner_nodes
    for index, (piece, inside) in enumerate(zip(stretches, counts, strict=True)):
        left = [-1, 0] if index == 0 else [2 * index, 2 * index + 1]
        right = [-1, 1] if index == inner_nodes else [2 * index + 2, 2 * index + 3]
        places = np.array([*left, *right, *range(first_bubble, first_bubble + inside)])
        first_bubble += inside
        kept = places >= 0
        where = np.ix_(places[kept], places[kept])
        second, first, zeroth = _element(inside)
        half = piece.length_m / 2
        stretch = np.ones(len(places))
        stretch[[1, 3]] = half  # the Hermite slope functions are unit in d/dx, not d/ds
        outer = np.outer(stretch, stretch)
        bending[where] += _stiffness(piece, plane) * (second * outer / half**3)[np.ix_(kept, kept)]
        geometric[where] += (first * outer / half)[np.ix_(kept, kept)]
        mass[where] += piece.linear_density_kg_m * (zeroth * outer * half)[np.ix_(kept, kept)]
    return BeamMatrices(bending, geometric, mass, 0, 1)


def _stiffness(piece: Stretch, plane: BendingPlane) -> float:
    return piece.flat_stiffness_n_m2 if plane == "flat" else piece.edge_stiffness_n_m2


@lru_cache(maxsize=64)
def _element(bubbles: int) -> tuple[Matrix, Matrix, Matrix]:
    """Integrals of products of second, first and zeroth derivatives on s = -1..1, by Gauss quadrature exact for them."""
    s, weight = np.polynomial.legendre.leggauss(bubbles + 6)
    legendre = np.polynomial.legendre.legvander(s, bubbles + 4).T
    cubic = [
        np.polynomial.Polynomial([0.5, -0.75, 0, 0.25]),
        np.polynomial.Polynomial([0.25, -0.25, -0.25, 0.25]),
        np.polynomial.Polynomial([0.5, 0.75, 0, -0.25]),
        np.polynomial.Polynomial([-0.25, -0.25, 0.25, 0.25]),
    ]
    rows: list[list[Matrix]] = [[p.deriv(order)(s) for p in cubic] for order in (2, 1, 0)]

    def integral(m: int) -> Matrix:
        """Integral of the Legendre polynomial P_m from -1: (P_m+1 - P_m-1) / (2m + 1)."""
        return np.asarray((legendre[m + 1] - legendre[m - 1]) / (2 * m + 1))

    for m in range(2, bubbles + 2):
        rows[0].append(legendre[m])
        rows[1].append(integral(m))
        rows[2].append((integral(m + 1) - integral(m - 1)) / (2 * m + 1))
    second, first, zeroth = ((np.array(row) * weight) @ np.array(row).T for row in rows)
    return second, first, zeroth
