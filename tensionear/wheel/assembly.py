"""Turns the checked keys of a wheel file into a Wheel, with the checks across keys. Pure; imports wheel and library.

``complain(path, problem)`` makes the error for the key at ``path``; it knows the file's name and lines.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from types import MappingProxyType

from tensionear.catalogue import (
    RimClass,
    build_spoke,
    default_rim_factor,
    library_spoke,
    nearest,
    rim_classes,
    spoke_ids,
)
from tensionear.errors import WheelFileError
from tensionear.physics.spoke import Spoke
from tensionear.reading import Finding
from tensionear.wheel.geometry import (
    CrossingPlace,
    Flange,
    RimSeat,
    Runs,
    Side,
    SpokeLine,
    can_be_laced,
    crossings,
    side_numbers,
    spoke_lines,
)
from tensionear.wheel.model import Nipple, Place, Rim, Wheel, WheelLimits, WheelSide, WheelState
from tensionear.wheel.schema import SIZES, DifferenceTable, RimTable, SideTable, SpokeTable, StateTable, WheelTable

Complain = Callable[[tuple[str, ...], str], WheelFileError]

MM = 1e-3
SIDES: tuple[Side, Side] = ("right", "left")
#: Stated and computed free length further apart than this are worth a warning.
LENGTH_AGREES_M = 3.0 * MM
#: Standard uncertainty of a free length, where the file states none: measured, and computed from the parts' sizes.
U_STATED_MM, U_COMPUTED_MM = 0.5, 1.0  # common practice, no source
#: Grades of evenness, percent of the side's mean; common practice, no source.
GRADES = {"fine": 5.0, "good": 10.0, "wide": 20.0}


def assemble(table: WheelTable, complain: Complain) -> Wheel:
    """The wheel of a checked file; WheelFileError where its keys contradict each other."""
    count, pattern = table.lacing.spokes, table.lacing.sides
    if count % len(pattern):
        raise complain(
            ("lacing", "sides"),
            f"{pattern!r} ({len(pattern)} spokes) given; the pattern must divide {count} spokes; "
            "change sides or spokes",
        )
    own = {name: _own_spoke(name, spoke, complain) for name, spoke in table.spokes.items()}
    differences = _differences(table, complain)
    rim = _rim(table.rim, complain)
    nipple = Nipple(table.nipple.pitch_mm * MM, table.nipple.tip_mm * MM)
    sides: dict[Side, WheelSide] = {}
    places: list[Place] = []
    warnings: list[Finding] = []
    for side in SIDES:
        stated: SideTable | None = getattr(table, side)
        numbers = side_numbers(count, pattern, side)
        if stated is None and numbers:
            raise complain(
                (side,),
                f"missing; [lacing] sides = {pattern!r} puts {len(numbers)} spokes there; "
                f"add [{side}] with spoke and free_length_mm",
            )
        if stated is None:
            continue
        if not numbers:
            raise complain(
                (side,), f"given, but [lacing] sides = {pattern!r} has no spoke there; change sides or leave it out"
            )
        job = _SideJob(side, numbers, count, stated, rim, nipple, own, differences, complain)
        sides[side] = job.wheel_side()
        places += job.places()
        warnings += job.warnings()
    places.sort(key=lambda place: place.number)
    return Wheel(
        name=table.name,
        places=tuple(places),
        sides=MappingProxyType(sides),
        rim=rim,
        nipple=nipple,
        limits=_limits(table, places, complain),
        state=state_of(table.state, table.lacing.spokes, complain),
        warnings=tuple(warnings),
        units=table.units,
        calibration=(table.calibration,) if isinstance(table.calibration, str) else table.calibration,
    )


@dataclass(frozen=True, slots=True)
class _SideJob:
    """One side in the making."""

    side: Side
    numbers: tuple[int, ...]
    count: int
    stated: SideTable
    rim: Rim
    nipple: Nipple
    own: Mapping[str, Spoke]
    differences: Mapping[int, DifferenceTable]
    complain: Complain

    def wheel_side(self) -> WheelSide:
        """What holds for the side as a whole."""
        stated = self.stated
        crossing = stated.crossing
        if stated.crosses == 0:
            if crossing not in (None, "apart"):
                raise self.complain(
                    (self.side, "crossing"),
                    f"{crossing!r} given with crosses = 0; radial spokes meet none; leave it out",
                )
            crossing = "apart"
        return WheelSide(
            side=self.side,
            numbers=self.numbers,
            spoke=self._kind(stated.spoke, (self.side, "spoke")),
            target_n=stated.target_n,
            crosses=stated.crosses,
            first_runs=self._first_runs(),
            hub_circle_diameter_m=_mm(stated.hub_circle_diameter_mm),
            flange_offset_m=_mm(stated.flange_offset_mm),
            crossing=crossing,
        )

    def places(self) -> list[Place]:
        """Its spokes, in order."""
        whole = self.wheel_side()
        lines = self._lines()
        u_mm = self.stated.u_length_mm
        if u_mm is None:
            u_mm = U_COMPUTED_MM if self.stated.free_length_mm is None else U_STATED_MM
        found = []
        for rank, number in enumerate(self.numbers, start=1):
            differs = self.differences.get(number, DifferenceTable())
            spoke = whole.spoke if differs.spoke is None else self._kind(differs.spoke, ("spoke", str(number), "spoke"))
            place = Place(
                number=number,
                label=f"{self.side[0].upper()}{rank}",
                side=self.side,
                spoke=spoke,
                free_length_m=self._free_length_m(number, differs, lines),
                u_length_m=u_mm * MM,
                head=differs.head or self.stated.head,
                crossing=whole.crossing,
                leave_out=differs.leave_out,
                line=lines.get(number),
                meets=self._meets(number, lines),
            )
            self._check_length(place, differs)
            found.append(place)
        return found

    def warnings(self) -> list[Finding]:
        """``length-disagrees`` where the stated free length is not the geometry's."""
        lines = self._lines()
        if self.stated.free_length_mm is None or not lines:
            return []
        stated_m = self.stated.free_length_mm * MM
        computed_m = sum(line.length_m for line in lines.values()) / len(lines) - self.nipple.tip_m
        if abs(stated_m - computed_m) <= LENGTH_AGREES_M:
            return []
        return [
            Finding(
                "length-disagrees",
                f"{self.side}: free_length_mm is stated as {stated_m / MM:.1f}, rim, hub and lacing give "
                f"{computed_m / MM:.1f}; the stated one is used; measure again",
                self.numbers,
            )
        ]

    def _kind(self, name: str, path: tuple[str, ...]) -> Spoke:
        if name in self.own:
            return self.own[name]
        if name in spoke_ids():
            return library_spoke(name)
        remedy = nearest(name, (*self.own, *spoke_ids()))
        raise self.complain(path, f"no spoke {name!r} in the library or under [spokes.NAME]; {remedy}")

    def _first_runs(self) -> Runs | None:
        stated = self.stated.first_runs
        if stated is None:
            return None
        return "clockwise" if stated == "clockwise" else "counterclockwise"

    def _missing_geometry(self) -> tuple[str, ...]:
        """Keys without which the spokes cannot be placed in space."""
        needed = ("hub_circle_diameter_mm", "flange_offset_mm", "crosses")
        missing = [f"[{self.side}] {key}" for key in needed if getattr(self.stated, key) is None]
        return (*missing, *(["[rim] seat_diameter_mm"] if self.rim.seat_diameter_m is None else []))

    def _lines(self) -> dict[int, SpokeLine]:
        """The spokes in space by number; empty where the file lacks the geometry.

        Where ``first_runs`` is not stated, lengths and angles are those of ``clockwise``, and no sense is claimed.
        """
        crosses = self.stated.crosses
        if crosses and len(self.numbers) % 2:
            raise self.complain(
                (self.side, "crosses"),
                f"{crosses} given for {len(self.numbers)} spokes on the side; crossed lacing needs an even number; "
                "write crosses = 0 or check [lacing]",
            )
        if crosses and not can_be_laced(len(self.numbers), crosses, 0.0, 1.0):
            raise self._cannot_be_laced(crosses)
        seat_diameter_m, circle_mm = self.rim.seat_diameter_m, self.stated.hub_circle_diameter_mm
        offset_mm = self.stated.flange_offset_mm
        if seat_diameter_m is None or circle_mm is None or offset_mm is None or crosses is None:
            return {}
        if not can_be_laced(len(self.numbers), crosses, circle_mm * MM / 2, seat_diameter_m / 2):
            raise self._cannot_be_laced(crosses)
        flange = Flange(circle_mm * MM / 2, offset_mm * MM, crosses, self._first_runs() or "clockwise")
        seat = RimSeat(seat_diameter_m / 2, self.rim.seat_offset_m)
        lines = spoke_lines(self.count, self.numbers, self.side, seat, flange)
        if self._first_runs() is None:
            lines = tuple(replace(line, runs=None) for line in lines)
        return {line.number: line for line in lines}

    def _cannot_be_laced(self, crosses: int) -> WheelFileError:
        return self.complain(
            (self.side, "crosses"),
            f"{crosses} given; {len(self.numbers)} spokes on the side cannot be laced so: they would run through the "
            "flange; write fewer crosses or check hub and rim",
        )

    def _meets(self, number: int, lines: Mapping[int, SpokeLine]) -> CrossingPlace | None:
        if number not in lines or not self.stated.crosses:
            return None
        outermost = next(reversed(crossings(lines[number], tuple(lines.values()))), None)
        return outermost if outermost is None or self._first_runs() else replace(outermost, partner=None)

    def _free_length_m(self, number: int, differs: DifferenceTable, lines: Mapping[int, SpokeLine]) -> float:
        """The place's own free length, else the side's stated one, else the geometry's."""
        if differs.free_length_mm is not None:
            return differs.free_length_mm * MM
        if self.stated.free_length_mm is not None:
            return self.stated.free_length_mm * MM
        if number in lines:
            return lines[number].length_m - self.nipple.tip_m
        raise self.complain(
            (self.side, "free_length_mm"),
            f"missing; state it (bearing point at the hub to the nipple's hub-side tip), or add "
            f"{', '.join(self._missing_geometry())} to have it computed",
        )

    def _check_length(self, place: Place, differs: DifferenceTable) -> None:
        """Thick ends must leave a middle, and a weighed spoke must be as long as its free length."""
        here = differs.spoke is not None or differs.free_length_mm is not None
        path = ("spoke", str(place.number)) if here else (self.side, "spoke")
        spoke, free_mm = place.spoke, place.free_length_m / MM
        ends_mm = (spoke.head_m + spoke.tail_m) / MM
        if free_mm <= 0 or ends_mm >= free_mm:
            raise self.complain(
                path,
                f"the thick ends of {spoke.name} ({ends_mm:g} mm) do not fit the free length of {free_mm:.1f} mm "
                f"at spoke {place.number}; correct head_mm, tail_mm or the length",
            )
        if spoke.whole_length_m is not None and spoke.whole_length_m < place.free_length_m:
            raise self.complain(
                path,
                f"{spoke.name} is {spoke.whole_length_m / MM:.1f} mm long as a whole, its free length at spoke "
                f"{place.number} {free_mm:.1f} mm; correct whole_length_mm or the length",
            )


