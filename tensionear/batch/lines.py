"""Rows as lines of JSON or CSV, and back. Pure; imports values and the tables' way with formulas.

Every row is one line whatever is in it, so that a file cut off in the middle of a line loses that row alone.
"""

from __future__ import annotations

import csv
import io
import json
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any, get_args, get_type_hints

from tensionear.errors import InputError
from tensionear.records.tables import FORMULA
from tensionear.texts import json_from

from .values import COLUMNS, Row

#: Between the entries of a list in a cell of CSV.
SEPARATOR = ";"


@dataclass(frozen=True, slots=True)
class Lines:
    """One way to write rows as lines: the heading line (empty for none), and rows to lines and back."""

    heading: str
    encode: Callable[[Row], str]
    decode: Callable[[str], Row]


def _kind(name: str) -> tuple[type, bool]:
    """The type of a column's values (of its entries, for a list), and whether it is a list."""
    hint = _HINTS[name]
    if getattr(hint, "__origin__", None) is tuple:
        entry = get_args(hint)[0]
        return (str if entry is str else float), True
    plain = [each for each in (get_args(hint) or (hint,)) if each is not type(None)]
    return next((each for each in (int, float) if each in plain), str), False


_HINTS = get_type_hints(Row)
#: The type of each column, and whether it is a list of it.
KINDS: dict[str, tuple[type, bool]] = {name: _kind(name) for name in COLUMNS}


def row_from(plain: dict[str, Any]) -> Row:
    """A row from plain values by column, lists as lists; InputError if it is none."""
    try:
        values = {name: _revived(name, plain[name]) for name in COLUMNS if name in plain}
        return Row(**values)
    except (TypeError, ValueError, KeyError):
        raise InputError("no row of a batch") from None


def _revived(name: str, value: Any) -> Any:
    kind, many = KINDS[name]
    if many:
        return tuple(None if each is None else kind(each) for each in value or ())
    if value is None:
        return None if None in _allowed(name) else ""
    return kind(value)


def _allowed(name: str) -> tuple[Any, ...]:
    return tuple(None if each is type(None) else each for each in get_args(_HINTS[name]))


def plain_row(row: Row) -> dict[str, Any]:
    """A row as plain values by column; what is unknown is None."""
    return {name: None if (value := getattr(row, name)) == "" else value for name in COLUMNS}


def _to_json(row: Row) -> str:
    return json.dumps(plain_row(row), ensure_ascii=False, allow_nan=False)


def _from_json(line: str) -> Row:
    try:
        found = json_from(line)
    except ValueError:
        raise InputError("no line of JSON") from None
    if not isinstance(found, dict):
        raise InputError("no row of a batch")
    return row_from(found)


def _to_csv(row: Row) -> str:
    return _csv_line([_cell(value) for value in plain_row(row).values()])


def _csv_line(cells: list[str]) -> str:
    file = io.StringIO()
    csv.writer(file, lineterminator="").writerow(cells)
    return file.getvalue()


def _cell(value: Any) -> str:
    """A value as text; numbers, also in lists, cannot be formulas and stay as they are."""
    if isinstance(value, tuple):
        joined = SEPARATOR.join("" if each is None else str(each).replace(SEPARATOR, ",") for each in value)
        return _guarded(joined) if any(isinstance(each, str) for each in value) else joined
    if isinstance(value, str):
        return _guarded(value)
    return "" if value is None else str(value)


def _guarded(text: str) -> str:
    """A text that no spreadsheet takes for a formula: an apostrophe before what begins like one, whatever stands before."""
    return f"'{text}" if _formula(text) else text


def _formula(text: str) -> bool:
    return text.lstrip("' ").startswith(FORMULA)


def _from_csv(line: str) -> Row:
    try:
        cells = next(csv.reader([line]), [])
    except csv.Error:
        raise InputError("no row of a batch") from None
    if len(cells) != len(COLUMNS):
        raise InputError("no row of a batch")
    return row_from({name: _from_cell(name, cell) for name, cell in zip(COLUMNS, cells, strict=True)})


def _from_cell(name: str, cell: str) -> Any:
    kind, many = KINDS[name]
    text = cell[1:] if cell.startswith("'") and _formula(cell) else cell
    if many:
        parts = text.split(SEPARATOR) if text else []
        return [part if kind is str else (float(part) if part else None) for part in parts]
    if kind is str:
        return text or None
    return kind(text) if text else None


JSON_LINES = Lines("", _to_json, _from_json)
CSV_LINES = Lines(_csv_line(list(COLUMNS)), _to_csv, _from_csv)
