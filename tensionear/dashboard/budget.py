"""The uncertainty budget of a tension as a table and as lines. Imports reading, rounding and its siblings here only."""

from __future__ import annotations

import math
from collections.abc import Collection, Iterator, Sequence

from rich.table import Table
from rich.text import Text

from tensionear.physics.rounding import rounded
from tensionear.reading import BudgetLine, PluckReading, Reading, Units

from .palette import Palette

#: So many plucks are all looked into; of more the least sure one of each side.
FEW = 6


def looked_into(reading: Reading, chosen: Collection[int]) -> frozenset[int]:
    """Numbers of the plucks that get a budget and a second opinion.

    Parameters
    ----------
    reading : Reading
    chosen : collection of int
        Asked for, counted from 1; none: a few are all looked into, of many the one of each side whose pitch is least sure.
    """
    used = {number: pluck for number, pluck in enumerate(reading.plucks, 1) if pluck.used}
    if chosen or len(used) <= FEW:
        return frozenset(number for number in used if not chosen or number in chosen)
    sides: dict[str | None, list[int]] = {}
    for number, pluck in used.items():
        sides.setdefault(pluck.side, []).append(number)
    return frozenset(max(numbers, key=lambda number: _doubt(used[number])) for numbers in sides.values())


def _doubt(pluck: PluckReading) -> float:
    """The relative uncertainty of its pitch."""
    return (pluck.u_frequency_hz or 0.0) / (pluck.frequency_hz or 1.0)


def budget_for(reading: Reading, number: int) -> tuple[BudgetLine, ...]:
    """The budget of the tension a pluck was read for: its own, or that of its spoke; empty where there is none."""
    pluck = reading.plucks[number - 1]
    if pluck.budget or pluck.spoke is None or pluck.tension_n is None:
        return pluck.budget
    return next((spoke.budget for spoke in reading.spokes if spoke.spoke == pluck.spoke), ())


def budget_table(lines: Sequence[BudgetLine], units: Units, palette: Palette) -> Table:
    """One source a row: value, standard uncertainty, sensitivity, contribution; own and common parts with their sums."""
    table = Table(box=None, pad_edge=False, padding=(0, 1, 0, 0), header_style=palette.quiet)
    table.add_column("source of u")
    for name in ("value", "u", "", f"{units} per", f"u, {units}"):
        table.add_column(name, justify="left" if not name else "right")
    for own in (True, False):
        part = [line for line in lines if line.own is own]
        for line in part:
            value, u = _value(line)
            slope = "" if line.sensitivity_n is None else f"{line.sensitivity_n:.3g}"
            cells = (line.source, value, u, line.unit, slope, _figures(line.contribution_n))
            table.add_row(*(Text(cell) for cell in cells))
        name = "its own together" if own else "common together"
        table.add_row(
            Text(name, style=palette.quiet), "", "", "", "", Text(_figures(combined(part)), style=palette.quiet)
        )
    table.add_row(
        Text("all", style=palette.strong), "", "", "", "", Text(_figures(combined(lines)), style=palette.strong)
    )
    return table


def budget_lines(lines: Sequence[BudgetLine], units: Units) -> Iterator[str]:
    """The same as sentences."""
    for line in lines:
        value, u = _value(line)
        unit = f" {line.unit}" if line.unit else ""
        facts = [f"{value}{unit}"] if value else []
        if line.sensitivity_n is not None:
            facts += [f"u {u}{unit}", f"{line.sensitivity_n:.3g} {units} per {line.unit or 'one'}"]
        facts.append(f"contributes {_figures(line.contribution_n)} {units}")
        yield f"{'own' if line.own else 'common'}, {line.source}: {', '.join(facts)}"
    own, common = (combined([line for line in lines if line.own is part]) for part in (True, False))
    yield (
        f"standard uncertainty {_figures(combined(lines))} {units}, of it own {_figures(own)} {units}, "
        f"common {_figures(common)} {units}"
    )


def combined(lines: Sequence[BudgetLine]) -> float:
    """The root of the sum of the squared contributions (JCGM 100:2008, eq. 11a)."""
    return math.hypot(*(line.contribution_n for line in lines))


def _value(line: BudgetLine) -> tuple[str, str]:
    """Value and standard uncertainty, rounded together; empty where there is none."""
    if line.value is None:
        return "", ""
    return rounded(line.value, line.u) if line.u else (f"{line.value:g}", "")


def _figures(newtons: float) -> str:
    """To two significant figures, as an uncertainty is told (JCGM 100:2008, 7.2.6)."""
    return rounded(newtons, newtons)[1] if newtons > 0 else "0"
