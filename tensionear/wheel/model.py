"""A described wheel as frozen values, in SI units. Imports geometry, the rim classes, spokes and findings."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from types import MappingProxyType
from typing import Literal

from tensionear.catalogue import RimClass
from tensionear.physics.believed import SharedPrior
from tensionear.physics.spoke import Spoke
from tensionear.reading import Finding, Units
from tensionear.wheel.geometry import CrossingPlace, Runs, Side, SpokeLine

Head = Literal["elbow", "straight"]
Crossing = Literal["apart", "touching", "pinched", "tied"]
Tyre = Literal["none", "mounted", "inflated"]
Held = Literal["free", "bike"]
Age = Literal["new", "relieved", "ridden"]
#: Side, head and name of the spoke: those alike in all three share what their ends are like.
GroupKey = tuple[Side, Head, str]


@dataclass(frozen=True, slots=True)
class Place:
    """One spoke's place in the wheel, as described.

    Parameters
    ----------
    number : int
        From 1, clockwise from the valve hole, seen from the right.
    label : str
        ``R1``.. or ``L1``.. in the same order.
    side : {"right", "left"}
    spoke : Spoke
        Its kind.
    free_length_m : float
        From the bearing point at the hub to the nipple's hub-side tip.
    u_length_m : float
        Standard uncertainty of the free length, common to its side.
    head : {"elbow", "straight"}
    crossing : {"apart", "touching", "pinched", "tied"} or None
        What happens where it crosses its partner; None if not stated.
    leave_out : str or None
        Why it is not judged.
    line : SpokeLine or None
        Where it runs; None if the wheel file lacks the geometry.
    meets : CrossingPlace or None
        Its outermost crossing: partner, distance from the hub, angle; None if there is none or the file does not say
        which way the first spoke runs.
    """

    number: int
    label: str
    side: Side
    spoke: Spoke
    free_length_m: float
    u_length_m: float
    head: Head
    crossing: Crossing | None
    leave_out: str | None
    line: SpokeLine | None
    meets: CrossingPlace | None


@dataclass(frozen=True, slots=True)
class WheelSide:
    """What is stated of one side as a whole; None where the wheel file leaves it out."""

    side: Side
    numbers: tuple[int, ...]
    spoke: Spoke
    target_n: float | None
    crosses: int | None
    first_runs: Runs | None
    hub_circle_diameter_m: float | None
    flange_offset_m: float | None
    crossing: Crossing | None


@dataclass(frozen=True, slots=True)
class Rim:
    """The rim: seat circle and stiffness (None if not stated); ``seat_offset_stated`` tells a stated 0 from no word."""

    seat_diameter_m: float | None
    seat_offset_m: float
    stiffness: RimClass | None
    seat_offset_stated: bool = False


@dataclass(frozen=True, slots=True)
class Nipple:
    """Thread pitch, and the distance from the nipple seat to its hub-side tip, in m."""

    pitch_m: float
    tip_m: float


@dataclass(frozen=True, slots=True)
class WheelLimits:
    """What the wheel is held against; ``max_tension_n`` is the lowest limit any maker states.

    ``level_percent`` is how far a side's mean may be from its target. The risks are those of calling a wheel within
    that is not (the consumer's) and out that is not (the producer's), as shares; ``guard_band_u`` draws every limit
    in by so many standard uncertainties before anything is called within.
    """

    evenness_percent: float
    lateral_m: float
    radial_m: float
    dish_m: float
    floor_n: float | None
    max_tension_n: float | None
    level_percent: float = 10.0
    twist_deg: float = 5.0
    consumer_risk: float = 0.05
    producer_risk: float = 0.05
    guard_band_u: float = 0.0


@dataclass(frozen=True, slots=True)
class WheelState:
    """How the wheel stood when it was plucked; pressure in Pa over the air's, None if not stated.

    ``crash`` and ``broken`` (numbers of spokes) are what the user knows without any sound.
    """

    tyre: Tyre
    pressure_pa: float | None
    held: Held = "free"
    age: Age | None = None
    temperature_c: float | None = None
    crash: bool = False
    broken: tuple[int, ...] = ()


@dataclass(frozen=True, slots=True)
class Wheel:
    """A wheel as its file describes it: one place per spoke in rim order, and what is stated of its sides and parts.

    ``calibration`` names the calibrations its file asks for (``("none",)``: none; empty: those found by its build);
    ``learned`` is what the calibrations in use say of each group of spokes, ``calibrated`` says so in words.
    """

    name: str
    places: tuple[Place, ...]
    sides: Mapping[Side, WheelSide]
    rim: Rim
    nipple: Nipple
    limits: WheelLimits
    state: WheelState
    warnings: tuple[Finding, ...]
    units: Units = "N"
    calibration: tuple[str, ...] = ()
    learned: Mapping[GroupKey, SharedPrior] = field(default_factory=lambda: MappingProxyType({}))
    calibrated: tuple[Finding, ...] = ()

    @property
    def spokes(self) -> int:
        """How many spokes the wheel has."""
        return len(self.places)

    def place(self, number: int) -> Place:
        """The place of spoke ``number`` (1..spokes); IndexError outside."""
        if not 1 <= number <= self.spokes:
            raise IndexError(f"spoke {number} of a wheel of {self.spokes}")
        return self.places[number - 1]


def in_words(number: int) -> str:
    """Where a spoke is, for someone standing at the wheel: ``7th clockwise from the valve, seen from the right``."""
    teen = number % 100 in (11, 12, 13)
    suffix = "th" if teen else {1: "st", 2: "nd", 3: "rd"}.get(number % 10, "th")
    return f"{number}{suffix} clockwise from the valve, seen from the right"
