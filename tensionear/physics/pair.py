"""Modes of two spokes that touch where they cross, with their slopes by every unknown. Imports ``beam`` and ``spoke``.

Along the axle the contact is a stiff spring between the two. In the wheel plane the spokes cross at an angle gamma, so that a
point sticking to both moves only by stretching a spoke or rolling the wires: with t along and n across either spoke its
compliance is (t1 t1' + t2 t2')/k_axial + (n1 n1' + n2 n2')/k_roll, k_axial = 1/(c/EA + 1/k_hub) + EA/(L - c),
k_roll = (GJ/r^2)(1/c + 1/(L - c)); its inverse along n1, n2 is the stiffness on the two deflections (rigid-joint statics).

For K v = w^2 M v, v' M v = 1: d w^2 = v'(dK - w^2 dM)v, and dv by the sum over all modes (Fox and Kapoor 1968).
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from .beam import assembled, bubble_counts
from .spoke import Stretch

Array = NDArray[np.float64]

PAIR_MODES = 14
_BUBBLES = 14
_STEP_M = 0.004
#: How stiffly a hub holds an elbow lengthwise, and the contact of two wires along the axle (Hertz at 10..50 N), N/m.
HUB_N_M, CONTACT_N_M = 6.0e6, 1.0e7
_POISSON = 0.28
_LEAST_INVERSE = 1e-14  # s2, of a squared angular frequency
_LEAST_SHARE = 7e-4  # of the energy: a spoke that has less of a mode is not heard in it
AXLE, WHEEL = 0, 1
#: Slopes of a plane's modes are by these, in this order.
BY = (
    "tension 1",
    "tension 2",
    "hub 1",
    "hub 2",
    "nipple 1",
    "nipple 2",
    "place 1",
    "place 2",
    "length",
    "mass",
    "bending",
    "contact",
)


@dataclass(frozen=True, slots=True, eq=False)
class Contact:
    """Stiffness (2, 2) in N/m on the two deflections: a part that is known, and one that is known only roughly."""

    known: Array
    uncertain: Array

    @property
    def total(self) -> Array:
        """Both parts."""
        return self.known + self.uncertain


def wheel_plane_contact(spoke: Sequence[Stretch], place_m: float, angle_rad: float) -> Contact:
    """The crossing point in the wheel plane.

    Moving along the bisector stretches both spokes: how stiffly they and the hub resist is the uncertain part. Moving across
    it rolls them, which is a matter of the wires alone.
    """
    length = sum(piece.length_m for piece in spoke)
    axial = length / sum(piece.length_m / piece.axial_stiffness_n for piece in spoke)
    # Round: GJ/r^2 = (E/2(1+nu)) (pi r^2/2) = EA/4(1+nu).
    twist = axial / (4 * (1 + _POISSON))
    rest = length - place_m
    k_axial = 1 / (place_m / axial + 1 / HUB_N_M) + axial / rest
    k_roll = twist * (1 / place_m + 1 / rest)
    half, compliance, across = angle_rad / 2, np.zeros((2, 2)), []
    for sign in (1, -1):
        along = np.array([math.cos(half), sign * math.sin(half)])
        normal = np.array([-along[1], along[0]])
        compliance += np.outer(along, along) / k_axial + np.outer(normal, normal) / k_roll
        across.append(normal)
    held = np.linalg.inv(compliance)
    shared = -across[0] @ held @ across[1]
    own = float(across[0] @ held @ across[0])
    along = (own + shared) / 2 * np.ones((2, 2))
    return Contact((own - shared) / 2 * np.array([[1.0, -1.0], [-1.0, 1.0]]), along)


def axle_contact() -> Contact:
    """The contact along the axle."""
    return Contact(np.zeros((2, 2)), CONTACT_N_M * np.array([[1.0, -1.0], [-1.0, 1.0]]))


@dataclass(frozen=True, slots=True, eq=False)
class PairState:
    """Where pairs are, all shape (pairs, 2) or (pairs,): tensions, end stiffness, shift of the crossing (m), relative changes of
    length, mass and bending stiffness, ln of the uncertain part of the contact's stiffness over its nominal value."""

    tension_n: Array
    hub_n_m: Array
    nipple_n_m: Array
    shift_m: Array
    length: Array
    mass: Array
    bending: Array
    contact: Array


@dataclass(frozen=True, slots=True, eq=False)
class PairModes:
    """ln f (pairs, modes) and half ln of the kinetic energy on spoke 1 over that on 2; their slopes (pairs, modes, BY): by ln T,
    ln k, m of place, relative changes and ln contact."""

    log_frequency: Array
    ratio: Array
    by_frequency: Array
    by_ratio: Array


