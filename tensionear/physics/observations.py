"""Lines of rings put in order for the joint fit: one value a partial and spoke, whatever number of plucks. Imports pitch."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from tensionear.pitch.lines import Heard, Line

from .group import Partials
from .modes import MODES

_FIRST, _SECOND, _BOTH = range(3)
#: One line where two planes must be: it may be either or their blend, which lie this far apart (relative, one sd).
_BLEND_SD = 0.0004


def partials_of(plucks: Sequence[Sequence[Heard]], alike: bool, start_log_tension: Sequence[float]) -> Partials:
    """Observations of a group.

    Parameters
    ----------
    plucks : sequence of sequences of Heard
        Per spoke its rings, at least one.
    alike : bool
        Whether the planes have one series (round spokes): then the lower line of a pair is called the first plane's.
    start_log_tension : sequence of float
        ln T where the fit starts, per spoke.
    """
    values = np.zeros((len(plucks), 3, MODES))
    weights = np.zeros_like(values)
    misfit = np.zeros_like(values)
    counts = np.zeros_like(values)
    for spoke, rings in enumerate(plucks):
        found = [_slots(heard.lines, alike) for heard in rings]
        for slot in {key for each in found for key in each}:
            pairs = np.array([each[slot] for each in found if slot in each])
            weight = pairs[:, 1] ** -2
            mean = float(np.sum(weight * pairs[:, 0]) / np.sum(weight))
            values[spoke][slot], weights[spoke][slot] = mean, np.sum(weight)
            misfit[spoke][slot] = np.sum(weight * (pairs[:, 0] - mean) ** 2)
            counts[spoke][slot] = len(pairs)
    heard_at_all = counts > 0
    spread = np.sqrt(np.maximum(1.0, misfit / np.maximum(counts - 1, 1)))
    sd = np.where(heard_at_all, spread / np.sqrt(np.where(heard_at_all, weights, 1.0)), np.inf)
    return Partials(values, sd, np.asarray(start_log_tension))


def _slots(lines: Sequence[Line], alike: bool) -> dict[tuple[int, int], tuple[float, float]]:
    """Place (row, mode index) of each usable line, with ln f and its standard deviation."""
    found: dict[tuple[int, int], tuple[float, float]] = {}
    for mode in range(1, MODES + 1):
        named = [line for line in lines if line.mode == mode and line.plane is not None]
        if alike:
            found.update(_both_planes(sorted(named, key=lambda line: line.frequency_hz), mode))
        else:
            found.update({(line.plane or 0, mode - 1): _value(line, 0.0) for line in named if not line.twin})
    return found


def _both_planes(named: Sequence[Line], mode: int) -> dict[tuple[int, int], tuple[float, float]]:
    if len(named) == 1:
        return {(_BOTH, mode - 1): _value(named[0], _BLEND_SD)}
    if len(named) >= 2:
        return {(_FIRST, mode - 1): _value(named[0], 0.0), (_SECOND, mode - 1): _value(named[-1], 0.0)}
    return {}


def _value(line: Line, extra: float) -> tuple[float, float]:
    return float(np.log(line.frequency_hz)), float(np.hypot(line.u_frequency_hz / line.frequency_hz, extra))
