"""Spokes of which only the number is known, put into a higher and a lower group, by position. Imports numpy only.

Sides alternate round a rim (1:1, or two to one), so the groups are looked for as a repeating pattern of positions; pitch only
decides which pattern. A slack spoke stays in the group of its place.
"""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

_PATTERNS = ("A", "AB", "BA", "AAB", "ABA", "BAA")
_CLEAR = 12.0  # by how much a pattern must beat the simpler one, in twice the log likelihood
_OUTLIER = 3.0


def side_pattern(log_pitch: Mapping[int, float], spokes: int) -> tuple[str, ...]:
    """Group of each spoke from 1: ``higher`` or ``lower``, or ``all`` where there is one group only.

    Parameters
    ----------
    log_pitch : mapping of int to float
        ln of the first mode's frequency by spoke number; spokes not read are left out.
    spokes : int
    """
    costs = {}
    for pattern in _PATTERNS:
        if spokes % len(pattern) == 0:
            costs[pattern] = _cost(log_pitch, pattern) + _CLEAR * (len(set(pattern)) - 1)
    best = min(costs, key=lambda pattern: (round(costs[pattern], 6), len(pattern)))
    if best == "A":
        return ("all",) * spokes
    letters = [best[(spoke - 1) % len(best)] for spoke in range(1, spokes + 1)]
    level = {
        letter: np.median([value for spoke, value in log_pitch.items() if letters[spoke - 1] == letter])
        for letter in "AB"
    }
    higher = "A" if level["A"] >= level["B"] else "B"
    return tuple("higher" if letter == higher else "lower" for letter in letters)


def _cost(log_pitch: Mapping[int, float], pattern: str) -> float:
    """Twice the negative log likelihood of groups with one common robust spread."""
    away = []
    for letter in set(pattern):
        values = [value for spoke, value in log_pitch.items() if pattern[(spoke - 1) % len(pattern)] == letter]
        away += list(np.abs(np.array(values) - np.median(values))) if values else []
    spread = max(1.4826 * float(np.median(away)), 0.004) if away else 1.0
    sizes = np.minimum(np.array(away) / spread, _OUTLIER)
    return float(np.sum(sizes**2) + 2 * len(away) * np.log(spread))