class PairModel:
    """One kind of touching pair in one plane: matrices as polynomials of where the crossing is, built once."""

    def __init__(self, stretches: Sequence[Stretch], place_m: float, contact: Contact, modes: int = PAIR_MODES) -> None:
        self.contact, self.modes = contact, modes
        pieces, self.at = _split(stretches, place_m, 0.0)
        counts = bubble_counts(pieces, _BUBBLES)
        steps = ((-_STEP_M, 0.0), (0.0, 0.0), (_STEP_M, 0.0), (0.0, _STEP_M))
        split = [_split(stretches, place_m + step, more)[0] for step, more in steps]
        low, middle, high, longer = (assembled(each, "flat", counts) for each in split)
        self.length_m = sum(piece.length_m for piece in stretches)
        self.matrices, self.by_place, self.by_place_twice, self.by_length = [], [], [], []
        for name in ("bending", "geometric", "mass"):
            below, here, above, more = (getattr(each, name) for each in (low, middle, high, longer))
            self.matrices.append(here)
            self.by_place.append((above - below) / (2 * _STEP_M))
            self.by_place_twice.append((above - 2 * here + below) / _STEP_M**2)
            self.by_length.append((more - here) / _STEP_M)

    def levels(self, state: PairState) -> tuple[Array, Array]:
        """ln f and ratio of all pairs alone, (pairs, modes)."""
        blocks, _, squares, vectors = self._solved(state)
        wanted = vectors[:, : len(self.matrices[0]), : self.modes]
        share = np.clip(np.einsum("pim,pim->pm", wanted, blocks[0][2] @ wanted), _LEAST_SHARE, 1 - _LEAST_SHARE)
        return 0.5 * np.log(squares[:, : self.modes]) - math.log(2 * math.pi), 0.5 * np.log(share / (1 - share))

    def evaluate(self, state: PairState) -> PairModes:
        """Modes of all pairs."""
        return self._slopes(state, *self._solved(state))

    def _solved(self, state: PairState) -> tuple[list[tuple[Array, Array, Array, Array]], Array, Array, Array]:
        """Parts of the matrices of either spoke, the uncertain part of the contact, and all modes."""
        pairs, size = len(state.tension_n), len(self.matrices[0])
        stiffness, mass = np.zeros((pairs, 2 * size, 2 * size)), np.zeros((pairs, 2 * size, 2 * size))
        blocks = []
        for spoke in range(2):
            own = slice(spoke * size, (spoke + 1) * size)
            shift = state.shift_m[:, spoke, None, None]
            change = state.length[:, None, None] * self.length_m
            bending, geometric, heavy = (
                here + shift * first + 0.5 * shift**2 * second + change * longer
                for here, first, second, longer in zip(
                    self.matrices, self.by_place, self.by_place_twice, self.by_length, strict=True
                )
            )
            bending = bending * np.exp(state.bending)[:, None, None]
            heavy = heavy * np.exp(state.mass)[:, None, None]
            geometric = geometric * state.tension_n[:, spoke, None, None]
            block = bending + geometric
            block[:, 0, 0] += state.hub_n_m[:, spoke]
            block[:, 1, 1] += state.nipple_n_m[:, spoke]
            stiffness[:, own, own], mass[:, own, own] = block, heavy
            blocks.append((bending, geometric, heavy, shift))
        touch = np.array([self.at, size + self.at])
        held = np.exp(state.contact)[:, None, None] * self.contact.uncertain
        stiffness[:, touch[:, None], touch[None, :]] += held + self.contact.known
        squares, vectors = _eigen(stiffness, mass)
        return blocks, held, squares, vectors

    def _slopes(
        self,
        state: PairState,
        blocks: list[tuple[Array, Array, Array, Array]],
        held: Array,
        squares: Array,
        vectors: Array,
    ) -> PairModes:
        size, count = len(self.matrices[0]), self.modes
        parts = [vectors[:, :size], vectors[:, size:]]
        wanted = [part[:, :, :count] for part in parts]
        turned = [part.transpose(0, 2, 1) for part in parts]
        on_first = turned[0] @ blocks[0][2] @ wanted[0]  # V' M1 v of the wanted, (pairs, all, wanted)
        squares_wanted = squares[:, None, :count]
        changes = []
        for spoke in range(2):
            changes.append(turned[spoke] @ blocks[spoke][1] @ wanted[spoke])
        for dof, stiff in ((0, state.hub_n_m), (1, state.nipple_n_m)):
            for spoke in range(2):
                row = parts[spoke][:, dof]
                changes.append(stiff[:, spoke, None, None] * row[:, :, None] * row[:, None, :count])
        for spoke in range(2):
            shift = blocks[spoke][3]
            moved = self._moved(state, spoke, self.by_place, self.by_place_twice, shift, turned, wanted, squares_wanted)
            changes.append(moved)
        zero = np.zeros_like(blocks[0][3])
        longer = [m * self.length_m for m in self.by_length]
        none = [np.zeros_like(m) for m in longer]
        both = [self._moved(state, spoke, longer, none, zero, turned, wanted, squares_wanted) for spoke in range(2)]
        changes.append(both[0] + both[1])
        changes.append(-squares_wanted * (on_first + turned[1] @ blocks[1][2] @ wanted[1]))
        changes.append(turned[0] @ blocks[0][0] @ wanted[0] + turned[1] @ blocks[1][0] @ wanted[1])
        rows = np.stack([part[:, self.at] for part in parts], axis=2)
        changes.append(rows @ held @ rows[:, :count].transpose(0, 2, 1))
        change = np.stack(changes, axis=3)  # (pairs, all, wanted, BY)
        own = np.arange(count)
        by_square = change[:, own, own]
        gap = squares_wanted - squares[:, :, None]
        gap[:, own, own] = np.inf
        mixing = change / np.where(np.abs(gap) < 1e-6 * squares_wanted, 1e-6 * squares_wanted, gap)[..., None]
        share = np.clip(on_first[:, own, own], _LEAST_SHARE, 1 - _LEAST_SHARE)
        by_share = 2 * np.einsum("pjib,pji->pib", mixing, on_first)
        by_ratio = by_share * (0.5 / share + 0.5 / (1 - share))[..., None]
        by_ratio *= ((share > _LEAST_SHARE) & (share < 1 - _LEAST_SHARE))[..., None]
        low = squares[:, :count]
        return PairModes(
            0.5 * np.log(low) - math.log(2 * math.pi),
            0.5 * np.log(share / (1 - share)),
            by_square / (2 * low[..., None]),
            by_ratio,
        )

    def _moved(
        self,
        state: PairState,
        spoke: int,
        first: Sequence[Array],
        second: Sequence[Array],
        shift: Array,
        turned: Sequence[Array],
        wanted: Sequence[Array],
        squares: Array,
    ) -> Array:
        """V'(dK - w^2 dM)v of one spoke whose matrices change."""
        bending, geometric, mass = (one + shift * two for one, two in zip(first, second, strict=True))
        stiff = np.exp(state.bending)[:, None, None] * bending + state.tension_n[:, spoke, None, None] * geometric
        heavy = np.exp(state.mass)[:, None, None] * mass
        return np.asarray(turned[spoke] @ stiff @ wanted[spoke] - squares * (turned[spoke] @ heavy @ wanted[spoke]))


