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

    def __iter__(self) -> Iterator[dict[str | Any, str | Any]]:
        """One row after the other."""
        try:
            yield from self._reader
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
    """The value of a JSON text; ValueError if it is none, however deep it is nested."""
    try:
        return json.loads(text)
    except RecursionError:
        raise ValueError(_TOO_DEEP) from None


def toml_from(text: str) -> dict[str, Any]:
    """The tables of a TOML text; ValueError if it is none, with its place if that is known."""
    try:
        return tomllib.loads(text)
    except tomllib.TOMLDecodeError:
        raise
    except (ValueError, RecursionError):
        raise ValueError(_TOO_DEEP) from None
