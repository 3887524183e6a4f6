"""How far a spoke twists with its nipple before the thread slips. Pure; imports the wheel's places only.

Sound does not hear torsion: a wound-up spoke reads right and loses its turn when it springs back on the road.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from tensionear.physics.section import Section
from tensionear.physics.spoke import Spoke
from tensionear.wheel.model import Place

#: Friction of a greased spoke thread and its standard uncertainty. Common practice, no source.
FRICTION, U_FRICTION = 0.15, 0.04
#: Half the angle of the thread's flanks (DIN 79012: 60 degrees), over which friction acts.
HALF_FLANK_RAD = math.radians(30)
#: What of the wind-up stays in a spoke (one sigma) once its nipple was turned past and back. Judgement, no source.
LEFT_BEHIND = 0.15
#: E/G: metals with Poisson's ratio 0.3, and unidirectional carbon (E along the fibre over G, 181 / 7 at most 28).
E_OVER_G, E_OVER_G_CARBON = 2.6, 28.0
#: Twist below which nothing need be done, in turns.
NEGLIGIBLE_TURNS = 1 / 32


@dataclass(frozen=True, slots=True)
class WindUp:
    """Twist of a spoke when its nipple begins to slip on the thread, in turns, with its standard uncertainty."""

    turns: float
    u_turns: float

    @property
    def past_turns(self) -> float:
        """How far to go past and come back: the twist in sixteenths, 0 where it is negligible."""
        return 0.0 if self.turns < NEGLIGIBLE_TURNS else max(1, round(16 * self.turns)) / 16

    @property
    def left_behind_turns(self) -> float:
        """Standard uncertainty of the twist that stays after going past and coming back."""
        return LEFT_BEHIND * math.hypot(self.turns, self.u_turns)


def wind_up(place: Place, tension_n: float, pitch_m: float) -> WindUp:
    """The wind-up of one spoke while its nipple is tightened.

    Parameters
    ----------
    place : Place
    tension_n : float
        Its tension, >= 0.
    pitch_m : float
        Of the thread.

    Notes
    -----
    The torque of a tightened screw (any machine element handbook) T r (mu / cos 30 + P / 2 pi r) twists the spoke by
    torque times sum l / GJ. The mean radius r of a rolled thread is that of its wire within 3 % (DIN 79012: 2.06 mm
    on 2.0 mm wire). A blade held in a slotted tool between hand and nipple does not wind up; this is the free one.
    """
    radius = place.spoke.ends.thickness_m / 2
    compliance = sum(length / stiffness for length, stiffness in _torsion(place))

    def turns(friction: float) -> float:
        torque = tension_n * radius * (friction / math.cos(HALF_FLANK_RAD) + pitch_m / (2 * math.pi * radius))
        return torque * compliance / (2 * math.pi)

    return WindUp(turns(FRICTION), turns(FRICTION + U_FRICTION) - turns(FRICTION))


def _torsion(place: Place) -> list[tuple[float, float]]:
    """Length (m) and torsional stiffness GJ (N m2) of each stretch."""
    spoke, length = place.spoke, place.free_length_m
    if spoke.ends == spoke.middle:
        return [(length, _gj_n_m2(spoke, spoke.middle))]
    thick = spoke.head_m + spoke.tail_m
    return [(thick, _gj_n_m2(spoke, spoke.ends)), (max(length - thick, 0.0), _gj_n_m2(spoke, spoke.middle))]


def _gj_n_m2(spoke: Spoke, section: Section) -> float:
    """GJ: pi d^4/32 of a circle; of a flat bar w t^3/3 (1 - 0.63 t/w) (Timoshenko and Goodier; from memory)."""
    ratio = E_OVER_G_CARBON if spoke.material.name == "carbon" else E_OVER_G
    shear = spoke.material.youngs_modulus_pa / ratio
    w, t = section.width_m, section.thickness_m
    if section.shape == "round":
        return shear * math.pi * t**4 / 32
    return shear * w * t**3 / 3 * (1 - 0.63 * t / w)
