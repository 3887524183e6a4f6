"""A wheel as a three-dimensional frame of finite elements in nonlinear equilibrium: what turned nipples really do.

Straight beams, two a gap between spokes, make the rim; they know large axial forces and moderate rotations (the squared
slopes of both bending planes enter the stretch), so that the hoop compression is found, not put in. Spokes are bars
between points in space, stretched by their true change of length. Shares nothing with what it tests. x is to the right, y
to the front, z up; angles run clockwise seen from the right, from the valve hole at the top.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

Floats = npt.NDArray[np.float64]

PER_GAP = 2
#: Equilibrium is found to this unbalanced force, N (and moment, N m).
TOLERANCE_N = 1e-5


@dataclass(frozen=True, slots=True)
class RimBeam:
    """Stiffnesses of the rim (N, N m2), the radius of its axis and the offset of its spoke bed, + to the right (m)."""

    ea_n: float
    ei_radial_n_m2: float
    ei_lateral_n_m2: float
    gj_n_m2: float
    radius_m: float
    bed_offset_m: float


@dataclass(frozen=True, slots=True, eq=False)
class State:
    """A wheel at rest: tension of each spoke (N); its rim at each spoke, lateral and radial from the ideal place (m)."""

    tension_n: Floats
    lateral_m: Floats
    radial_m: Floats

    @property
    def dish_m(self) -> float:
        """Mean lateral place of the rim."""
        return float(np.mean(self.lateral_m))


class Frame:
    """A rim on spokes. ``hub_m`` (spokes, 3): their holes; ``untrue_m`` (nodes, 2): lateral and radial shape at rest.

    ``spoke_stiffness_n`` is E A of each spoke as an even bar between hole and seat, N.
    """

    def __init__(self, rim: RimBeam, hub_m: Floats, spoke_stiffness_n: Floats, untrue_m: Floats) -> None:
        self.count = len(hub_m)
        nodes = PER_GAP * self.count
        self.angles = 2 * np.pi * (np.arange(nodes) / PER_GAP + 0.5) / self.count
        radius = rim.radius_m + untrue_m[:, 1]
        self.places = np.column_stack([untrue_m[:, 0], radius * np.sin(self.angles), radius * np.cos(self.angles)])
        self.radius, self.hub, self.bar = rim.radius_m, hub_m, spoke_stiffness_n
        self.seated = PER_GAP * np.arange(self.count)
        self.offset = np.array([rim.bed_offset_m, 0.0, 0.0])
        self._make_beams(rim)
        self.moved = np.zeros(6 * nodes)
        self.rest = np.linalg.norm(self._seats() - hub_m, axis=1)

    def state(self) -> State:
        """Tensions and places as they are now."""
        here = self.places + self.moved.reshape(-1, 6)[:, :3]
        spokes = here[self.seated]
        return State(self._tensions()[0], spokes[:, 0], np.hypot(spokes[:, 1], spokes[:, 2]) - self.radius)

    def shorten(self, by_m: Floats) -> State:
        """Shorten the spokes' unstretched lengths by this much (spokes,), in m, and come to rest again."""
        self.rest = self.rest - by_m
        for _ in range(30):
            force, stiffness = self._unbalance()
            if np.max(np.abs(force)) < TOLERANCE_N:
                return self.state()
            self.moved -= np.linalg.solve(stiffness, force)
        raise RuntimeError(f"no equilibrium: {np.max(np.abs(force)):.3g} N left over")

    def _seats(self) -> Floats:
        """Nipple seats in space; they follow the rotation of their node."""
        own = self.moved.reshape(-1, 6)[self.seated]
        seats: Floats = self.places[self.seated] + own[:, :3] + self.offset + np.cross(own[:, 3:], self.offset)
        return seats

    def _tensions(self) -> tuple[Floats, Floats, Floats]:
        """Tensions, directions from hub to seat and lengths of the spokes."""
        along = self._seats() - self.hub
        lengths = np.linalg.norm(along, axis=1)
        return self.bar * (lengths / self.rest - 1), along / lengths[:, None], lengths

    def _make_beams(self, rim: RimBeam) -> None:
        """Frames and constant matrices of the beams; local x along, z lateral, y the rest."""
        ends = np.roll(self.places, -1, axis=0) - self.places
        self.spans = np.linalg.norm(ends, axis=1)
        first = ends / self.spans[:, None]
        third = np.array([1.0, 0.0, 0.0]) - first * first[:, [0]]
        third /= np.linalg.norm(third, axis=1)[:, None]
        axes = np.stack([first, np.cross(third, first), third], axis=1)
        self.turned = np.zeros((len(first), 12, 12))
        for corner in range(0, 12, 3):
            self.turned[:, corner : corner + 3, corner : corner + 3] = axes
        nodes = np.arange(len(first))
        own = 6 * nodes[:, None] + np.arange(6)
        self.freedoms = np.hstack([own, np.roll(own, -1, axis=0)])
        spans = self.spans[:, None, None]
        slopes = _slope_matrix(self.spans, 1, 5, 1.0), _slope_matrix(self.spans, 2, 4, -1.0)
        self.shortening = slopes[0] + slopes[1]
        self.bending = (
            rim.ei_radial_n_m2 * _bend_matrix(self.spans, 1, 5, 1.0)
            + rim.ei_lateral_n_m2 * _bend_matrix(self.spans, 2, 4, -1.0)
            + rim.gj_n_m2 / spans * _difference(3)
        )
        self.axial = rim.ea_n
        self.pull = np.zeros(12)
        self.pull[[0, 6]] = -1.0, 1.0

    def _unbalance(self) -> tuple[Floats, Floats]:
        """Unbalanced forces and the tangent stiffness."""
        local = np.einsum("eij,ej->ei", self.turned, self.moved[self.freedoms])
        sloped = np.einsum("eij,ej->ei", self.shortening, local)
        stretch = local @ self.pull + 0.5 * np.einsum("ei,ei->e", local, sloped)
        axial = self.axial * stretch / self.spans
        row = self.pull + sloped
        force = axial[:, None] * row + np.einsum("eij,ej->ei", self.bending, local)
        tangent = self.axial / self.spans[:, None, None] * row[:, :, None] * row[:, None, :]
        tangent += axial[:, None, None] * self.shortening + self.bending
        turned = self.turned
        force = np.einsum("eji,ej->ei", turned, force)
        tangent = np.transpose(turned, (0, 2, 1)) @ tangent @ turned
        total, whole = np.zeros_like(self.moved), np.zeros((len(self.moved), len(self.moved)))
        np.add.at(total, self.freedoms, force)
        np.add.at(whole, (self.freedoms[:, :, None], self.freedoms[:, None, :]), tangent)
        self._add_spokes(total, whole)
        return total, whole

    def _add_spokes(self, total: Floats, whole: Floats) -> None:
        """Pull of the spokes on their nodes, and how it changes."""
        tension, along, lengths = self._tensions()
        arm = np.array([np.cross(axis, self.offset) for axis in np.eye(3)]).T
        carried = np.hstack([np.eye(3), arm])
        outer = along[:, :, None] * along[:, None, :]
        stiff = (self.bar / self.rest)[:, None, None] * outer
        stiff += (tension / lengths)[:, None, None] * (np.eye(3) - outer)
        freedoms = 6 * self.seated[:, None] + np.arange(6)
        np.add.at(total, freedoms, (tension[:, None] * along) @ carried)
        np.add.at(whole, (freedoms[:, :, None], freedoms[:, None, :]), carried.T @ stiff @ carried)