def _own_spoke(name: str, stated: SpokeTable, complain: Complain) -> Spoke:
    """An own kind of spoke, once the keys are those of its shape."""
    path = ("spokes", name)
    needed, optional = SIZES[stated.shape]
    given = stated.model_dump(exclude_none=True)
    sizes = {key for keys in SIZES.values() for group in keys for key in group}
    for key in given:
        if key in sizes and key not in needed + optional:
            raise complain(
                (*path, key), f"does not belong to shape = {stated.shape!r}; allowed: {', '.join(needed + optional)}"
            )
    for key in needed:
        if key not in given:
            raise complain((*path, key), f"missing; shape = {stated.shape!r} needs {', '.join(needed)}")
    missing = [key for key in optional if key not in given]
    if missing and len(missing) < len(optional):
        raise complain((*path, missing[0]), f"missing; round ends need all of {', '.join(optional)}")
    if "width_mm" in given and given["width_mm"] < given["thickness_mm"]:
        raise complain(
            (*path, "width_mm"),
            f"{given['width_mm']:g} given, less than thickness_mm = {given['thickness_mm']:g}; exchange them",
        )
    for key, other in (("mass_g", "whole_length_mm"), ("whole_length_mm", "mass_g"), ("u_mass_g", "mass_g")):
        if key in given and other not in given:
            raise complain((*path, other), f"missing; {key} means nothing without it: add it or leave {key} out")
    ends_mm = given.get("head_mm", 0.0) + given.get("tail_mm", 0.0)
    if "whole_length_mm" in given and ends_mm >= given["whole_length_mm"]:
        raise complain(
            (*path, "whole_length_mm"),
            f"{given['whole_length_mm']:g} given, not more than head_mm + tail_mm = {ends_mm:g}",
        )
    return build_spoke(name, given)


