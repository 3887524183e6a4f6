"""The table that tells of each file its wheel and how it was plucked. Pure; imports values and errors."""

from __future__ import annotations

import difflib
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import cast, get_args

from tensionear.errors import InputError
from tensionear.options import Direction, Order
from tensionear.texts import Rows, shown

from .values import AGES, NO_TAGS, TYRES, Tags

#: No spoke and no attempt has a longer number.
_DIGITS = 9
COLUMNS = (
    "file", "wheel", "first", "order", "direction", "state", "serial", "station", "operator", "attempt", "recorded",
)  # fmt: skip


@dataclass(frozen=True, slots=True)
class Entry:
    """One line of the table; ``wheel`` is empty where the wheel is to be found otherwise."""

    file: str
    wheel: str = ""
    first: int = 1
    order: Order = "rim"
    direction: Direction = "cw"
    tags: Tags = NO_TAGS


def parse_mapping(text: str, name: str) -> list[Entry]:
    """The entries of a table.

    Parameters
    ----------
    text : str
        CSV with a heading: ``file``, and any of ``wheel``, ``first``, ``order``, ``direction``, ``state``, ``serial``,
        ``station``, ``operator``, ``attempt``, ``recorded``. Empty cells say nothing.
    name : str
        What to call the table in messages.

    Raises
    ------
    InputError
        If a column is unknown or doubled, or a cell cannot be what its column holds, or a file is there twice.
    """
    rows = Rows(text, name)
    heading = rows.heading
    if "file" not in heading:
        raise InputError(f"{name}: the columns are {rows.columns}; needed is file; add a heading line, commas between")
    for column in heading:
        if column not in COLUMNS or heading.count(column) > 1:
            near = difflib.get_close_matches(column, COLUMNS, 1)
            hint = f"; did you mean {near[0]}?" if near and column not in COLUMNS else ""
            raise InputError(
                f"{name}: column {shown(column)!r} is unknown or doubled{hint} (known: {', '.join(COLUMNS)})"
            )
    found: dict[str, Entry] = {}
    for row in rows:
        where = f"{name}, line {rows.line_num}"
        if None in row:
            raise InputError(f"{where}: more cells than the heading has columns; put commas in a name into quotes")
        entry = _entry({key: (value or "").strip() for key, value in row.items()}, where)
        if entry.file in found:
            raise InputError(f"{where}: {entry.file} is there twice; keep one line of each file")
        found[entry.file] = entry
    return list(found.values())


def _entry(row: Mapping[str, str], where: str) -> Entry:
    if not row["file"]:
        raise InputError(f"{where}: no file; name one or take the line out")
    tags = Tags(
        serial=row.get("serial", ""),
        station=row.get("station", ""),
        operator=row.get("operator", ""),
        attempt=_number(row, "attempt", where),
        state=_state(row.get("state", ""), where),
        recorded=_recorded(row.get("recorded", ""), where),
    )
    first = _number(row, "first", where)
    order = _word(row, "order", get_args(Order), where) or "rim"
    direction = _word(row, "direction", get_args(Direction), where) or "cw"
    return Entry(
        row["file"], row.get("wheel", ""), 1 if first is None else first, cast(Order, order),
        cast(Direction, direction), tags,
    )  # fmt: skip


def _number(row: Mapping[str, str], column: str, where: str) -> int | None:
    given = row.get(column, "")
    if not given:
        return None
    if not given.isdecimal() or len(given) > _DIGITS or int(given) < 1:
        raise InputError(f"{where}: {column} is {shown(given)!r}; needed is a whole number from 1 on, or an empty cell")
    return int(given)


def _word(row: Mapping[str, str], column: str, allowed: tuple[str, ...], where: str) -> str:
    given = row.get(column, "")
    if given and given not in allowed:
        raise InputError(f"{where}: {column} is {shown(given)!r}; allowed are {', '.join(allowed)}, or an empty cell")
    return given


def _state(given: str, where: str) -> str:
    """Any word; but one that is nearly a state the reading knows is taken for a slip."""
    known = (*TYRES, *AGES)
    near = difflib.get_close_matches(given.lower(), known, 1, 0.8)
    if near and given not in known:
        raise InputError(f"{where}: state is {shown(given)!r}; did you mean {near[0]}? Known are {', '.join(known)}")
    return given


def _recorded(given: str, where: str) -> str:
    if given:
        try:
            datetime.fromisoformat(given)
        except ValueError:
            raise InputError(
                f"{where}: recorded is {shown(given)!r}; needed is a day or time as in 2026-11-25 or 2026-11-25T14:30"
            ) from None
    return given