def _eigen(stiffness: Array, mass: Array) -> tuple[Array, Array]:
    """Squares of the angular frequencies, ascending, and mass-normalised vectors, from M v = K v / w^2.

    The stiffness is the better conditioned of the two; the highest modes, where the mass is lost in rounding, are no matter.
    """
    scale = 1 / np.sqrt(np.einsum("pkk->pk", stiffness))
    half = np.linalg.inv(np.linalg.cholesky(stiffness * scale[:, :, None] * scale[:, None, :]))
    inner = half @ (mass * scale[:, :, None] * scale[:, None, :]) @ half.transpose(0, 2, 1)
    inverse, vectors = np.linalg.eigh(inner)
    inverse = np.maximum(inverse[:, ::-1], _LEAST_INVERSE)
    vectors = scale[:, :, None] * (half.transpose(0, 2, 1) @ vectors[:, :, ::-1])
    return 1 / inverse, vectors / np.sqrt(inverse)[:, None, :]


def _split(stretches: Sequence[Stretch], place_m: float, longer_m: float) -> tuple[list[Stretch], int]:
    """The pieces with a node at the crossing, the longest made longer, and where the node's deflection is in the matrices."""
    pieces: list[Stretch] = []
    longest = max(range(len(stretches)), key=lambda at: stretches[at].length_m)
    left, node = place_m, 0
    for at, piece in enumerate(stretches):
        length = piece.length_m + (longer_m if at == longest else 0.0)
        if node == 0 and left < length:
            pieces.append(_cut(piece, left))
            node = len(pieces)
            pieces.append(_cut(piece, length - left))
        else:
            left -= length
            pieces.append(_cut(piece, length))
    return pieces, 2 * node


def _cut(piece: Stretch, length_m: float) -> Stretch:
    return Stretch(
        length_m,
        piece.linear_density_kg_m,
        piece.flat_stiffness_n_m2,
        piece.edge_stiffness_n_m2,
        piece.axial_stiffness_n,
    )
