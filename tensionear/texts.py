"""Texts from outside taken apart: tables, JSON, TOML; what a stranger may write in them is told, never met. Pure; imports errors.

The parsers of the standard library raise other errors than their own for text that is nested as deep as no file of ours, for
numbers of thousands of digits and for cells of a hundred thousand signs. Here they are all one.
"""

from __future__ import annotations

import csv
import io
import json
import tomllib
from collections.abc import Iterator
from typing import Any

from .errors import InputError

#: What a number or text of a file may take in a message.
_SHOWN = 60
#: More rows than wheels leave a factory in a year, and more columns than a table of spokes has, are another file.
MOST_ROWS, MOST_COLUMNS = 200_000, 1000
#: Taken apart, a text of JSON or TOML needs up to fifty times its size, or takes a second for each million signs.
MOST_JSON, MOST_TOML = 20_000_000, 3_000_000
_TOO_DEEP = "nested too deeply, or a number of thousands of digits"


class Rows:
    """The rows of a CSV table with a heading, one dictionary a row as `csv.DictReader` gives them.

    Parameters
    ----------
    text : str
        A byte order mark and blanks behind commas and around names of columns count for nothing.
    name : str
        What to call the table in messages.

    Raises
    ------
    InputError
        While it is read, for a cell that is no cell of a table.
    """

    def __init__(self, text: str, name: str) -> None:
        """The heading is read at once."""
        self._reader = csv.DictReader(io.StringIO(text.removeprefix("\ufeff"), newline=""), skipinitialspace=True)
        self._name = name
        try:
            self.heading = [column.strip() for column in self._reader.fieldnames or ()]
        except csv.Error as error:
            raise self._told(error) from None
        self._reader.fieldnames = self.heading
        if len(self.heading) > MOST_COLUMNS:
            raise InputError(
                f"{name}: {len(self.heading)} columns given; at most {MOST_COLUMNS} are read; check the file"
            )

    def __iter__(self) -> Iterator[dict[str | Any, str | Any]]:
        """One row after the other."""
        try:
            for number, row in enumerate(self._reader):
                if number == MOST_ROWS:
                    raise InputError(f"{self._name}: more than {MOST_ROWS} rows; split the table")
                yield row
        except csv.Error as error:
            raise self._told(error) from None

    @property
    def line_num(self) -> int:
        """The line of the file that was read last."""
        return self._reader.line_num

    @property
    def columns(self) -> str:
        """The heading as it is told in messages."""
        return ", ".join(map(shown, self.heading)) or "none"

    def _told(self, error: csv.Error) -> InputError:
        return InputError(f"{self._name}, line {self.line_num}: no row of a table ({error}); save it as CSV again")


def shown(given: str) -> str:
    """A text of a file, short enough for a message."""
    return given if len(given) <= _SHOWN else f"{given[: _SHOWN - 3]}..."


def json_from(text: str | bytes) -> Any:
    """The value of a JSON text; ValueError if it is none or too large, however deep it is nested."""
    if len(text) > MOST_JSON:
        raise ValueError(f"{len(text)} signs given; at most {MOST_JSON} are read")
    try:
        return json.loads(text)
    except RecursionError:
        raise ValueError(_TOO_DEEP) from None


def toml_from(text: str) -> dict[str, Any]:
    """The tables of a TOML text; ValueError if it is none, with its place if that is known."""
    if len(text) > MOST_TOML:
        raise ValueError(f"{len(text)} signs given; at most {MOST_TOML} are read")
    try:
        return tomllib.loads(text)
    except tomllib.TOMLDecodeError:
        raise
    except (ValueError, RecursionError):
        raise ValueError(_TOO_DEEP) from None
