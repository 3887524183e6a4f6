"""A spoke's natural frequencies as a smooth function of tension and end stiffness, fast and with its slopes.

Imports ``beam`` and ``spoke`` only. One table serves one kind of spoke of one free length in one bending plane. It is a
Chebyshev expansion of ln f in ln T and, for either end, s(k) = k/(k + k0) - from 0 (pinned) to 1 (clamped) - so that
the whole range of ends is finite and the function smooth; k0 lies in the middle of what a tensioned spoke can feel.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from .beam import BendingPlane, Matrix, beam_matrices
from .spoke import Stretch

#: Tension range of every table; outside it a spoke is no spoke in use.
LOWEST_TENSION_N, HIGHEST_TENSION_N = 25.0, 3200.0
MODES = 12
_TENSION_NODES, _END_NODES, _EVEN_NODES = 13, 8, 13
_BUBBLES = 26
_STEP = 0.005  # of ln mass and ln stiffness, for derivatives


@dataclass(frozen=True, slots=True, eq=False)
class ModeTable:
    """ln f of the first ``MODES`` modes; built by ``mode_table``.

    ``coefficients`` has shape (MODES, tension, hub, nipple); the range of ln T is in ``log_tension_range``.
    """

    coefficients: NDArray[np.float64]
    log_tension_range: tuple[float, float]
    middle_stiffness_n_m: float

    def log_frequencies(self, log_tension: Matrix, log_hub: Matrix, log_nipple: Matrix) -> tuple[Matrix, Matrix]:
        """Log frequencies and their slopes.

        Parameters
        ----------
        log_tension, log_hub, log_nipple : ndarray, shape (points,)
            Natural logarithms of tension in N and of the end stiffnesses in N m/rad.

        Returns
        -------
        values : ndarray, shape (points, MODES)
            ln of the frequency in Hz.
        slopes : ndarray, shape (3, points, MODES)
            Derivatives by ``log_tension``, ``log_hub``, ``log_nipple``.
        """
        low, high = self.log_tension_range
        tension, tension_slope = _chebyshev(2 * (log_tension - low) / (high - low) - 1, _TENSION_NODES)
        tension_slope = tension_slope * (2 / (high - low))
        hub, hub_slope = self._end(log_hub)
        nipple, nipple_slope = self._end(log_nipple)
        points = len(log_tension)
        by_nipple = self.coefficients.reshape(-1, _END_NODES) @ np.concatenate([nipple, nipple_slope]).T
        table = by_nipple.reshape(MODES, _TENSION_NODES, _END_NODES, 2, points)
        with_tension = np.einsum("mthsp,pt->mhsp", table, tension)
        values = np.einsum("mhsp,ph->spm", with_tension, hub)
        by_hub = np.einsum("mhp,ph->pm", with_tension[:, :, 0], hub_slope)
        by_tension = np.einsum(
            "mthp,pt,ph->pm", table[:, :, :, 0], tension_slope, hub, optimize=["einsum_path", (0, 1), (0, 1)]
        )
        return values[0], np.stack([by_tension, by_hub, values[1]])

    def over_grid(self, log_tension: Matrix, log_ends: Matrix) -> Matrix:
        """Log frequencies with equal ends over a grid, shape (tensions, ends, MODES)."""
        low, high = self.log_tension_range
        tension, _ = _chebyshev(2 * (log_tension - low) / (high - low) - 1, _TENSION_NODES)
        end, _ = self._end(log_ends)
        by_end = np.einsum("mthn,eh,en->mte", self.coefficients, end, end, optimize=True)
        return np.asarray(np.tensordot(tension, by_end, axes=(1, 1)).transpose(0, 2, 1))

    def _end(self, log_stiffness: Matrix) -> tuple[Matrix, Matrix]:
        share = 1 / (1 + self.middle_stiffness_n_m * np.exp(-log_stiffness))
        value, slope = _chebyshev(2 * share - 1, _END_NODES)
        return value, slope * (2 * share * (1 - share))[:, None]


@dataclass(frozen=True, slots=True, eq=False)
class EvenTable:
    """ln f of the first ``MODES`` modes where both ends are alike: a quicker table, for grids alone; built by ``even_table``.

    ``coefficients`` has shape (MODES, tension, ends).
    """

    coefficients: NDArray[np.float64]
    log_tension_range: tuple[float, float]
    middle_stiffness_n_m: float

    def over_grid(self, log_tension: Matrix, log_ends: Matrix) -> Matrix:
        """As that of ``ModeTable``."""
        low, high = self.log_tension_range
        tension, _ = _chebyshev(2 * (log_tension - low) / (high - low) - 1, _TENSION_NODES)
        share = 1 / (1 + self.middle_stiffness_n_m * np.exp(-log_ends))
        end, _ = _chebyshev(2 * share - 1, _EVEN_NODES)
        by_end = self.coefficients @ end.T
        return np.asarray(np.tensordot(tension, by_end, axes=(1, 1)).transpose(0, 2, 1))


def mode_table(
    stretches: Sequence[Stretch], plane: BendingPlane, middle_stiffness_n_m: float | None = None
) -> ModeTable:
    """Tabulate a spoke (its uniform pieces from hub to nipple) in one bending plane; ``middle_stiffness_n_m`` is k0."""
    nodes = _Nodes(stretches, plane, middle_stiffness_n_m)
    end = nodes.end_stiffness(_END_NODES)
    logs = nodes.log_frequencies(end[:, None], end[None, :])
    to_tension, to_end = _transform(_TENSION_NODES), _transform(_END_NODES)
    coefficients = np.einsum("abcm,ta,hb,nc->mthn", logs, to_tension, to_end, to_end, optimize=True)
    return ModeTable(np.ascontiguousarray(coefficients), nodes.log_tension_range, nodes.middle_stiffness_n_m)


def ends_tables(
    stretches: Sequence[Stretch], ends: Sequence[int], plane: BendingPlane, table: ModeTable
) -> tuple[ModeTable, ModeTable]:
    """What the pieces at ``ends`` of the spoke in ``table`` do: derivatives of ln f by the ln of their mass and stiffness."""
    found = []
    for mass, stiffness in ((_STEP, 0.0), (0.0, _STEP)):
        changed = mode_table(_with_ends(stretches, ends, mass, stiffness), plane, table.middle_stiffness_n_m)
        found.append(replace(table, coefficients=(changed.coefficients - table.coefficients) / _STEP))
    return found[0], found[1]


def _with_ends(stretches: Sequence[Stretch], ends: Sequence[int], mass: float, stiffness: float) -> list[Stretch]:
    """The pieces with ln of mass per length and of bending stiffness of those at ``ends`` raised by this."""
    changed = list(stretches)
    for at in ends:
        changed[at] = replace(
            stretches[at],
            linear_density_kg_m=stretches[at].linear_density_kg_m * math.exp(mass),
            flat_stiffness_n_m2=stretches[at].flat_stiffness_n_m2 * math.exp(stiffness),
            edge_stiffness_n_m2=stretches[at].edge_stiffness_n_m2 * math.exp(stiffness),
        )
    return changed


def even_table(stretches: Sequence[Stretch], plane: BendingPlane) -> EvenTable:
    """Tabulate a spoke in one bending plane where its ends are alike."""
    nodes = _Nodes(stretches, plane)
    end = nodes.end_stiffness(_EVEN_NODES)
    logs = nodes.log_frequencies(end, end)
    coefficients = np.einsum("abm,ta,eb->mte", logs, _transform(_TENSION_NODES), _transform(_EVEN_NODES), optimize=True)
    return EvenTable(np.ascontiguousarray(coefficients), nodes.log_tension_range, nodes.middle_stiffness_n_m)


class _Nodes:
    """The beam of a table, solved at its nodes."""

    log_tension_range = (math.log(LOWEST_TENSION_N), math.log(HIGHEST_TENSION_N))

    def __init__(
        self, stretches: Sequence[Stretch], plane: BendingPlane, middle_stiffness_n_m: float | None = None
    ) -> None:
        beam = beam_matrices(stretches, plane, _BUBBLES)
        whiten = np.linalg.inv(np.linalg.cholesky(beam.mass))
        self._bending, self._geometric = (whiten @ each @ whiten.T for each in (beam.bending, beam.geometric))
        self._hub, self._nipple = whiten[:, beam.hub_slope], whiten[:, beam.nipple_slope]
        soft = min(p.flat_stiffness_n_m2 if plane == "flat" else p.edge_stiffness_n_m2 for p in stretches)
        self.middle_stiffness_n_m = middle_stiffness_n_m or math.sqrt(soft * 900.0)

    def end_stiffness(self, count: int) -> Matrix:
        """Of an end at its nodes, in N m/rad."""
        shares = (_nodes(count) + 1) / 2
        return np.asarray(self.middle_stiffness_n_m * shares / (1 - shares))

    def log_frequencies(self, hub: Matrix, nipple: Matrix) -> Matrix:
        """ln f at the nodes of tension and at these stiffnesses of the ends (broadcast), the modes last."""
        low, high = self.log_tension_range
        tensions = np.exp(low + (_nodes(_TENSION_NODES) + 1) / 2 * (high - low))
        ends = hub[..., None, None] * np.outer(self._hub, self._hub)
        ends = ends + nipple[..., None, None] * np.outer(self._nipple, self._nipple)
        strung = self._bending + tensions[:, None, None] * self._geometric
        matrices = strung.reshape(len(tensions), *[1] * (ends.ndim - 2), *strung.shape[1:]) + ends
        squares = np.linalg.eigvalsh(matrices)[..., :MODES]
        return np.asarray(0.5 * np.log(squares) - math.log(2 * math.pi))


def _nodes(count: int) -> Matrix:
    return np.cos(math.pi * (np.arange(count) + 0.5) / count)


def _transform(count: int) -> Matrix:
    """From values at the Chebyshev nodes to coefficients (discrete orthogonality)."""
    order = np.arange(count)
    basis = np.cos(math.pi * np.outer(order, np.arange(count) + 0.5) / count)
    basis[0] /= 2
    return basis * (2 / count)


def _chebyshev(x: Matrix, count: int) -> tuple[Matrix, Matrix]:
    """Chebyshev polynomials T_0.. and their derivatives at x, shapes (points, count)."""
    values, slopes = np.empty((count, len(x))), np.empty((count, len(x)))
    values[0], values[1], slopes[0], slopes[1] = 1.0, x, 0.0, 1.0
    for n in range(2, count):
        values[n] = 2 * x * values[n - 1] - values[n - 2]
        slopes[n] = 2 * values[n - 1] + 2 * x * slopes[n - 1] - slopes[n - 2]
    return values.T, slopes.T
