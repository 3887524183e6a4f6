"""Two spokes that touch where they cross, as one system, by finite elements. Imports ``beam``, numpy and scipy only.

Along the axle the contact is a stiff spring between the two. In the wheel plane they cross at an angle, so a point that
sticks to both can move only by stretching one of them or by rolling the wires: with t along and n across either spoke the
compliance of the point is (t1 t1' + t2 t2')/k_axial + (n1 n1' + n2 n2')/k_roll; its inverse, taken along n1 and n2, is the
2 x 2 stiffness on the two deflections. Slip and rattle in the first hundredth of a second are left out.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.sparse import block_diag, csc_array
from scipy.sparse.linalg import LinearOperator, eigsh, splu

from benchmarks.simulator.beam import Array, Beam, Modes, _point, _sparse, _system


@dataclass(frozen=True, slots=True)
class Contact:
    """Where and how two spokes touch.

    ``place_m``: distance from the hub along either. ``angle_rad``: between them. ``normal_n_m``: stiffness along the axle.
    ``axial_n`` (EA), ``twist_n`` (GJ/r^2) of one wire, ``hub_n_m`` how stiffly the hub holds its elbow.
    """

    place_m: tuple[float, float]
    angle_rad: float
    normal_n_m: float
    axial_n: float
    twist_n: float
    hub_n_m: float

    def along_axle(self) -> Array:
        """Stiffness (2, 2) in N/m on the deflections along the axle."""
        return self.normal_n_m * np.array([[1.0, -1.0], [-1.0, 1.0]])

    def in_wheel_plane(self, lengths_m: tuple[float, float]) -> Array:
        """Stiffness (2, 2) in N/m on the deflections in the wheel plane."""
        half = self.angle_rad / 2
        compliance, across = np.zeros((2, 2)), []
        for sign, place, length in zip((1, -1), self.place_m, lengths_m, strict=True):
            along = np.array([np.cos(half), sign * np.sin(half)])
            normal = np.array([-along[1], along[0]])
            rest = length - place
            axial = 1 / (place / self.axial_n + 1 / self.hub_n_m) + self.axial_n / rest
            roll = self.twist_n * (1 / place + 1 / rest)
            compliance += np.outer(along, along) / axial + np.outer(normal, normal) / roll
            across.append(normal)
        held = np.linalg.inv(compliance)
        first, second = across
        shared = -first @ held @ second
        return np.array([[first @ held @ first, shared], [shared, second @ held @ second]])


def pair_modes(
    beams: tuple[Beam, Beam], places_m: tuple[float, float], contact: Array, count: int
) -> tuple[Modes, Modes]:
    """The lowest ``count`` modes of two beams held together by a (2, 2) stiffness at one place of each.

    Both results have the same frequencies; the shapes are each beam's part of the mode, normalised by both.
    """
    systems = [_system(beam) for beam in beams]
    stiffness = block_diag([_sparse(system[0]) for system in systems]).tolil()
    mass = csc_array(block_diag([_sparse(system[1]) for system in systems]))
    sizes = [system[0].shape[1] for system in systems]
    dofs, rows = sum(sizes), []
    for (_, _, mesh), place, begin in zip(systems, places_m, (0, sizes[0]), strict=True):
        first, weights = _point(mesh, place)
        row = np.zeros(dofs)
        row[begin + first : begin + first + 4] = weights
        rows.append(row)
    at = np.array(rows)
    touched = np.flatnonzero(np.abs(at).sum(axis=0))
    stiffness = csc_array(stiffness)
    extra = np.zeros((dofs, dofs))
    extra[np.ix_(touched, touched)] = at[:, touched].T @ contact @ at[:, touched]
    stiffness = csc_array(stiffness + csc_array(extra))
    factor = splu(stiffness)
    inverse = LinearOperator((dofs, dofs), matvec=factor.solve, dtype=float)
    start = np.cos(np.arange(dofs) * 1.234) + 0.1
    squares, vectors = eigsh(stiffness, count, M=mass, sigma=0.0, OPinv=inverse, v0=start, tol=1e-10)
    order = np.argsort(squares)
    frequency, vectors = np.sqrt(squares[order]) / (2 * np.pi), vectors[:, order].T
    found = []
    for (_, _, mesh), begin, size in zip(systems, (0, sizes[0]), sizes, strict=True):
        part = vectors[:, begin : begin + size]
        shape = np.zeros((count, mesh.place_m.size))
        shape[:, 1:-1] = part[:, 1:-1:2]
        found.append(Modes(frequency, shape, mesh.place_m, part[:, 0], part[:, -1]))
    return found[0], found[1]
