"""What the fit of a side teaches: the series its spokes can have, with the ends it found. Imports pitch, its siblings.

The scan of a first hearing allows any ends. Once a side is fitted its ends are known about as well as spokes differ, and a ring
that was taken for another state - its neighbour's, an octave, the other plane's - stands out.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from tensionear.pitch.lines import Expectation
from tensionear.pitch.series import LEEWAY_STEP, series_grid
from tensionear.pitch.spectrum import Array

from .believed import SHARED_ENDS
from .expectation import LOG_TENSION
from .inverse import GroupFit
from .modes import ModeTable
from .spokemodel import SpokeModel

_STEPS = np.array([-2.0, -1.0, 0.0, 1.0, 2.0])  # columns of the grid, both ends stiffer or softer together
_APART = 0.7  # of a standard deviation, between two columns
_MOST_VARIANCE = 0.3  # of ln k: where the fit knows less, the grid is no narrower for it
_EVERY = 4  # states: so coarsely are the tables asked, and filled in between


def taught(expected: Expectation, model: SpokeModel, fit: GroupFit) -> Expectation:
    """What to listen for in spokes of a fitted group.

    Parameters
    ----------
    expected : Expectation
        What was listened for at first.
    model : SpokeModel
        The spoke, one of the models of the fit.
    fit : GroupFit

    Returns
    -------
    Expectation
        With the states of ``LOG_TENSION`` and five ends.
    """
    shared = fit.weight @ fit.shared
    variance = fit.weight @ (np.diagonal(fit.shared_covariance, axis1=1, axis2=2) + (fit.shared - shared) ** 2)
    sd = np.sqrt(fit.prior.spoke_sd**2 + np.minimum(variance[:2], _MOST_VARIANCE))
    sources = SHARED_ENDS + len(model.tolerances)
    made = shared[SHARED_ENDS:sources]
    length, mass, *stiffness = made @ model.tolerances
    planes = (0,) if expected.grid.alike else (0, 1)
    grids, leeways = [], []
    for plane in planes:
        ends = shared[:2] + shared[2 + 2 * plane : 4 + 2 * plane] + length - stiffness[plane]
        tension, offset = 2 * length - stiffness[plane], stiffness[plane] / 2 - mass / 2 - 2 * length
        bend = shared[sources:] @ model.bends[:, plane]
        grids.append(_grid(model, plane, tension, ends, sd, made) + offset + bend)
        leeways.append(_leeway(model.tables[plane], tension, ends, sd))
    return replace(
        expected,
        grid=series_grid(expected.grid.planes, (grids[0], grids[-1]), (leeways[0], leeways[-1]), LOG_TENSION),
    )


def _grid(model: SpokeModel, plane: int, tension: float, ends: Array, sd: Array, made: Array) -> Array:
    """ln f of the tabled spoke with thick ends as ``made``, shape (states, ends, MODES)."""
    known = np.append(LOG_TENSION[:-1:_EVERY], LOG_TENSION[-1])
    asked = known + tension
    columns = []
    for step in _STEPS:
        hub, nipple = (np.full(len(asked), end) for end in ends + _APART * step * sd)
        values, _ = model.tables[plane].log_frequencies(asked, hub, nipple)
        if model.thick_ends is not None:
            values = values + model.thick_ends.log_frequencies(plane, asked, hub, nipple) @ made
        columns.append(np.stack([np.interp(LOG_TENSION, known, mode) for mode in values.T], axis=1))
    return np.stack(columns, axis=1)


def _leeway(table: ModeTable, tension: float, ends: Array, sd: Array) -> Array:
    """What ends unlike each other add, shape (states / LEEWAY_STEP, ends, 1, MODES)."""
    asked = LOG_TENSION[::LEEWAY_STEP] + tension
    hub, nipple = (np.full(len(asked), end) for end in ends)
    more, _ = table.log_frequencies(asked, hub + sd[0], nipple - sd[1])
    less, _ = table.log_frequencies(asked, hub - sd[0], nipple + sd[1])
    return np.repeat(((more - less) / 2)[:, None, None, :], len(_STEPS), axis=1)
