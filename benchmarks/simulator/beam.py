"""Modes of a tensioned beam by Hermite finite elements. Imports numpy and scipy only: shares nothing with the solver.

One bending plane of one spoke: piecewise uniform sections under tension T, a rotational spring at each end, point
masses and sideways point springs with dampers anywhere. The displacement in an element is the Hermite cubic of its end
displacements and slopes [1, ch. 5], so stiffness and mass are banded (three sub-diagonals) and one Lanczos run per
tension costs a few milliseconds.

[1] Thomson, Theory of Vibration with Applications, finite elements of the beam (stiffness, consistent mass); the
    geometric stiffness of a tension is the Gram matrix of the first derivatives of the same cubics.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray
from scipy.linalg import cho_solve_banded, cholesky_banded
from scipy.sparse import csr_array, dia_array
from scipy.sparse.linalg import LinearOperator, eigsh

ELEMENTS = 144
"""Elements along a spoke: mode 1 is right to 1e-8, mode 12 to 1e-5 of its frequency."""

_BAND = 3  # sub-diagonals of the Hermite matrices

Array = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Segment:
    """A uniform piece: ``length_m`` m, ``bending_stiffness_n_m2`` N m2, ``mass_kg_m`` kg/m."""

    length_m: float
    bending_stiffness_n_m2: float
    mass_kg_m: float


@dataclass(frozen=True, slots=True)
class PointMass:
    """Something sitting on the spoke, ``place_m`` from the hub end."""

    place_m: float
    mass_kg: float


@dataclass(frozen=True, slots=True)
class Hold:
    """A finger: sideways spring (N/m) and damper (N s/m), ``place_m`` from the hub end."""

    place_m: float
    stiffness_n_m: float
    damping_n_s_m: float = 0.0


@dataclass(frozen=True, slots=True)
class Beam:
    """One bending plane of a spoke, from hub to nipple; end springs in N m/rad."""

    segments: tuple[Segment, ...]
    tension_n: float
    hub_n_m_rad: float
    nipple_n_m_rad: float
    masses: tuple[PointMass, ...] = ()
    holds: tuple[Hold, ...] = ()

    @property
    def length_m(self) -> float:
        """Free length, m."""
        return sum(piece.length_m for piece in self.segments)


@dataclass(frozen=True, slots=True, eq=False)
class Modes:
    """Undamped modes, mass-normalised (shape' M shape = 1).

    ``frequency_hz`` (n,), ``shape`` (n, nodes) in kg**-0.5, ``place_m`` (nodes,) from the hub,
    ``hub_slope``, ``nipple_slope`` (n,) in kg**-0.5 / m.
    """

    frequency_hz: Array
    shape: Array
    place_m: Array
    hub_slope: Array
    nipple_slope: Array

    def at(self, place_m: float) -> Array:
        """Shapes (n,) at one place, linear between nodes 2 mm apart."""
        index = int(np.clip(np.searchsorted(self.place_m, place_m), 1, self.place_m.size - 1))
        left, right = self.place_m[index - 1], self.place_m[index]
        share = (place_m - left) / (right - left)
        return (1 - share) * self.shape[:, index - 1] + share * self.shape[:, index]


@dataclass(frozen=True, slots=True, eq=False)
class DampedModes:
    """Modes of a damped beam: ``frequency_hz`` (n,), ``decay_per_s`` (n,) = 1/tau, complex ``shape`` (n, nodes)."""

    frequency_hz: Array
    decay_per_s: Array
    shape: NDArray[np.complex128]
    place_m: Array


def hermite(place: float, length_m: float) -> Array:
    """The four Hermite cubics at ``place`` (0..1) of an element: displacement, slope at its left, then right end."""
    s = place
    return np.array(
        [1 - 3 * s**2 + 2 * s**3, length_m * (s - 2 * s**2 + s**3), 3 * s**2 - 2 * s**3, length_m * (s**3 - s**2)]
    )


def _bending(h: float) -> Array:
    rows = [[12, 6 * h, -12, 6 * h], [6 * h, 4 * h**2, -6 * h, 2 * h**2]]
    rows += [[-12, -6 * h, 12, -6 * h], [6 * h, 2 * h**2, -6 * h, 4 * h**2]]
    return np.array(rows) / h**3


def _tension(h: float) -> Array:
    rows = [[36, 3 * h, -36, 3 * h], [3 * h, 4 * h**2, -3 * h, -(h**2)]]
    rows += [[-36, -3 * h, 36, -3 * h], [3 * h, -(h**2), -3 * h, 4 * h**2]]
    return np.array(rows) / (30 * h)


def _mass(h: float) -> Array:
    rows = [[156, 22 * h, 54, -13 * h], [22 * h, 4 * h**2, 13 * h, -3 * h**2]]
    rows += [[54, 13 * h, 156, -22 * h], [-13 * h, -3 * h**2, -22 * h, 4 * h**2]]
    return np.array(rows) * h / 420


@dataclass(frozen=True, slots=True, eq=False)
class _Mesh:
    """Lower-banded matrices (4, dofs) with the end displacements removed, and where the nodes are."""

    bending: Array
    tension: Array
    mass: Array
    place_m: Array


def _add(band: Array, block: Array, first: int) -> None:
    """Add a symmetric 4 x 4 block at dof ``first`` to a lower-banded matrix."""
    for row in range(4):
        for column in range(row + 1):
            band[row - column, first + column] += block[row, column]


@lru_cache(maxsize=256)
def _mesh(segments: tuple[Segment, ...]) -> _Mesh:
    length = sum(piece.length_m for piece in segments)
    counts = [max(4, round(ELEMENTS * piece.length_m / length)) for piece in segments]
    dofs = 2 * (sum(counts) + 1)
    bending, tension, mass = (np.zeros((_BAND + 1, dofs)) for _ in range(3))
    places = [0.0]
    first = 0
    for piece, count in zip(segments, counts, strict=True):
        h = piece.length_m / count
        stiff, pull, heavy = piece.bending_stiffness_n_m2 * _bending(h), _tension(h), piece.mass_kg_m * _mass(h)
        for _ in range(count):
            _add(bending, stiff, first)
            _add(tension, pull, first)
            _add(mass, heavy, first)
            places.append(places[-1] + h)
            first += 2
    return _Mesh(_hold_ends(bending), _hold_ends(tension), _hold_ends(mass), np.array(places))


def _hold_ends(band: Array) -> Array:
    """Remove the displacement dofs of both ends (first and last but one), keeping the band."""
    dofs = band.shape[1]
    full = dia_array((band, [0, -1, -2, -3]), shape=(dofs, dofs)).tocsr()
    keep = np.r_[1 : dofs - 2, dofs - 1]
    inner = full[keep][:, keep].todia()
    out = np.zeros((_BAND + 1, dofs - 2))
    for offset, diagonal in zip(inner.offsets, inner.data, strict=True):
        out[-offset, : diagonal.size] = diagonal[: dofs - 2]
    return out


def _point(mesh: _Mesh, place_m: float) -> tuple[int, Array]:
    """First inner dof and the four weights that give the displacement at ``place_m``."""
    if not mesh.place_m[1] < place_m < mesh.place_m[-2]:
        raise ValueError(f"place {place_m} m is not inside the spoke (0..{mesh.place_m[-1]:.4f} m)")
    index = int(np.searchsorted(mesh.place_m, place_m)) - 1
    h = mesh.place_m[index + 1] - mesh.place_m[index]
    return 2 * index - 1, hermite((place_m - mesh.place_m[index]) / h, h)


def _system(beam: Beam) -> tuple[Array, Array, _Mesh]:
    """Stiffness and mass, lower-banded (4, dofs)."""
    mesh = _mesh(beam.segments)
    stiffness = mesh.bending + beam.tension_n * mesh.tension
    stiffness[0, 0] += beam.hub_n_m_rad
    stiffness[0, -1] += beam.nipple_n_m_rad
    mass = mesh.mass
    if beam.masses:
        mass = mass.copy()
        for item in beam.masses:
            first, weights = _point(mesh, item.place_m)
            _add(mass, item.mass_kg * np.outer(weights, weights), first)
    for hold in beam.holds:
        first, weights = _point(mesh, hold.place_m)
        _add(stiffness, hold.stiffness_n_m * np.outer(weights, weights), first)
    return stiffness, mass, mesh


def _sparse(band: Array) -> csr_array:
    """Full symmetric matrix of a lower-banded one."""
    dofs = band.shape[1]
    data, offsets = [band[0]], [0]
    for k in range(1, _BAND + 1):
        data += [band[k], np.r_[np.zeros(k), band[k, : dofs - k]]]
        offsets += [-k, k]
    return dia_array((np.array(data), offsets), shape=(dofs, dofs)).tocsr()


def modes(beam: Beam, count: int) -> Modes:
    """The lowest ``count`` modes of one bending plane, dampers ignored.

    Shift-invert Lanczos at zero frequency; a fixed start vector makes it repeatable.
    """
    stiffness, mass, mesh = _system(beam)
    factor = cholesky_banded(stiffness, lower=True, check_finite=False)
    dofs = stiffness.shape[1]
    inverse = LinearOperator(
        (dofs, dofs), matvec=lambda x: cho_solve_banded((factor, True), x, check_finite=False), dtype=float
    )
    start = np.cos(np.arange(dofs) * 1.234) + 0.1
    squares, vectors = eigsh(_sparse(stiffness), count, M=_sparse(mass), sigma=0.0, OPinv=inverse, v0=start, tol=1e-10)
    order = np.argsort(squares)
    vectors = vectors[:, order].T
    shape = np.zeros((count, mesh.place_m.size))
    shape[:, 1:-1] = vectors[:, 1:-1:2]
    sign = np.sign(vectors[:, 0])[:, None]
    return Modes(
        np.sqrt(squares[order]) / (2 * np.pi),
        shape * sign,
        mesh.place_m,
        vectors[:, 0] * sign[:, 0],
        vectors[:, -1] * sign[:, 0],
    )


def damped_modes(beam: Beam, count: int, basis: int = 40) -> DampedModes:
    """The lowest ``count`` damped modes, by the quadratic eigenproblem in ``basis`` undamped modes.

    x'' + C x' + W^2 x = 0 with C = sum c shape(place) shape(place)'; overdamped solutions are left out.
    """
    free = modes(beam, basis)
    damping = np.zeros((basis, basis))
    for hold in beam.holds:
        there = free.at(hold.place_m)
        damping += hold.damping_n_s_m * np.outer(there, there)
    squares = np.diag((2 * np.pi * free.frequency_hz) ** 2)
    state = np.block([[np.zeros((basis, basis)), np.eye(basis)], [-squares, -damping]])
    roots, vectors = np.linalg.eig(state)
    keep = np.flatnonzero(roots.imag > 1.0)
    keep = keep[np.argsort(roots[keep].imag)][:count]
    return DampedModes(
        roots[keep].imag / (2 * np.pi), -roots[keep].real, vectors[:basis, keep].T @ free.shape, free.place_m
    )
