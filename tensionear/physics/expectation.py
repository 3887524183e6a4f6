"""What a spoke could sound like: its states as a grid to scan, and how far a pluck stretches it. Imports physics, pitch."""

from __future__ import annotations

import math
from functools import lru_cache

import numpy as np

from tensionear.pitch.lines import Expectation
from tensionear.pitch.series import series_grid
from tensionear.pitch.spectrum import Array

from .beam import BendingPlane
from .inverse import SpokeModel
from .modes import ModeTable, mode_table
from .spoke import Spoke
from .stretch import stretch_of_first_mode

_LOWEST_N, _HIGHEST_N, _STEP = 40.0, 3000.0, 0.004
LOG_TENSION = np.arange(math.log(_LOWEST_N), math.log(_HIGHEST_N), _STEP)
#: End stiffness k of the scan, as shares k/(k + k0) between pinned and clamped.
END_SHARES = np.array([0.05, 0.1, 0.16, 0.23, 0.3, 0.38, 0.46, 0.54, 0.62, 0.69, 0.76, 0.82, 0.87, 0.91, 0.945, 0.97])
_TYPICAL_SWING_M = 0.45e-3


def bending_planes(spoke: Spoke) -> tuple[BendingPlane, ...]:
    """The bending planes that sound differently: one name for a round spoke, two for a flat one."""
    return ("flat", "edge") if spoke.is_flat else ("flat",)


@lru_cache(maxsize=128)
def spoke_tables(spoke: Spoke, free_length_m: float) -> tuple[ModeTable, ModeTable]:
    """Mode tables of both bending planes (one table twice for a round spoke)."""
    stretches = spoke.stretches(free_length_m)
    tables = [mode_table(stretches, plane) for plane in bending_planes(spoke)]
    return tables[0], tables[-1]


@lru_cache(maxsize=128)
def spoke_model(spoke: Spoke, free_length_m: float, u_length_m: float) -> SpokeModel:
    """The model the joint fit takes: tables, and what a standard deviation of each tolerance does."""
    made = spoke.tolerances()
    rows = [(u_length_m / free_length_m, 0.0, 0.0, 0.0)]
    rows += [(0.0, each.linear_density, each.flat_stiffness, each.edge_stiffness) for each in made]
    return SpokeModel(spoke_tables(spoke, free_length_m), np.array(rows), ("length", *(each.source for each in made)))


@lru_cache(maxsize=64)
def expect(spoke: Spoke, free_length_m: float) -> Expectation:
    """What to listen for in a spoke of this kind and free length (m)."""
    flat, edge = spoke_tables(spoke, free_length_m)

    def grid(table: ModeTable) -> Array:
        return table.over_grid(LOG_TENSION, np.log(table.middle_stiffness_n_m * END_SHARES / (1 - END_SHARES)))

    first = grid(flat)
    second = first if edge is flat else grid(edge)
    planes = ("flat", "edge") if spoke.is_flat else ("both", "both")
    axial = spoke.stretches(free_length_m)[0].axial_stiffness_n
    return Expectation(series_grid(planes, (first, second), LOG_TENSION), usual_stretch(axial, free_length_m))


def usual_stretch(axial_stiffness_n: float, free_length_m: float) -> Array:
    """Stretch D that a usual pluck makes at each tension of the grid."""
    at_one_newton = stretch_of_first_mode(axial_stiffness_n, 1.0, _TYPICAL_SWING_M, free_length_m)
    return np.asarray(at_one_newton * np.exp(-LOG_TENSION))
