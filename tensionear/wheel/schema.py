"""The keys of a wheel file, format 1: types and bounds in the file's own units. Imports nothing of the package."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import BaseModel, ConfigDict, Field

# Bounds are wide enough for any wheel with spokes; what lies outside is a slip of unit (m, cm, inch) or of a digit.
FreeLengthMm = Annotated[float, Field(strict=True, ge=50, le=800)]
SeatDiameterMm = Annotated[float, Field(strict=True, ge=100, le=1700)]
HubCircleMm = Annotated[float, Field(strict=True, ge=10, le=400)]
FlangeOffsetMm = Annotated[float, Field(strict=True, ge=0, le=150)]
SeatOffsetMm = Annotated[float, Field(strict=True, ge=-30, le=30)]
TensionN = Annotated[float, Field(strict=True, gt=0, le=10_000)]
RoundMm = Annotated[float, Field(strict=True, ge=0.5, le=8)]
WidthMm = Annotated[float, Field(strict=True, ge=0.3, le=20)]
EndMm = Annotated[float, Field(strict=True, ge=0, le=400)]
Positive = Annotated[float, Field(strict=True, gt=0)]
Percent = Annotated[float, Field(strict=True, ge=0, le=50)]
RunoutMm = Annotated[float, Field(strict=True, gt=0, le=50)]
Risk = Annotated[float, Field(strict=True, ge=0.1, le=30)]
Text = Annotated[str, Field(min_length=1)]


class Table(BaseModel):
    """A table that allows no other keys and no nan or inf."""

    model_config = ConfigDict(extra="forbid", allow_inf_nan=False, frozen=True)


class Lacing(Table):
    """``[lacing]``"""

    spokes: Annotated[int, Field(strict=True, ge=1, le=200)]
    sides: Annotated[str, Field(pattern="^[RL]+$")]


class RimTable(Table):
    """``[rim]``: ``stiffness`` names a class, or the four figures are the rim's own."""

    seat_diameter_mm: SeatDiameterMm | None = None
    seat_offset_mm: SeatOffsetMm = 0.0
    stiffness: Text | None = None
    ea_n: Positive | None = None
    ei_radial_n_m2: Positive | None = None
    ei_lateral_n_m2: Positive | None = None
    gj_n_m2: Positive | None = None
    max_tension_n: TensionN | None = None


class HubTable(Table):
    """``[hub]``"""

    max_tension_n: TensionN | None = None


class SideTable(Table):
    """``[right]`` and ``[left]``"""

    spoke: Text
    free_length_mm: FreeLengthMm | None = None
    u_length_mm: Annotated[float, Field(strict=True, gt=0, le=20)] | None = None
    hub_circle_diameter_mm: HubCircleMm | None = None
    flange_offset_mm: FlangeOffsetMm | None = None
    crosses: Annotated[int, Field(strict=True, ge=0, le=4)] | None = None
    first_runs: Literal["clockwise", "counterclockwise", "counter-clockwise", "anticlockwise"] | None = None
    head: Literal["elbow", "straight"] = "elbow"
    crossing: Literal["apart", "touching", "pinched", "tied"] | None = None
    target_n: TensionN | None = None


class NippleTable(Table):
    """``[nipple]``: 56 threads to the inch (DIN 79012) unless stated."""

    pitch_mm: Annotated[float, Field(strict=True, ge=0.2, le=2)] = 0.4536
    tip_mm: Annotated[float, Field(strict=True, ge=0, le=60)] = 10.0


class LimitsTable(Table):
    """``[limits]``: ``grade`` names an evenness instead of ``evenness_percent``."""

    grade: Literal["fine", "good", "wide"] | None = None
    evenness_percent: Annotated[float, Field(strict=True, gt=0, le=100)] | None = None
    level_percent: Annotated[float, Field(strict=True, gt=0, le=100)] = 10.0
    lateral_mm: RunoutMm = 0.5
    radial_mm: RunoutMm = 0.5
    dish_mm: RunoutMm = 0.5
    floor_n: TensionN | None = None
    twist_deg: Annotated[float, Field(strict=True, gt=0, le=90)] = 5.0
    consumer_risk_percent: Risk = 5.0
    producer_risk_percent: Risk = 5.0
    guard_band_u: Annotated[float, Field(strict=True, ge=0, le=5)] = 0.0


class StateTable(Table):
    """``[state]``"""

    tyre: Literal["none", "mounted", "inflated"] = "none"
    pressure_kpa: Annotated[float, Field(strict=True, gt=0, le=2000)] | None = None
    held: Literal["free", "bike"] = "free"
    age: Literal["new", "relieved", "ridden"] | None = None
    temperature_c: Annotated[float, Field(strict=True, ge=-40, le=60)] | None = None
    crash: Annotated[bool, Field(strict=True)] = False
    broken: tuple[Annotated[int, Field(strict=True, ge=1, le=200)], ...] = ()


class SpokeTable(Table):
    """``[spokes.NAME]``: an own kind of spoke; which sizes are needed depends on the shape (``SIZES``)."""

    material: Literal["steel", "carbon-steel", "titanium", "carbon", "aluminium"]
    shape: Literal["round", "butted", "blade", "oval"]
    density_kg_m3: Annotated[float, Field(strict=True, ge=500, le=20_000)] | None = None
    youngs_modulus_gpa: Annotated[float, Field(strict=True, ge=5, le=1000)] | None = None
    diameter_mm: RoundMm | None = None
    end_diameter_mm: RoundMm | None = None
    middle_diameter_mm: RoundMm | None = None
    width_mm: WidthMm | None = None
    thickness_mm: WidthMm | None = None
    head_mm: EndMm | None = None
    tail_mm: EndMm | None = None
    mass_g: Annotated[float, Field(strict=True, gt=0, le=200)] | None = None
    whole_length_mm: FreeLengthMm | None = None
    max_tension_n: TensionN | None = None
    u_diameter_percent: Percent | None = None
    u_width_percent: Percent | None = None
    u_thickness_percent: Percent | None = None
    u_density_percent: Percent | None = None
    u_modulus_percent: Percent | None = None
    u_mass_g: Annotated[float, Field(strict=True, ge=0, le=20)] | None = None


class DifferenceTable(Table):
    """``[spoke.N]``: what differs at one place."""

    spoke: Text | None = None
    free_length_mm: FreeLengthMm | None = None
    head: Literal["elbow", "straight"] | None = None
    leave_out: Text | None = None


class WheelTable(Table):
    """The whole file."""

    format: Annotated[int, Field(strict=True, ge=1, le=1)]
    name: Text
    units: Literal["N", "kgf", "daN", "lbf"] = "N"
    calibration: Text | tuple[Text, ...] = ()
    lacing: Lacing
    rim: RimTable = RimTable()
    hub: HubTable = HubTable()
    right: SideTable | None = None
    left: SideTable | None = None
    nipple: NippleTable = NippleTable()
    limits: LimitsTable = LimitsTable()
    state: StateTable = StateTable()
    spokes: dict[str, SpokeTable] = {}
    spoke: dict[str, DifferenceTable] = {}


#: The sizes each shape must have, and those it may have (all of them or none).
SIZES: dict[str, tuple[tuple[str, ...], tuple[str, ...]]] = {
    "round": (("diameter_mm",), ()),
    "butted": (("end_diameter_mm", "middle_diameter_mm", "head_mm", "tail_mm"), ()),
    "blade": (("width_mm", "thickness_mm"), ("end_diameter_mm", "head_mm", "tail_mm")),
    "oval": (("width_mm", "thickness_mm"), ("end_diameter_mm", "head_mm", "tail_mm")),
}
