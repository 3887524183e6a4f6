"""What a spoke could sound like: its states as a grid to scan, and how far a pluck stretches it. Imports physics, pitch."""

from __future__ import annotations

import math
from functools import lru_cache

import numpy as np

from tensionear.pitch.lines import Expectation
from tensionear.pitch.series import LEEWAY_STEP, series_grid
from tensionear.pitch.spectrum import Array

from .beam import BendingPlane
from .modes import MODES, EvenTable, ModeTable, ends_tables, mode_table
from .spoke import Spoke
from .spokemodel import SpokeModel, ThickEnds
from .stretch import stretch_of_first_mode

_LOWEST_N, _HIGHEST_N, _STEP = 40.0, 3000.0, 0.004
LOG_TENSION = np.arange(math.log(_LOWEST_N), math.log(_HIGHEST_N), _STEP)
#: End stiffness k of the scan, as shares k/(k + k0) between pinned and clamped.
END_SHARES = np.array([0.05, 0.1, 0.16, 0.23, 0.3, 0.38, 0.46, 0.54, 0.62, 0.69, 0.76, 0.82, 0.87, 0.91, 0.945, 0.97])
_TYPICAL_SWING_M = 0.45e-3
_BENDING_SD, _UNEVEN_SD = 0.03, 1.0  # of ln EI where the spoke is known; of half the difference of ln k of its ends


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
    tables, sources = spoke_tables(spoke, free_length_m), ("length", *(each.source for each in made))
    if not spoke.has_other_ends:
        return SpokeModel(tables, np.array(rows), sources)
    stretches, ends = spoke.stretches(free_length_m), spoke.end_pieces()
    slopes = [
        ends_tables(stretches, ends, plane, table) for plane, table in zip(bending_planes(spoke), tables, strict=True)
    ]
    beyond = np.array([(0.0, 0.0, 0.0), *(each.ends_beyond for each in made)])
    return SpokeModel(tables, np.array(rows), sources, thick_ends=ThickEnds((slopes[0], slopes[1]), beyond))


@lru_cache(maxsize=64)
def expect(spoke: Spoke, free_length_m: float) -> Expectation:
    """What to listen for in a spoke of this kind and free length (m)."""
    flat, edge = spoke_tables(spoke, free_length_m)

    first, leeway = _grid(flat), leeway_of(flat, _BENDING_SD)
    second, other_leeway = (first, leeway) if edge is flat else (_grid(edge), leeway_of(edge, _BENDING_SD))
    planes = ("flat", "edge") if spoke.is_flat else ("both", "both")
    axial = spoke.stretches(free_length_m)[0].axial_stiffness_n
    return Expectation(
        series_grid(planes, (first, second), (leeway, other_leeway), LOG_TENSION), usual_stretch(axial, free_length_m)
    )


def _grid(table: ModeTable) -> Array:
    return table.over_grid(LOG_TENSION, log_ends(table))


def log_ends(table: ModeTable | EvenTable) -> Array:
    """ln k of the ends of the scan, shape (ends,)."""
    return np.asarray(np.log(table.middle_stiffness_n_m * END_SHARES / (1 - END_SHARES)))


def leeway_of(table: ModeTable, bending_sd: float) -> Array:
    """What one standard deviation of the bending stiffness, and of ends unlike each other, adds to ln f of a grid of equal ends.

    Parameters
    ----------
    table : ModeTable
    bending_sd : float
        Of ln EI.

    Returns
    -------
    ndarray, shape (states, ends, 2, MODES)
        At every ``LEEWAY_STEP``-th of ``LOG_TENSION``.
    """
    tension = LOG_TENSION[::LEEWAY_STEP]
    found = np.empty((len(tension), len(END_SHARES), 2, MODES))
    for at, end in enumerate(log_ends(table)):
        same = np.full(len(tension), end)
        _, slopes = table.log_frequencies(tension, same, same)
        stiffer_hub, _ = table.log_frequencies(tension, same + _UNEVEN_SD, same - _UNEVEN_SD)
        stiffer_nipple, _ = table.log_frequencies(tension, same - _UNEVEN_SD, same + _UNEVEN_SD)
        found[:, at, 0] = bending_sd * (0.5 - slopes.sum(axis=0))
        found[:, at, 1] = (stiffer_hub - stiffer_nipple) / 2
    return found


def usual_stretch(axial_stiffness_n: float, free_length_m: float) -> Array:
    """Stretch D that a usual pluck makes at each tension of the grid."""
    at_one_newton = stretch_of_first_mode(axial_stiffness_n, 1.0, _TYPICAL_SWING_M, free_length_m)
    return np.asarray(at_one_newton * np.exp(-LOG_TENSION))
