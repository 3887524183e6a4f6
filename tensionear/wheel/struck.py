"""A candidate pluck as the naming of a round takes it. Imports fingerprint."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from .fingerprint import Fingerprints

Array = NDArray[np.float64]

CLEAR = 0.5  # probability from which a candidate is taken for a pluck when the take is looked at as a whole


@dataclass(frozen=True, slots=True, eq=False)
class Struck:
    """One candidate: when, how probably a pluck, its lines and first mode; how far the ring before it fell at the end."""

    onset_s: float
    probability: float
    line_hz: Array
    line_level_db: Array
    pitch_hz: float | None
    fall_db: float


def prints_of(struck: Sequence[Struck]) -> Fingerprints:
    """The fingerprints of all candidates."""
    return Fingerprints([each.line_hz for each in struck], [each.line_level_db for each in struck])


def log_pitches(struck: Sequence[Struck]) -> Array:
    """ln of each candidate's pitch, NaN where it has none."""
    return np.array([np.log(each.pitch_hz) if each.pitch_hz else np.nan for each in struck])
