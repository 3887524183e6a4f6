"""On which line of a TOML text a key stands, for error messages. Imports nothing of the package."""

from __future__ import annotations

import re
from collections.abc import Iterator

_PART = r"(?:[A-Za-z0-9_-]+|\"[^\"]*\"|'[^']*')"
_DOTTED = rf"{_PART}(?:\s*\.\s*{_PART})*"
_HEADER = re.compile(rf"^\s*\[\[?\s*({_DOTTED})\s*\]")
_KEY = re.compile(rf"^\s*({_DOTTED})\s*=")


def line_of(text: str, path: tuple[str, ...]) -> int | None:
    """The line (from 1) where the key or table ``path`` stands, else that of the nearest table around it; or None.

    ``("rim", "max_tension_n")`` finds the key under ``[rim]``; a missing key finds the header of its table.
    """
    stands: dict[tuple[str, ...], int] = {}
    for number, where in _keys(text):
        for depth in range(1, len(where) + 1):
            stands.setdefault(where[:depth], number)
    for depth in range(len(path), 0, -1):
        if path[:depth] in stands:
            return stands[path[:depth]]
    return None


def _keys(text: str) -> Iterator[tuple[int, tuple[str, ...]]]:
    """Line number and full path of each table header and key."""
    table: tuple[str, ...] = ()
    for number, line in enumerate(text.splitlines(), start=1):
        if header := _HEADER.match(line):
            table = _parts(header[1])
            yield number, table
        elif key := _KEY.match(line):
            yield number, table + _parts(key[1])


def _parts(dotted: str) -> tuple[str, ...]:
    return tuple(part.strip("\"'") for part in re.findall(_PART, dotted))
