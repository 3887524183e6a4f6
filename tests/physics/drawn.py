"""Spokes drawn with their tolerances and ends, and the partials they have by the exact beam: data for tests of the inverse."""

from __future__ import annotations

import dataclasses
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from tensionear.catalogue import build_spoke
from tensionear.physics.beam import BendingPlane, natural_frequencies
from tensionear.physics.group import Partials
from tensionear.physics.modes import MODES
from tensionear.physics.spoke import Spoke, Stretch

Array = NDArray[np.float64]

ROUND = build_spoke("round", {"material": "steel", "shape": "round", "diameter_mm": 2.0})
BLADE = build_spoke("blade", {"material": "carbon", "shape": "blade", "width_mm": 4.6, "thickness_mm": 1.2})
U_LENGTH_M = 0.5e-3
HEARD_MODES = 6
U_CENTS = 0.3


@dataclass(frozen=True, slots=True, eq=False)
class Side:
    """True spokes of one making: tensions (spokes,), ends (spokes, plane, end) in N m/rad, pieces as they really are."""

    tension_n: Array
    ends_n_m: Array
    stretches: tuple[Stretch, ...]
    flat: bool

    def log_frequency(self) -> Array:
        """ln f of all modes, shape (spokes, plane, MODES)."""
        planes: tuple[BendingPlane, BendingPlane] = ("flat", "edge") if self.flat else ("flat", "flat")
        return np.log(
            [
                [natural_frequencies(self.stretches, t, *ends[plane], name, MODES) for plane, name in enumerate(planes)]
                for t, ends in zip(self.tension_n, self.ends_n_m, strict=True)
            ]
        )


def draw_side(rng: np.random.Generator, spoke: Spoke, free_length_m: float, tension_n: Array) -> Side:
    """One making for all: length, mass and stiffness off by their tolerances, ends of one kind with their scatter."""
    length = 1 + U_LENGTH_M / free_length_m * rng.normal()
    mass, flat, edge = 1.0, 1.0, 1.0
    for each in spoke.tolerances():
        drawn = rng.normal()
        mass += each.linear_density * drawn
        flat += each.flat_stiffness * drawn
        edge += each.edge_stiffness * drawn
    pieces = tuple(
        dataclasses.replace(
            piece,
            length_m=piece.length_m * length,
            linear_density_kg_m=piece.linear_density_kg_m * mass,
            flat_stiffness_n_m2=piece.flat_stiffness_n_m2 * flat,
            edge_stiffness_n_m2=piece.edge_stiffness_n_m2 * edge,
        )
        for piece in spoke.stretches(free_length_m)
    )
    base = rng.uniform(np.log(4), np.log(200), 2) + 0.25 * rng.normal(size=(2, 2))
    ends = np.exp(base + 0.2 * rng.normal(size=(len(tension_n), 2, 2)))
    return Side(tension_n, ends, pieces, spoke.is_flat)


def heard(rng: np.random.Generator, side: Side, modes: int = HEARD_MODES, u_cents: float = U_CENTS) -> Partials:
    """The first modes of both planes, each off by its stated uncertainty; the fit starts up to 15 % off in tension."""
    truth = side.log_frequency()
    values = np.zeros((len(truth), 3, MODES))
    sd = np.full(values.shape, np.inf)
    values[:, :2, :modes] = truth[:, :, :modes] + u_cents / 1731.2 * rng.normal(size=(len(truth), 2, modes))
    sd[:, :2, :modes] = u_cents / 1731.2
    return Partials(values, sd, np.log(side.tension_n) + rng.uniform(-0.15, 0.15, len(truth)))
