"""What is heard in a ring, as values: its lines, the states that explain them, what rings on. Imports its siblings' values."""

from __future__ import annotations

import cmath
import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from .kind import Ring
from .series import Candidate, SeriesGrid
from .spectrum import Array, Peaks

Samples = NDArray[np.float32]

#: Old lines this close are the same line; those so far below the loudest are gone.
SAME_LINE_HZ, GONE_DB = 5.0, -45.0
_FORETOLD = 0.4  # of its size: how well the sound of an old line is known at the best


@dataclass(frozen=True, slots=True)
class Line:
    """One partial of a ring.

    ``plane`` is an index into the grid's planes and ``mode`` counts from 1; both None where the line fits no partial of the
    spoke. ``level_db`` is the amplitude at the pluck re full scale; ``twin`` marks the weaker of two lines of one mode;
    ``phase_rad``, None if unknown, is what the phase at the pluck would be had the line never glided.
    """

    frequency_hz: float
    u_frequency_hz: float
    decay_rate: float
    level_db: float
    plane: int | None
    mode: int | None
    twin: bool
    phase_rad: float | None = None

    @property
    def energy_db(self) -> float:
        """Energy of the ring in dB: level less decay, which an amplitude extrapolated to the pluck would hide."""
        return self.level_db - 10 * float(np.log10(self.decay_rate))


@dataclass(frozen=True, slots=True, eq=False)
class Heard:
    """What was heard in a ring: its lines, the states that explain them (best first), and the stretch of the pluck."""

    lines: tuple[Line, ...]
    candidates: tuple[Candidate, ...]
    peaks: tuple[Peaks, Peaks]
    stretch: float
    start_s: float

    def first_modes(self, plane: int) -> tuple[Line, ...]:
        """Lines of mode 1 in a plane, strongest first."""
        found = [line for line in self.lines if line.plane == plane and line.mode == 1]
        return tuple(sorted(found, key=lambda line: -line.energy_db))


@dataclass(frozen=True, slots=True)
class Ringing:
    """A line that was ringing at ``time_s`` with this level; where it still is when the next pluck comes can be foretold.

    With its phase then, and how well its frequency is known, its sound itself can; ``phase_rad`` None if not.
    """

    frequency_hz: float
    decay_rate: float
    level_db: float
    time_s: float
    phase_rad: float | None = None
    u_frequency_hz: float = 0.0

    def level_at(self, time_s: float) -> float:
        """Level in dB at a later time."""
        return self.level_db - 8.686 * self.decay_rate * (time_s - self.time_s)

    def wave_at(self, time_s: float) -> tuple[complex, float]:
        """Complex amplitude at a later time, and its standard deviation."""
        size = 10 ** (self.level_at(time_s) / 20)
        if self.phase_rad is None:
            return 0.0, size
        later_s = time_s - self.time_s
        turned = cmath.exp(1j * (self.phase_rad + 2 * math.pi * self.frequency_hz * later_s))
        blur = 0.5 * 2 * math.pi * self.u_frequency_hz * later_s
        kept = math.exp(-0.5 * blur**2)
        return size * kept * turned, size * math.hypot(_FORETOLD, min(blur, 1.0))


@dataclass(frozen=True, slots=True, eq=False)
class KeptRing:
    """The sound of a pluck kept for a second look: ``ring`` (n,) from ``start_s`` after it, ``before`` (m,) up to it, what
    rang on from earlier, and the ``stretch`` that was found, which dies with twice ``swing_rate`` (1/s)."""

    ring: Samples
    before: Samples
    rate_hz: float
    start_s: float
    old: tuple[Ringing, ...]
    stretch: float
    swing_rate: float


@dataclass(frozen=True, slots=True)
class Expectation:
    """What is known before listening: the grid of states, for each the stretch D that a usual pluck makes, and what plucks
    sound like (``ring``): those of a spoke that is ``touching`` another form no series of its own.

    ``still``: it may as well not glide at all, as a thing that is no spoke.
    """

    grid: SeriesGrid
    stretch: Array
    still: bool = False
    ring: Ring = "free"


def ringing_after(heard: Heard, onset_s: float, old: Sequence[Ringing]) -> tuple[Ringing, ...]:
    """What may still ring when the next pluck comes: the lines of this one, and those before it that are not yet gone."""
    new = tuple(
        Ringing(line.frequency_hz, line.decay_rate, line.level_db, onset_s, line.phase_rad, line.u_frequency_hz)
        for line in heard.lines
    )
    if not new:
        return tuple(old)
    loudest = max(line.level_db for line in new)
    kept = (
        line
        for line in old
        if line.level_at(onset_s) > loudest + GONE_DB
        and all(abs(line.frequency_hz - other.frequency_hz) > SAME_LINE_HZ for other in new)
    )
    return (*new, *kept)


def with_twins(lines: list[Line]) -> list[Line]:
    """Mark all but the strongest line of each mode of a plane as twins."""
    marked = []
    for line in lines:
        same = [other for other in lines if other.mode == line.mode and other.plane == line.plane]
        strongest = line.mode is None or line == max(same, key=lambda other: other.energy_db)
        marked.append(line if strongest else replace(line, twin=True))
    return marked