def _differences(table: WheelTable, complain: Complain) -> dict[int, DifferenceTable]:
    """``[spoke.N]`` by number."""
    allowed = {str(number): number for number in range(1, table.lacing.spokes + 1)}
    for key in table.spoke:
        if key not in allowed:
            raise complain(
                ("spoke", key),
                f"no spoke {key!r} in this wheel; allowed: 1 to {table.lacing.spokes}, clockwise from the valve hole, "
                "seen from the right (own kinds of spokes go under [spokes.NAME])",
            )
    return {allowed[key]: differs for key, differs in table.spoke.items()}


def _rim(stated: RimTable, complain: Complain) -> Rim:
    keys = ("ea_n", "ei_radial_n_m2", "ei_lateral_n_m2", "gj_n_m2")
    own = {key: getattr(stated, key) for key in keys if getattr(stated, key) is not None}
    stiffness: RimClass | None = None
    if stated.stiffness is not None:
        if own:
            raise complain(("rim", "stiffness"), f"given beside {', '.join(own)}; keep the class or the own figures")
        stiffness = rim_classes().get(stated.stiffness)
        if stiffness is None:
            raise complain(
                ("rim", "stiffness"), f"no rim class {stated.stiffness!r}; {nearest(stated.stiffness, rim_classes())}"
            )
    elif own:
        missing = [key for key in keys if key not in own]
        if missing:
            raise complain(("rim", missing[0]), f"missing; own stiffness needs all of {', '.join(keys)}")
        stiffness = RimClass("own", **own, u_factor=default_rim_factor())
    known = "seat_offset_mm" in stated.model_fields_set
    return Rim(_mm(stated.seat_diameter_mm), stated.seat_offset_mm * MM, stiffness, known)


