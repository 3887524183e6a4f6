"""Damped modes of a spoke that fingers hold at a place inside its span, with their slopes. Imports ``beam``, ``pair``, ``spoke``.

The fingers are a spring k, a damper c and a mass m between the spoke and the ground: with the free spoke's matrices K and M and
e for the deflection at the place, (s^2 (M + m e e') + s c e e' + K + k e e') x = 0, and f = Im s/2 pi, decay rate -Re s. All
matrices are symmetric, so that ds = -x'(s^2 dM + s dC + dK)x / x'(2 s M + C)x (first-order perturbation).

Solved in the lowest modes of the free spoke and the shape that a force at the place makes it take, which is what the fingers'
force calls for; slopes are those of the whole matrices.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from .beam import BendingPlane, assembled, bubble_counts
from .pair import eigenmodes, split_at
from .spoke import Stretch

Array = NDArray[np.float64]
Complex = NDArray[np.complex128]

HELD_MODES = 13
#: How far the place may lie off the nominal one, m.
FARTHEST_M = 0.008
_BUBBLES, _BASIS, _NODES = 18, 15, 5
_STEP_M = 0.004
#: Slopes are by these, in this order.
BY = ("tension", "place", "hub", "nipple", "spring", "damper", "weight", "length", "mass", "bending")


@dataclass(frozen=True, slots=True, eq=False)
class HeldState:
    """Where spokes are, all shape (spokes,): ln T, shift of the place (m), end stiffness, the fingers' spring (N/m), damper
    (N s/m) and mass (kg), relative changes of length, mass per length and bending stiffness."""

    log_tension: Array
    shift_m: Array
    hub_n_m: Array
    nipple_n_m: Array
    spring_n_m: Array
    damper_n_s_m: Array
    weight_kg: Array
    length: Array
    mass: Array
    bending: Array


@dataclass(frozen=True, slots=True, eq=False)
class HeldModes:
    """ln f and decay rate in 1/s (spokes, modes) by rising f, and their slopes (spokes, modes, BY): by logs, m of place, and
    relative changes. Modes too heavily damped to swing are filled up with those of f = infinity."""

    log_frequency: Array
    decay_rate: Array
    by_frequency: Array
    by_decay: Array


class HeldModel:
    """One kind of spoke in one bending plane: matrices as polynomials of where it is held, built once."""

    def __init__(self, stretches: Sequence[Stretch], place_m: float, plane: BendingPlane) -> None:
        pieces, self.at = split_at(stretches, place_m, 0.0)
        counts = bubble_counts(pieces, _BUBBLES)
        nodes = FARTHEST_M * np.cos(np.pi * (np.arange(_NODES) + 0.5) / _NODES)
        found = [assembled(split_at(stretches, place_m + shift, 0.0)[0], plane, counts) for shift in nodes]
        longer = assembled(split_at(stretches, place_m, _STEP_M)[0], plane, counts)
        here = assembled(pieces, plane, counts)
        self.length_m = sum(piece.length_m for piece in stretches)
        to_powers = np.linalg.inv(np.vander(nodes / FARTHEST_M, increasing=True))
        names = ("bending", "geometric", "mass")
        self.powers = [np.tensordot(to_powers, [getattr(each, name) for each in found], axes=1) for name in names]
        self.by_length = [self.length_m * (getattr(longer, n) - getattr(here, n)) / _STEP_M for n in names]

    def _matrices(self, state: HeldState) -> tuple[list[Array], list[Array]]:
        """Bending, geometric and mass matrices (spokes, n, n) with all changes, and their slopes by m of place."""
        x = state.shift_m / FARTHEST_M
        power = np.vander(x, _NODES, increasing=True)
        slope = np.hstack([np.zeros((len(x), 1)), power[:, :-1] * np.arange(1, _NODES)]) / FARTHEST_M
        scale = np.exp(state.bending), np.exp(state.log_tension), np.exp(state.mass)
        values, slopes = [], []
        for each, longer, factor in zip(self.powers, self.by_length, scale, strict=True):
            value = np.tensordot(power, each, axes=1) + state.length[:, None, None] * longer
            values.append(factor[:, None, None] * value)
            slopes.append(factor[:, None, None] * np.tensordot(slope, each, axes=1))
        return values, slopes

    def evaluate(self, state: HeldState) -> HeldModes:
        """Modes of all spokes."""
        (bending, geometric, mass), moved = self._matrices(state)
        stiffness = bending + geometric
        stiffness[:, 0, 0] += state.hub_n_m
        stiffness[:, 1, 1] += state.nipple_n_m
        basis = self._basis(stiffness, mass)
        here = basis[:, self.at]
        root, shape = _roots(stiffness, mass, basis, here, state)
        vector = basis @ shape  # (spokes, n, modes)
        there = vector[:, self.at] ** 2
        heavy = _form(vector, mass) + state.weight_kg[:, None] * there
        across = 2 * root * heavy + state.damper_n_s_m[:, None] * there
        square = root**2
        change = (
            _form(vector, geometric),
            _form(vector, moved[0] + moved[1]) + square * _form(vector, moved[2]),
            state.hub_n_m[:, None] * vector[:, 0] ** 2,
            state.nipple_n_m[:, None] * vector[:, 1] ** 2,
            state.spring_n_m[:, None] * there,
            root * state.damper_n_s_m[:, None] * there,
            square * state.weight_kg[:, None] * there,
            self._longer(state, vector, square),
            square * _form(vector, mass),
            _form(vector, bending),
        )
        by = -np.stack(change, axis=2) / across[..., None]
        return HeldModes(
            np.log(root.imag / (2 * math.pi)), -root.real, by.imag / root.imag[..., None], -by.real
        )  # fmt: skip

    def _longer(self, state: HeldState, vector: Complex, square: Complex) -> Complex:
        """What a relative change of length does."""
        bending, geometric, mass = self.by_length
        stiff = np.exp(state.bending)[:, None, None] * bending + np.exp(state.log_tension)[:, None, None] * geometric
        heavy = np.exp(state.mass)[:, None, None] * mass
        return _form(vector, stiff) + square * _form(vector, heavy)

    def _basis(self, stiffness: Array, mass: Array) -> Array:
        """The lowest modes of the free spokes, and what a force at the place makes of them, (spokes, n, basis)."""
        _, vectors = eigenmodes(stiffness, mass)
        force = np.zeros((len(stiffness), stiffness.shape[1], 1))
        force[:, self.at] = 1.0
        bent = np.linalg.solve(stiffness, force)
        lowest = vectors[:, :, :_BASIS]
        bent = bent - lowest @ (lowest.transpose(0, 2, 1) @ (mass @ bent))
        return np.concatenate([lowest, bent / np.sqrt(bent.transpose(0, 2, 1) @ (mass @ bent))], axis=2)


def _form(vector: Complex, matrix: Array) -> Complex:
    """x'Ax of all modes, (spokes, modes)."""
    return np.asarray(np.einsum("pim,pim->pm", vector, matrix @ vector))


def _roots(stiffness: Array, mass: Array, basis: Array, here: Array, state: HeldState) -> tuple[Complex, Complex]:
    """The roots that swing, by rising frequency, and their shapes in the basis."""
    size = basis.shape[2]
    point = here[:, :, None] * here[:, None, :]
    turned = basis.transpose(0, 2, 1)
    stiff = turned @ stiffness @ basis + state.spring_n_m[:, None, None] * point
    heavy = turned @ mass @ basis + state.weight_kg[:, None, None] * point
    right = np.concatenate([stiff, state.damper_n_s_m[:, None, None] * point], axis=2)
    system = np.zeros((len(basis), 2 * size, 2 * size))
    system[:, :size, size:] = np.eye(size)
    system[:, size:] = -np.linalg.solve(heavy, right)
    roots, vectors = np.linalg.eig(system)
    order = np.argsort(np.where(roots.imag > 1.0, roots.imag, np.inf), axis=1)[:, :HELD_MODES]
    chosen = np.take_along_axis(roots, order, axis=1)
    shape = np.take_along_axis(vectors[:, :size], order[:, None, :], axis=2)
    swings = chosen.imag > 1.0
    return np.where(swings, chosen, 1e7j), np.where(swings[:, None, :], shape, 1.0)
