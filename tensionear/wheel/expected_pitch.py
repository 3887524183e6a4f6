"""The pitch a described spoke should have, before anyone plucks it. Pure; imports the wheel's values and the beam."""

from __future__ import annotations

import math
from dataclasses import dataclass

from tensionear.physics.beam import natural_frequencies
from tensionear.physics.string import ideal_string_frequency_hz
from tensionear.wheel.geometry import Side, side_tension_ratio
from tensionear.wheel.model import Place, Wheel

#: How far apart (in ln of pitch) the sides must lie by build to be told by it.
_PLAIN = 0.08
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


def higher_side(wheel: Wheel) -> Side | None:
    """The side that sings higher by the build of the wheel, where that is plain; None otherwise.

    Tensions by the stated targets, else by lateral equilibrium; pitch by the ideal string, f ~ sqrt(T / mu) / L.
    """
    if set(wheel.sides) != {"right", "left"}:
        return None
    targets = [wheel.sides[side].target_n for side in ("right", "left")]
    lines = [place.line for place in wheel.places if place.line is not None]
    ratio = side_tension_ratio(lines) if len(lines) == wheel.spokes else None
    if targets[0] is not None and targets[1] is not None:
        ratio = targets[1] / targets[0]
    if ratio is None:
        return None
    pitch = {side: _string_pitch(next(place for place in wheel.places if place.side == side)) for side in wheel.sides}
    log_ratio = 0.5 * math.log(ratio) + math.log(pitch["left"] / pitch["right"])
    if abs(log_ratio) < _PLAIN:
        return None
    return "left" if log_ratio > 0 else "right"


def _string_pitch(place: Place) -> float:
    """Pitch of a spoke as an ideal string under 1 N, in Hz."""
    stretches = place.spoke.stretches(place.free_length_m)
    mass = sum(each.linear_density_kg_m * each.length_m for each in stretches) / place.free_length_m
    return ideal_string_frequency_hz(1.0, place.free_length_m, mass)


def expected_pitch(place: Place, tension_n: float) -> ExpectedPitch:
    """The pitch of the spoke at this place, vibrating over its whole free length, at ``tension_n`` (N, >= 0)."""
    stretches = place.spoke.stretches(place.free_length_m)
    hinged, clamped = (
        float(natural_frequencies(stretches, tension_n, stiffness, stiffness, "flat", 1)[0])
        for stiffness in (0.0, CLAMPED_N_M)
    )
    return ExpectedPitch(tension_n, hinged, clamped)


def usual_partials(place: Place, tension_n: float, count: int) -> tuple[float, ...]:
    """The first partials in the flat plane in Hz at ``tension_n`` (N), with ends half-way between hinged and clamped.

    A clamp shortens a long stiff string by the end layer l = sqrt(EI / T); an end of rotational stiffness k shortens it by
    l / (1 + sqrt(T EI) / k), since the layer itself resists with sqrt(T EI). So k = sqrt(T EI) is half-way.
    """
    stretches = place.spoke.stretches(place.free_length_m)
    hub, nipple = (math.sqrt(tension_n * stretches[end].flat_stiffness_n_m2) for end in (0, -1))
    return tuple(float(each) for each in natural_frequencies(stretches, tension_n, hub, nipple, "flat", count))
