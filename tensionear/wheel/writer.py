"""Writes a wheel file's text from its tables. Pure; imports nothing of the package."""

from __future__ import annotations

import json
import re
from collections.abc import Mapping
from typing import Any

#: Said beside a key, for who opens the file next.
_NOTES = {
    "sides": "sides round the rim from spoke 1, repeated",
    "seat_diameter_mm": "across the nipple seats",
    "seat_offset_mm": "spoke bed off the rim's middle plane, + to the right",
    "free_length_mm": "bearing point at the hub to the nipple's hub-side tip",
    "flange_offset_mm": "from the hub's middle plane",
    "first_runs": "from hub to rim, seen from the right",
    "tip_mm": "nipple seat to its hub-side tip",
}
_BARE = re.compile(r"[A-Za-z0-9_-]+")


def wheel_toml(answers: Mapping[str, Any]) -> str:
    """The text of a wheel file.

    Parameters
    ----------
    answers : mapping
        Tables and keys as in the file (``{"format": 1, "name": ..., "lacing": {"spokes": 36, ...}, ...}``): texts,
        numbers, booleans, lists of these and tables; a value of None and an empty table are left out.

    Raises
    ------
    ValueError
        If a value is of another kind.
    """
    lines: list[str] = []
    _write_table(lines, (), answers)
    return "\n".join(lines).strip("\n") + "\n"


def _write_table(lines: list[str], path: tuple[str, ...], table: Mapping[str, Any]) -> None:
    """One table: its header, its values, then the tables in it."""
    values = {key: value for key, value in table.items() if value is not None and not isinstance(value, Mapping)}
    if path and values:
        lines += ["", f"[{'.'.join(_key(part) for part in path)}]"]
    for key, value in values.items():
        note = f"  # {_NOTES[key]}" if key in _NOTES else ""
        lines.append(f"{_key(key)} = {_value(value)}{note}")
    for key, value in table.items():
        if isinstance(value, Mapping):
            _write_table(lines, (*path, key), value)


def _key(key: str) -> str:
    return key if _BARE.fullmatch(key) else _value(key)


def _value(value: Any) -> str:
    """A value as TOML; a JSON string is a TOML basic string, but for the delete character."""
    if isinstance(value, str):
        return json.dumps(value, ensure_ascii=False).replace("\x7f", "\\u007f")
    if isinstance(value, bool):
        return str(value).lower()
    if isinstance(value, (int, float)):
        return repr(value)
    if isinstance(value, list):
        return f"[{', '.join(_value(each) for each in value)}]"
    raise ValueError(f"{type(value).__name__} cannot stand in a wheel file")
