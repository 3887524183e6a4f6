"""A sheet file's text (TOML, format 1) to a Sheet and back, and a CSV's readings put into one. Pure; imports wheel."""

from __future__ import annotations

from dataclasses import replace
from typing import Annotated, Any

from pydantic import Field, ValidationError

from tensionear.catalogue import nearest
from tensionear.errors import InputError, WheelFileError
from tensionear.texts import toml_from

from .assembly import state_of
from .model import Wheel
from .runout import RunOut, run_out
from .schema import StateTable, Table
from .sheet import MM, G, Sheet, sheet_to_dict
from .writer import wheel_toml

PlaceMm = Annotated[float, Field(ge=-50, le=50)]
RangeMm = Annotated[float, Field(ge=0, le=50)]
WidthMm = Annotated[float, Field(gt=0, le=200)]


class SpokeReadings(Table):
    """``[spoke.N]``"""

    lateral_mm: PlaceMm | None = None
    radial_mm: PlaceMm | None = None
    twist_deg: Annotated[float, Field(ge=-180, le=180)] | None = None


class SheetTable(Table):
    """The whole file; lateral + to the right, radial + outward, ranges peak to peak, dish the offset."""

    format: Annotated[int, Field(strict=True, ge=1, le=1)] = 1
    wheel: str | None = None
    lateral_range_mm: RangeMm | None = None
    radial_range_mm: RangeMm | None = None
    dish_mm: PlaceMm | None = None
    mass_g: Annotated[float, Field(gt=0, le=50_000)] | None = None
    rim_width_outer_mm: WidthMm | None = None
    rim_width_inner_mm: WidthMm | None = None
    notes: str = ""
    state: StateTable | None = None
    spoke: dict[str, SpokeReadings] = Field(default_factory=dict)


def parse_sheet(text: str, name: str, wheel: Wheel) -> Sheet:
    """The sheet of a file's text, TOML or CSV (by its heading); InputError, called ``name``, if it is none of this wheel."""
    if text.removeprefix("\ufeff").lstrip().lower().startswith(("spoke,", "spoke ,")):
        return with_table(Sheet(), run_out(text, name), wheel, name)
    try:
        table = SheetTable.model_validate(toml_from(text.removeprefix("\ufeff")))
    except ValidationError as error:
        raise InputError(f"{name}: {_told(error)}") from None
    except ValueError as error:
        raise InputError(f"{name}: no valid TOML: {error}; write it with tensionear sheet") from None
    if table.wheel is not None and table.wheel != wheel.name:
        raise InputError(f"{name} is the sheet of {table.wheel!r}, not of {wheel.name!r}; give the sheet of this wheel")

    def complain(path: tuple[str, ...], problem: str) -> WheelFileError:
        return WheelFileError(f"{name}: {'.'.join(path)}: {problem}")

    lateral: dict[int, float] = {}
    radial: dict[int, float] = {}
    twist: dict[int, float] = {}
    for key, each in table.spoke.items():
        number = int(key) if key.isdecimal() and len(key) <= 9 else 0
        for value, there, scale in (
            (each.lateral_mm, lateral, MM),
            (each.radial_mm, radial, MM),
            (each.twist_deg, twist, 1.0),
        ):
            if value is not None:
                there[number] = value * scale
    sheet = Sheet(
        lateral_range_m=_si(table.lateral_range_mm, MM),
        radial_range_m=_si(table.radial_range_mm, MM),
        dish_m=_si(table.dish_mm, MM),
        mass_kg=_si(table.mass_g, G),
        rim_width_outer_m=_si(table.rim_width_outer_mm, MM),
        rim_width_inner_m=_si(table.rim_width_inner_mm, MM),
        notes=table.notes,
        state=None if table.state is None else state_of(table.state, wheel.spokes, complain),
    )
    return with_table(sheet, RunOut(lateral, radial, twist), wheel, name)


def with_table(sheet: Sheet, read: RunOut, wheel: Wheel, name: str) -> Sheet:
    """The sheet with readings at single spokes put in."""
    for number in sorted({*read.lateral_m, *read.radial_m, *read.twist_deg}):
        if not 1 <= number <= wheel.spokes:
            raise InputError(
                f"{name}: no spoke {number} in this wheel; allowed: 1 to {wheel.spokes}; correct the number"
            )
    for number in read.twist_deg:
        if not wheel.place(number).spoke.is_flat:
            raise InputError(f"{name}: twist_deg at spoke {number}, which is round; give the twist of flat spokes only")
    return replace(
        sheet,
        lateral_m={**sheet.lateral_m, **read.lateral_m},
        radial_m={**sheet.radial_m, **read.radial_m},
        twist_deg={**sheet.twist_deg, **read.twist_deg},
    )


def sheet_toml(sheet: Sheet, wheel: Wheel) -> str:
    """The text of a sheet file."""
    tables: dict[str, Any] = {"format": 1, "wheel": wheel.name, **sheet_to_dict(sheet)}
    return wheel_toml(tables)


def _told(error: ValidationError) -> str:
    """The first problem in words."""
    problem = min(error.errors(include_url=False), key=lambda one: one["type"] != "extra_forbidden")
    path = ".".join(str(part) for part in problem["loc"])
    if problem["type"] == "extra_forbidden":
        inner: dict[str, type[Table]] = {"spoke": SpokeReadings, "state": StateTable}
        table = inner[str(problem["loc"][0])] if len(problem["loc"]) > 1 else SheetTable
        return f"{path}: no such key here; {nearest(str(problem['loc'][-1]), table.model_fields)}"
    given = problem["input"] if isinstance(problem["input"], (int, float, str, bool)) else "a table"
    return f"{path}: {given!r} given; {problem['msg'][:1].lower()}{problem['msg'][1:]}; correct it"


def _si(value: float | None, scale: float) -> float | None:
    return None if value is None else value * scale
