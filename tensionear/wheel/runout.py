"""Run-out and twist from the text of a CSV file. Pure; imports errors only."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, field

from tensionear.errors import InputError
from tensionear.texts import Rows, shown

MM = 1e-3
#: Columns and the SI value of one of their units.
COLUMNS = {"lateral_mm": MM, "radial_mm": MM, "twist_deg": 1.0}
#: A run-out (mm) or twist (degrees) beyond these is a slip of unit or digit.
MOST = {"lateral_mm": 50.0, "radial_mm": 50.0, "twist_deg": 180.0}


@dataclass(frozen=True, slots=True)
class RunOut:
    """Lateral (+ to the right) and radial (+ outward) place of the rim in m, twist of flat spokes, by spoke number."""

    lateral_m: Mapping[int, float]
    radial_m: Mapping[int, float]
    twist_deg: Mapping[int, float] = field(default_factory=dict)


def run_out(text: str, name: str) -> RunOut:
    """Run-out from a table with ``spoke`` and any of ``lateral_mm``, ``radial_mm``, ``twist_deg``; cells may be empty.

    Parameters
    ----------
    text : str
    name : str
        What to call the file in messages.

    Raises
    ------
    InputError
        If a column is missing, or a row is no number, out of range, or of a spoke seen before.
    """
    rows = Rows(text, name)
    heading = rows.heading
    there = [column for column in COLUMNS if column in heading]
    if "spoke" not in heading or not there:
        raise InputError(
            f"{name}: the columns are {rows.columns}; needed are spoke and at least one of "
            f"{', '.join(COLUMNS)}; add a heading line"
        )
    found: dict[str, dict[int, float]] = {column: {} for column in COLUMNS}
    seen: set[int] = set()
    for row in rows:
        where = f"{name}, line {rows.line_num}"
        spoke = _number(row, "spoke", where)
        if spoke is None or spoke < 1 or spoke != int(spoke):
            raise InputError(
                f"{where}: spoke is {shown(row.get('spoke') or '')!r}; spokes are whole numbers counted from 1"
            )
        if spoke in seen:
            raise InputError(f"{where}: spoke {int(spoke)} is there twice; keep one row of each spoke")
        seen.add(int(spoke))
        for column in there:
            value = _number(row, column, where)
            if value is not None:
                found[column][int(spoke)] = value * COLUMNS[column]
    if not any(found.values()):
        raise InputError(f"{name}: a heading but no readings; needed is one row of each place read")
    return RunOut(found["lateral_mm"], found["radial_mm"], found["twist_deg"])


def _number(row: Mapping[str, str | None], column: str, where: str) -> float | None:
    """A finite number of a row, None where the cell is empty."""
    given = (row.get(column) or "").strip()
    if not given:
        return None
    try:
        number = float(given)
    except ValueError:
        number = math.nan
    if not math.isfinite(number):
        raise InputError(f"{where}: {column} is {shown(given)!r}; needed is a number, with a point for decimals")
    most = MOST.get(column)
    if most is not None and abs(number) > most:
        unit = "mm" if column.endswith("_mm") else "degrees"
        raise InputError(f"{where}: {column} is {number:g}; allowed: -{most:g} to {most:g} {unit}; check the unit")
    return number
