"""What makes two wheels of one build: kind of spoke, ends, rim and hub as their files describe them. Pure; imports the wheel."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from tensionear.physics.section import Section
from tensionear.physics.spoke import Spoke
from tensionear.wheel.model import GroupKey, Wheel
from tensionear.wheel.sidefit import groups_of

#: Free lengths of one build agree within this, mm: it is what a rim of the same kind varies by.
_LENGTH_MM = 2.0
_DIGITS = 6


def spoke_table(spoke: Spoke) -> dict[str, Any]:
    """All of a kind of spoke that its sound depends on, but its name, in SI units."""
    material = spoke.material
    table = {
        "material": material.name,
        "density_kg_m3": spoke.density_kg_m3,
        "youngs_modulus_pa": material.youngs_modulus_pa,
        "middle_m": _sizes(spoke.middle),
        "ends_m": _sizes(spoke.ends),
        "head_m": spoke.head_m,
        "tail_m": spoke.tail_m,
        "tolerances": [[each.linear_density, each.flat_stiffness, each.edge_stiffness] for each in spoke.tolerances()],
        "sources": [each.source for each in spoke.tolerances()],
    }
    return {key: _rounded(value) for key, value in table.items()}


def build_table(wheel: Wheel, key: GroupKey) -> dict[str, Any]:
    """What must agree for a calibration of this group of spokes to hold for another wheel's; None as ``unknown``."""
    side = wheel.sides[key[0]]
    place = next(place for place in groups_of(wheel.places)[key])
    table = {
        "side": key[0],
        "head": key[1],
        "free_length_mm": 1e3 * place.free_length_m,
        "u_length_mm": 1e3 * place.u_length_m,
        "crosses": side.crosses,
        "hub_circle_diameter_m": side.hub_circle_diameter_m,
        "flange_offset_m": side.flange_offset_m,
        "seat_diameter_m": wheel.rim.seat_diameter_m,
        "rim": None if wheel.rim.stiffness is None else wheel.rim.stiffness.name,
        "tip_m": wheel.nipple.tip_m,
    }
    told = {name: "unknown" if value is None else _rounded(value) for name, value in table.items()}
    return {**told, "spoke": spoke_table(place.spoke)}


def same_build(one: Mapping[str, Any], other: Mapping[str, Any]) -> bool:
    """Whether two builds agree in all that is stated of them, and in free length to 2 mm."""
    if set(one) != set(other):
        return False
    near = abs(one["free_length_mm"] - other["free_length_mm"]) <= _LENGTH_MM
    return near and all(one[name] == other[name] for name in one if name != "free_length_mm")


def _sizes(section: Section) -> list[Any]:
    return [section.shape, section.width_m, section.thickness_m]


def _rounded(value: Any) -> Any:
    """Floats to six digits, so that a description compares equal after it was written and read."""
    if isinstance(value, float):
        return float(f"{value:.{_DIGITS}g}")
    if isinstance(value, list):
        return [_rounded(each) for each in value]
    return value