def _difference(place: int) -> Floats:
    """The square of the difference of one freedom between both ends, as a matrix."""
    found = np.zeros((12, 12))
    found[place, place] = found[place + 6, place + 6] = 1.0
    found[place, place + 6] = found[place + 6, place] = -1.0
    return found


def _cubic(spans: Floats, entries: list[list[float]], across: int, turn: int, sign: float) -> Floats:
    """A 4 x 4 matrix of Hermite cubics (powers of the span by kind of freedom) put in its place in 12 x 12."""
    places = [across, turn, across + 6, turn + 6]
    is_turn = np.array([0, 1, 0, 1])
    scale = (sign * spans[:, None]) ** is_turn
    found = np.zeros((len(spans), 12, 12))
    block = np.array(entries) * scale[:, :, None] * scale[:, None, :]
    found[:, np.array(places)[:, None], np.array(places)] = block
    return found


def _bend_matrix(spans: Floats, across: int, turn: int, sign: float) -> Floats:
    """int w''^2 dx of a cubic beam."""
    entries = [[12.0, 6, -12, 6], [6, 4, -6, 2], [-12, -6, 12, -6], [6, 2, -6, 4]]
    return _cubic(spans, entries, across, turn, sign) / spans[:, None, None] ** 3


def _slope_matrix(spans: Floats, across: int, turn: int, sign: float) -> Floats:
    """int w'^2 dx of a cubic beam."""
    entries = [[36.0, 3, -36, 3], [3, 4, -3, -1], [-36, -3, 36, -3], [3, -1, -3, 4]]
    return _cubic(spans, entries, across, turn, sign) / (30 * spans[:, None, None])
