"""The pitch a described spoke should have, before anyone plucks it. Pure; imports the wheel's values and the beam."""

from __future__ import annotations

from dataclasses import dataclass

from tensionear.physics.beam import natural_frequencies
from tensionear.wheel.model import Place

#: Stands for a clamped end: rotational stiffness in N m/rad far above any spoke's own, xi EI / L.
CLAMPED_N_M = 1e9


@dataclass(frozen=True, slots=True)
class ExpectedPitch:
    """First mode in the flat plane in Hz at ``tension_n``, with both ends hinged and with both clamped.

    A real spoke lies between. What its partner at the crossing does to it is not in these figures.
    """

    tension_n: float
    hinged_hz: float
    clamped_hz: float


def expected_pitch(place: Place, tension_n: float) -> ExpectedPitch:
    """The pitch of the spoke at this place, vibrating over its whole free length, at ``tension_n`` (N, >= 0)."""
    stretches = place.spoke.stretches(place.free_length_m)
    hinged, clamped = (
        float(natural_frequencies(stretches, tension_n, stiffness, stiffness, "flat", 1)[0])
        for stiffness in (0.0, CLAMPED_N_M)
    )
    return ExpectedPitch(tension_n, hinged, clamped)
