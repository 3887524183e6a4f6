"""Raw readings of a tension gauge to newtons, by the gauge's own table. Pure; imports comparison and errors.

A gauge shows a deflection or a scale mark; its table says what tension that is, for each kind of spoke. Between the rows of
the table it is read off straight; beyond its ends it is not.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from tensionear.errors import InputError
from tensionear.texts import Rows

from .comparison import NEWTONS, Known, number_of


@dataclass(frozen=True, slots=True)
class GaugeTable:
    """Readings (rising) and tensions (N, rising or falling) by kind of spoke; the kind is empty where it does not matter."""

    curves: Mapping[str, tuple[tuple[float, ...], tuple[float, ...]]]

    def tension_n(self, reading: float, kind: str, where: str) -> float:
        """The tension at a reading of this kind of spoke; InputError outside the table."""
        curve = self.curves.get(kind) or self.curves.get("")
        if curve is None:
            raise InputError(
                f"{where}: the gauge table has no rows for {kind}; it has {', '.join(self.curves)}; add them"
            )
        readings, tensions = curve
        if not readings[0] <= reading <= readings[-1]:
            raise InputError(
                f"{where}: reading {reading:g} lies outside the gauge table ({readings[0]:g} to {readings[-1]:g}); "
                "check it, or add rows to the table"
            )
        return float(np.interp(reading, readings, tensions))


def gauge_table(text: str, name: str) -> GaugeTable:
    """A gauge's table: columns ``reading``, one of the units of tension, and optionally ``kind`` (of spoke).

    Raises
    ------
    InputError
        If columns are missing, fewer than two rows stand for a kind, or a reading stands twice.
    """
    rows, unit = _rows(text, name, "reading")
    points: dict[str, dict[float, float]] = {}
    for line, row in rows:
        reading, tension = (number_of(row, column, f"{name}, line {line}") for column in ("reading", unit))
        curve = points.setdefault((row.get("kind") or "").strip(), {})
        if reading in curve:
            raise InputError(f"{name}, line {line}: reading {reading:g} is there twice; keep one row of each reading")
        curve[reading] = tension * NEWTONS[unit]
    curves = {}
    for kind, curve in points.items():
        readings = tuple(sorted(curve))
        tensions = tuple(curve[reading] for reading in readings)
        steps = np.diff(tensions)
        if len(readings) < 2 or not (np.all(steps > 0) or np.all(steps < 0)):
            what = f" of {kind}" if kind else ""
            raise InputError(
                f"{name}: the rows{what} neither rise nor fall throughout, or are fewer than two; correct them"
            )
        curves[kind] = (readings, tensions)
    if not curves:
        raise InputError(f"{name}: a heading but no rows; needed are at least two rows of the gauge's table")
    return GaugeTable(curves)


def gauge_readings(text: str, name: str, table: GaugeTable, kinds: Mapping[int, str]) -> dict[int, Known]:
    """Known tensions from raw readings: columns ``spoke``, ``reading``; ``kinds`` names each spoke's kind."""
    rows, _ = _rows(text, name, "spoke", "reading")
    found: dict[int, Known] = {}
    for line, row in rows:
        where = f"{name}, line {line}"
        spoke, reading = number_of(row, "spoke", where), number_of(row, "reading", where)
        if spoke < 1 or spoke != int(spoke):
            raise InputError(f"{where}: spoke {spoke:g} is no spoke number; they are whole and counted from 1")
        if int(spoke) in found:
            raise InputError(f"{where}: spoke {int(spoke)} is there twice; keep one row of each spoke")
        found[int(spoke)] = Known(table.tension_n(reading, kinds.get(int(spoke), ""), where), None)
    if not found:
        raise InputError(f"{name}: a heading but no rows; needed is one row of each spoke")
    return found


def _rows(text: str, name: str, *needed: str) -> tuple[list[tuple[int, Mapping[str, str | None]]], str]:
    """The rows with their lines, and the unit column (needed in a table of one column of readings only)."""
    rows = Rows(text, name)
    heading = rows.heading
    units = [column for column in heading if column in NEWTONS]
    lacks = [column for column in needed if column not in heading]
    if lacks or ("spoke" not in needed and len(units) != 1):
        wanted = ", ".join(needed) if "spoke" in needed else f"reading and one of {', '.join(NEWTONS)}"
        raise InputError(f"{name}: the columns are {rows.columns}; needed are {wanted}; add a heading line")
    return [(rows.line_num, row) for row in rows], units[0] if units else ""
