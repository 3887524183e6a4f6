"""Partials of one ring with their decay, whatever series they form. Imports ``shared`` only.

A spoke that fingers hold rings by what the fingers leave of it: no harmonic series, each partial with a decay of its own.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

from .lines import KeptRing
from .shared import Look, Pole, clustered, fitted_poles, found_poles

_LOOK = Look(4400.0, 0.3, 0.2, 1400.0, (0.4, 90.0), worst=0.012, clear=4.0)
_FAINT_DB = 24.0
#: (nearer than so much of f, so many dB below): then it is the room's answer to a stronger partial, or a badly split band.
_ECHOES = ((0.012, 14.0), (0.0025, 6.0))


@dataclass(frozen=True, slots=True)
class RingLine:
    """A partial: frequency and standard uncertainty in Hz, decay rate in 1/s with the standard uncertainty of its log, level."""

    frequency_hz: float
    u_frequency_hz: float
    decay_rate: float
    u_log_decay: float
    level_db: float


def ring_lines(ring: KeptRing) -> tuple[RingLine, ...]:
    """The partials of a ring by rising frequency. The swing that would stretch the spoke dies within milliseconds."""
    still = replace(ring, stretch=0.0)
    poles = [pole for each in clustered(found_poles([still], _LOOK)) for pole in fitted_poles([still], each, _LOOK)]
    if not poles:
        return ()
    loudest = max(pole.level_db for pole in poles)
    kept = [pole for pole in poles if pole.level_db > loudest - _FAINT_DB and not _is_echo(pole, poles)]
    return tuple(
        RingLine(pole.frequency_hz, pole.u_frequency_hz, pole.decay_rate, pole.u_log_decay, pole.level_db)
        for pole in sorted(kept, key=lambda pole: pole.frequency_hz)
    )


def _is_echo(pole: Pole, poles: Sequence[Pole]) -> bool:
    return any(
        abs(other.frequency_hz / pole.frequency_hz - 1) < reach and pole.level_db < other.level_db - below
        for other in poles
        for reach, below in _ECHOES
    )
