"""What a spoke held by fingers could sound like: its states as a grid to scan. Imports physics, pitch.

How much of the lowest partials the fingers leave is not known before: heavy ones leave the outer span its own series but for
the first, light ones only what has a node at the fingers. Each is a variant of the grid.
"""

from __future__ import annotations

import math
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from tensionear.pitch.lines import Expectation
from tensionear.pitch.series import LEEWAY_STEP, series_grid

from .expectation import LOG_TENSION, bending_planes, usual_stretch
from .held import HeldModel, HeldState
from .modes import MODES
from .spoke import Spoke

Array = NDArray[np.float64]

_SHIFTS_M = (-3.0e-3, -1.8e-3, -0.6e-3, 0.6e-3, 1.8e-3, 3.0e-3)
#: Spring in N/m, damper in N s/m and mass in kg of fingers, from a light touch to a firm and heavy one.
_FINGERS = ((1e4, 4.0, 1e-4), (2e4, 10.0, 2e-3), (1e4, 10.0, 8e-3))
_COARSE = 40  # tensions that are solved; the others lie between
_GONE = 90.0  # 1/s: a partial that dies faster is not heard
_USUAL_LOG_TENSION = math.log(900.0)  # there the partials of a variant are chosen
_PLACE_WAY_M, _END_WAY = 0.7e-3, 0.4
_END_N_M = 28.0
_FAR_LOG = math.log(7000.0)


@lru_cache(maxsize=32)
def expect_held(spoke: Spoke, free_length_m: float, place_m: float) -> Expectation:
    """What to listen for in a spoke of this kind and free length (m) that is held at ``place_m`` from the hub."""
    stretches = spoke.stretches(free_length_m)
    grids = [_grid(HeldModel(stretches, place_m, plane)) for plane in bending_planes(spoke)]
    (first, leeway), (second, other) = grids[0], grids[-1]
    planes = ("flat", "edge") if spoke.is_flat else ("both", "both")
    stretch = usual_stretch(stretches[0].axial_stiffness_n, free_length_m)
    return Expectation(series_grid(planes, (first, second), (leeway, other), LOG_TENSION), stretch, "held")


def _grid(model: HeldModel) -> tuple[Array, Array]:
    """ln f of the partials that can be heard (states, variants, MODES), and their leeway by place and ends."""
    coarse = np.linspace(LOG_TENSION[0], LOG_TENSION[-1], _COARSE)
    logs, leeway = [], []
    for spring, damper, weight in _FINGERS:
        for shift in _SHIFTS_M:
            one = np.ones(_COARSE)
            zero = np.zeros(_COARSE)
            state = HeldState(
                coarse, shift * one, _END_N_M * one, _END_N_M * one, spring * one, damper * one, weight * one, zero, zero, zero
            )  # fmt: skip
            modes = model.evaluate(state)
            usual = int(np.searchsorted(coarse, _USUAL_LOG_TENSION))
            kept = np.flatnonzero(modes.decay_rate[usual] < _GONE)[:MODES]
            value = np.full((_COARSE, MODES), _FAR_LOG)
            ways = np.zeros((_COARSE, 2, MODES))
            value[:, : len(kept)] = modes.log_frequency[:, kept]
            ways[:, 0, : len(kept)] = _PLACE_WAY_M * modes.by_frequency[:, kept, 1]
            ways[:, 1, : len(kept)] = _END_WAY * modes.by_frequency[:, kept, 2:4].sum(axis=2)
            logs.append(np.array([np.interp(LOG_TENSION, coarse, value[:, mode]) for mode in range(MODES)]).T)
            nearest = np.searchsorted(coarse, LOG_TENSION[::LEEWAY_STEP]).clip(0, _COARSE - 1)
            leeway.append(ways[nearest])
    return np.stack(logs, axis=1), np.stack(leeway, axis=1)