def state_of(stated: StateTable, spokes: int, complain: Complain) -> WheelState:
    """How the wheel stood; what contradicts itself is refused."""
    if stated.pressure_kpa is not None and stated.tyre != "inflated":
        raise complain(
            ("state", "pressure_kpa"),
            f"given with tyre = {stated.tyre!r}; write tyre = 'inflated' or leave it out",
        )
    for number in stated.broken:
        if number > spokes:
            raise complain(
                ("state", "broken"),
                f"{number} given; the wheel has spokes 1 to {spokes}; correct the number",
            )
    pressure_pa = None if stated.pressure_kpa is None else stated.pressure_kpa * 1e3
    return WheelState(
        stated.tyre, pressure_pa, stated.held, stated.age, stated.temperature_c, stated.crash, stated.broken
    )


def _evenness(table: WheelTable, complain: Complain) -> float:
    """The stated evenness, by number or by grade."""
    stated = table.limits
    if stated.grade is not None and stated.evenness_percent is not None:
        raise complain(("limits", "grade"), "given beside evenness_percent; keep one of the two")
    if stated.evenness_percent is not None:
        return stated.evenness_percent
    return GRADES[stated.grade or "fine"]


def _limits(table: WheelTable, places: list[Place], complain: Complain) -> WheelLimits:
    makers = [table.rim.max_tension_n, table.hub.max_tension_n, *(place.spoke.max_tension_n for place in places)]
    return WheelLimits(
        evenness_percent=_evenness(table, complain),
        lateral_m=table.limits.lateral_mm * MM,
        radial_m=table.limits.radial_mm * MM,
        dish_m=table.limits.dish_mm * MM,
        floor_n=table.limits.floor_n,
        max_tension_n=min((limit for limit in makers if limit is not None), default=None),
        level_percent=table.limits.level_percent,
        twist_deg=table.limits.twist_deg,
        consumer_risk=table.limits.consumer_risk_percent / 100,
        producer_risk=table.limits.producer_risk_percent / 100,
        guard_band_u=table.limits.guard_band_u,
    )


def _mm(value_mm: float | None) -> float | None:
    return None if value_mm is None else value_mm * MM
