"""The shipped library of materials, spokes and rim classes from ``calibration/``. Imports data, errors and physics."""

from __future__ import annotations

import difflib
import tomllib
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from functools import cache
from types import MappingProxyType
from typing import Any

from .data import data_file
from .errors import InputError
from .physics.material import Material
from .physics.section import Section, Shape
from .physics.spoke import Spoke

GPA = 1e9
MM = 1e-3
G = 1e-3


@dataclass(frozen=True, slots=True)
class RimClass:
    """Stiffness of a class of rims; one sigma of each figure is the factor ``u_factor`` up or down."""

    name: str
    ea_n: float
    ei_radial_n_m2: float
    ei_lateral_n_m2: float
    gj_n_m2: float
    u_factor: float


def material_names() -> tuple[str, ...]:
    """Names of the shipped materials."""
    return tuple(_materials())


def spoke_ids() -> tuple[str, ...]:
    """Ids of the shipped kinds of spokes, in the order of the file: by material, shape, size."""
    return tuple(_spoke_tables())


def library_material(name: str) -> Material:
    """The shipped material of this name; InputError names the nearest if there is none."""
    found = _materials().get(name)
    if found is None:
        raise InputError(f"no material {name!r} in the library; {nearest(name, material_names())}")
    return found


@cache
def library_spoke(spoke_id: str) -> Spoke:
    """The shipped kind of spoke of this id (``steel-round-2.0``); InputError names the nearest if there is none."""
    table = _spoke_tables().get(spoke_id)
    if table is None:
        raise InputError(f"no spoke {spoke_id!r} in the library; {nearest(spoke_id, spoke_ids())}")
    stated = {key: entry["value"] if isinstance(entry, dict) else entry for key, entry in table.items()}
    for size, key in (("diameter", "diameter_mm"), ("diameter", "middle_diameter_mm")):
        if key in table:
            stated[f"u_{size}_percent"] = table[key]["u_percent"]
    for size in ("width", "thickness"):
        if f"{size}_mm" in table:
            stated[f"u_{size}_percent"] = table[f"{size}_mm"]["u_percent"]
    return build_spoke(spoke_id, stated)


@cache
def rim_classes() -> Mapping[str, RimClass]:
    """The shipped classes of rims by name."""
    keys = ("ea_n", "ei_radial_n_m2", "ei_lateral_n_m2", "gj_n_m2")
    return MappingProxyType(
        {
            name: RimClass(name, **{key: table[key]["value"] for key in keys}, u_factor=table["ea_n"]["u_factor"])
            for name, table in _tables("rims.toml")["classes"].items()
        }
    )


@cache
def default_rim_factor() -> float:
    """One sigma, as a factor, of rim stiffnesses a wheel file states itself."""
    return float(_tables("rims.toml")["defaults"]["own"]["u_factor"])


def build_spoke(name: str, stated: Mapping[str, Any]) -> Spoke:
    """A spoke from the keys of a ``[spokes.NAME]`` table (mm, g, GPa; already checked), defaults from ``calibration/``.

    Parameters
    ----------
    name : str
        What the spoke is called.
    stated : mapping
        ``material``, ``shape`` (``round``, ``butted``, ``blade``, ``oval``) and the sizes that shape needs; the
        optional keys may be missing or None.
    """
    given = {key: value for key, value in stated.items() if value is not None}
    middle, ends = _sections(given)
    defaults = default_uncertainties()
    weighed = "mass_g" in given
    return Spoke(
        name=name,
        material=_own_material(given),
        middle=middle,
        ends=ends,
        head_m=given.get("head_mm", 0.0) * MM,
        tail_m=given.get("tail_mm", 0.0) * MM,
        u_diameter_percent=given.get("u_diameter_percent", defaults["u_diameter_percent"]),
        u_width_percent=given.get("u_width_percent", defaults["u_width_percent"]),
        u_thickness_percent=given.get("u_thickness_percent", defaults["u_thickness_percent"]),
        weighed_kg=given["mass_g"] * G if weighed else None,
        whole_length_m=given["whole_length_mm"] * MM if weighed else None,
        u_weighed_kg=given.get("u_mass_g", defaults["u_mass_g"]) * G if weighed else 0.0,
        max_tension_n=given.get("max_tension_n"),
    )


@cache
def default_uncertainties() -> Mapping[str, float]:
    """Standard uncertainties an own spoke gets where its owner states none, by the key that would state them."""
    table = _tables("spokes.toml")["defaults"]
    return {
        "u_diameter_percent": table["round"]["diameter"]["u_percent"],
        "u_width_percent": table["flat"]["width"]["u_percent"],
        "u_thickness_percent": table["flat"]["thickness"]["u_percent"],
        "u_mass_g": table["weighed"]["mass"]["u_g"],
    }


def nearest(given: str, allowed: Iterable[str]) -> str:
    """The remedy half of an error message: the nearest names, or all of them where none is near."""
    names = list(allowed)
    close = difflib.get_close_matches(given, names, n=3, cutoff=0.5)
    if close:
        return f"nearest: {', '.join(close)}"
    return f"allowed: {', '.join(names)}"


def _sections(given: Mapping[str, Any]) -> tuple[Section, Section]:
    """Middle and end sections of a spoke from its stated sizes."""
    shape = given["shape"]
    if shape == "round":
        whole = _round(given["diameter_mm"])
        return whole, whole
    if shape == "butted":
        return _round(given["middle_diameter_mm"]), _round(given["end_diameter_mm"])
    flat: Shape = "blade" if shape == "blade" else "oval"
    middle = Section(flat, given["width_mm"] * MM, given["thickness_mm"] * MM)
    return middle, _round(given["end_diameter_mm"]) if "end_diameter_mm" in given else middle


def _round(diameter_mm: float) -> Section:
    return Section("round", diameter_mm * MM, diameter_mm * MM)


def _own_material(given: Mapping[str, Any]) -> Material:
    """The library's material with whatever the spoke's own table states instead."""
    base = library_material(given["material"])
    return replace(
        base,
        density_kg_m3=given.get("density_kg_m3", base.density_kg_m3),
        youngs_modulus_pa=given["youngs_modulus_gpa"] * GPA
        if "youngs_modulus_gpa" in given
        else base.youngs_modulus_pa,
        u_density_percent=given.get("u_density_percent", base.u_density_percent),
        u_modulus_percent=given.get("u_modulus_percent", base.u_modulus_percent),
    )


@cache
def _materials() -> Mapping[str, Material]:
    return {
        name: Material(
            name,
            table["density_kg_m3"]["value"],
            table["youngs_modulus_gpa"]["value"] * GPA,
            table["density_kg_m3"]["u_percent"],
            table["youngs_modulus_gpa"]["u_percent"],
        )
        for name, table in _tables("materials.toml").items()
    }


@cache
def _spoke_tables() -> Mapping[str, Any]:
    return _tables("spokes.toml")["spokes"]  # type: ignore[no-any-return]


def _tables(name: str) -> dict[str, Any]:
    """The tables of a calibration file without its ``[sources]``."""
    found = tomllib.loads(data_file("calibration", name).read_text("utf-8"))
    return {key: table for key, table in found.items() if key != "sources"}
