"""Tables for a gauge study: who measured which wheel, and what came out. Pure; imports errors.

The table may be made by hand or be the result of a batch (CSV): columns not needed are passed over.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from tensionear.errors import InputError
from tensionear.texts import Rows, shown

#: What is studied if nothing is said: the first of these that the table has, and more than one of a batch's result.
BATCH_VALUES = ("right_mean_n", "left_mean_n", "right_spread_percent", "left_spread_percent")
#: No tension and no spread is larger; the squares of such would overflow.
_LARGEST = 1e12
#: The columns that name a wheel, the first that is there and not empty.
PARTS = ("serial", "wheel", "part")


@dataclass(frozen=True, slots=True)
class Reading:
    """One line: the wheel, the operator, the station and the time (empty if not told), and the values by column."""

    part: str
    operator: str
    station: str
    recorded: str
    values: Mapping[str, float]


@dataclass(frozen=True, slots=True)
class StudyTable:
    """The lines that hold readings, and the columns of values that are studied."""

    readings: tuple[Reading, ...]
    columns: tuple[str, ...]
    passed_over: int


def parse_study(text: str, name: str, column: str | None = None) -> StudyTable:
    """The readings of a table.

    Parameters
    ----------
    text : str
        CSV with a heading: ``serial`` or ``wheel``, ``operator``, optionally ``station`` and ``recorded``, and values.
    name : str
        What to call it in messages.
    column : str, optional
        The column of values; else ``value``, or those of a batch's result.

    Raises
    ------
    InputError
        If a column is missing, or a value is no number. Lines of a batch without a reading are passed over and counted.
    """
    rows = Rows(text, name)
    heading = rows.heading
    if not any(part in heading for part in PARTS):
        raise InputError(f"{name}: the columns are {rows.columns}; needed is serial or wheel")
    columns = _columns(heading, name, column)
    found, passed = [], 0
    for row in rows:
        cells = {
            key: (value or "").strip() for key, value in row.items() if key is not None and not isinstance(value, list)
        }
        if cells.get("status") == "failed" or cells.get("superseded_by"):
            passed += 1
            continue
        found.append(_reading(cells, columns, f"{name}, line {rows.line_num}"))
    if not found:
        raise InputError(f"{name}: no line with a reading; needed is one a measurement")
    there = tuple(each for each in columns if all(not math.isnan(reading.values[each]) for reading in found))
    if not there:
        raise InputError(
            f"{name}: {', '.join(columns)} not filled in every line; fill it, or choose another with --value"
        )
    return StudyTable(tuple(found), there, passed)


def _columns(heading: Sequence[str], name: str, column: str | None) -> tuple[str, ...]:
    if column is not None:
        if column not in heading:
            raise InputError(f"{name}: no column {column!r}; there are {', '.join(map(shown, heading))}")
        return (column,)
    if "value" in heading:
        return ("value",)
    there = tuple(each for each in BATCH_VALUES if each in heading)
    if not there:
        raise InputError(f"{name}: which column holds the values? Name it value, or give --value COLUMN")
    return there


def _reading(cells: Mapping[str, str], columns: Sequence[str], where: str) -> Reading:
    part = next((cells[each] for each in PARTS if cells.get(each)), "")
    if not part:
        raise InputError(f"{where}: no wheel is named; fill in serial or wheel")
    values = {}
    for each in columns:
        given = cells.get(each, "")
        try:
            values[each] = float(given) if given else math.nan
        except ValueError:
            values[each] = math.inf
        if abs(values[each]) > _LARGEST or (math.isnan(values[each]) and given):
            raise InputError(f"{where}: {each} is {shown(given)!r}; needed is a number, with a point for decimals")
    return Reading(part, cells.get("operator", ""), cells.get("station", ""), cells.get("recorded", ""), values)


def crossed(readings: Sequence[Reading], column: str, name: str) -> NDArray[np.float64]:
    """The values as an array, shape (wheels, operators, readings), in order of first appearance.

    Raises
    ------
    InputError
        If an operator is missing, or not every operator measured every wheel equally often.
    """
    cells: dict[tuple[str, str], list[float]] = {}
    for reading in readings:
        if not reading.operator:
            raise InputError(
                f"{name}: wheel {reading.part} has a line without operator; a study needs one in every line"
            )
        cells.setdefault((reading.part, reading.operator), []).append(reading.values[column])
    parts = list(dict.fromkeys(part for part, _ in cells))
    operators = list(dict.fromkeys(operator for _, operator in cells))
    count = max(len(values) for values in cells.values())
    for part in parts:
        for operator in operators:
            have = len(cells.get((part, operator), ()))
            if have != count:
                raise InputError(
                    f"{name}: operator {operator} measured wheel {part} {have} times, others {count} times; every operator "
                    "measures every wheel equally often: measure again, or take lines out"
                )
    return np.array([[cells[part, operator] for operator in operators] for part in parts])


def checks_of(readings: Sequence[Reading], part: str, name: str) -> dict[str, list[Reading]]:
    """The readings of the check wheel by station, in order of time where every line tells it, else as they stand.

    Raises
    ------
    InputError
        If there is none of this wheel.
    """
    own = [reading for reading in readings if reading.part == part]
    if not own:
        some = ", ".join(list(dict.fromkeys(reading.part for reading in readings))[:6])
        raise InputError(f"{name}: no reading of a wheel {part!r}; there are {some}")
    if all(reading.recorded for reading in own):
        own.sort(key=lambda reading: reading.recorded)
    found: dict[str, list[Reading]] = {}
    for reading in own:
        found.setdefault(reading.station, []).append(reading)
    return dict(sorted(found.items()))
