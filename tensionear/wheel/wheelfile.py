"""Reads a wheel file's text: TOML, keys, types, bounds; each slip is told in one line. Pure; imports wheel, library.

The shipped library counts as constants here; files are opened in ``tensionear.loading`` only.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import Any

from pydantic import BaseModel, ValidationError
from pydantic_core import ErrorDetails

from tensionear.catalogue import nearest
from tensionear.errors import WheelFileError
from tensionear.texts import toml_from
from tensionear.wheel import schema
from tensionear.wheel.assembly import assemble
from tensionear.wheel.lines import line_of
from tensionear.wheel.model import Wheel

#: What a wrong type is called in a message, and what it should have been.
_EXPECTED = {
    "float_type": "a number",
    "int_type": "a whole number",
    "string_type": "a text in quotes",
    "dict_type": "a table",
    "model_type": "a table",
    "finite_number": "a finite number",
    "int_from_float": "a whole number",
}


def parse_wheel(text: str, name: str) -> Wheel:
    """The wheel a file describes.

    Parameters
    ----------
    text : str
        The file's contents; a leading byte order mark is ignored.
    name : str
        What to call the file in messages.

    Raises
    ------
    WheelFileError
        One line: file, line, key, what was given, what is allowed, what to do.
    """
    source = Source(name, text.removeprefix("\ufeff"))
    try:
        raw = toml_from(source.text)
    except ValueError as error:
        raise _no_toml(source, error) from None
    try:
        table = schema.WheelTable.model_validate(raw)
    except ValidationError as error:
        raise _first_problem(source, error) from None
    return assemble(table, source.error)


@dataclass(frozen=True, slots=True)
class Source:
    """The text under examination and what to call it."""

    name: str
    text: str

    def error(self, path: tuple[str, ...], problem: str) -> WheelFileError:
        """The error for the key or table at ``path``."""
        line = line_of(self.text, path)
        where = self.name if line is None else f"{self.name}, line {line}"
        return WheelFileError(_one_line(f"{where}: {_dotted(path)}: {problem}"))


def _no_toml(source: Source, error: ValueError) -> WheelFileError:
    """A syntax error; tomllib gives its place in the message only (up to Python 3.13)."""
    told = str(error)
    place = re.search(r" \(at line (\d+), column (\d+)\)$", told)
    where, what = source.name, told
    if place:
        where, what = f"{source.name}, line {place[1]}", told[: place.start()]
    remedy = "write KEY = VALUE lines under [TABLE] headers, texts in quotes"
    return WheelFileError(_one_line(f"{where}: no valid TOML: {what}; {remedy}"))


def problem_with(path: tuple[str, ...], value: Any) -> str | None:
    """What is wrong with one key's value on its own (``("right", "crosses")``, 5), in words; None if nothing is."""
    try:
        _table(path[:-1]).model_validate({path[-1]: value})
    except ValidationError as error:
        own = [problem for problem in error.errors(include_url=False) if problem["loc"] == path[-1:]]
        return _told(own[0], path) if own else None
    return None


def is_number(path: tuple[str, ...]) -> bool:
    """Whether the key at ``path`` takes a number, not a text."""
    return _kind_of(path)["type"] in ("number", "integer")


def _first_problem(source: Source, error: ValidationError) -> WheelFileError:
    """The most telling problem: a misspelt key before the missing one it stands for, else the first."""
    problems = error.errors(include_url=False)
    problem = min(problems, key=lambda one: one["type"] != "extra_forbidden")
    path = tuple(str(part) for part in problem["loc"] if part != "[key]")
    return source.error(path, _told(problem, path))


def _told(problem: ErrorDetails, path: tuple[str, ...]) -> str:
    """What was given, what is allowed, what to do."""
    kind, given, ctx = problem["type"], problem["input"], problem.get("ctx", {})
    if kind == "extra_forbidden":
        return f"no such key here; {nearest(path[-1], _table(path[:-1]).model_fields)}"
    if kind == "missing":
        return "missing; add it"
    if path == ("format",):
        return f"{given!r} given; this program reads format = 1"
    if kind == "literal_error":
        return f"{_shown(given)} given; allowed: {ctx['expected']}"
    if kind == "string_pattern_mismatch":
        return (
            f"{_shown(given)} given; allowed: R and L, as they follow each other from spoke 1 ('RL', 'LR', 'RLR', 'R')"
        )
    if kind == "string_too_short":
        return "an empty text given; write one or leave the key out"
    if kind == "model_type" and path[0] in ("spokes", "spoke"):
        header = "[spokes.NAME]" if path[0] == "spokes" else "[spoke.NUMBER]"
        return f"{_shown(given)} given; put the keys under a header of their own, {header}"
    if kind in _EXPECTED:
        return f"{_shown(given)} given; write {_EXPECTED[kind]}"
    return f"{_shown(given)} given; allowed: {_range(path)}; check the digits and the unit in the key's name"


def _range(path: tuple[str, ...]) -> str:
    """The bounds of the number at ``path``, from the schema."""
    number = _kind_of(path)
    words = {"minimum": "from", "exclusiveMinimum": "above", "maximum": "to", "exclusiveMaximum": "below"}
    return " ".join(f"{word} {number[key]:g}" for key, word in words.items() if key in number)


def _kind_of(path: tuple[str, ...]) -> dict[str, Any]:
    """The JSON schema of the key at ``path`` when it is given."""
    field = _table(path[:-1]).model_json_schema()["properties"][path[-1]]
    return next(one for one in field.get("anyOf", [field]) if one["type"] != "null")


def _table(path: tuple[str, ...]) -> type[BaseModel]:
    """The schema of the table at ``path``."""
    tables: dict[str, type[BaseModel]] = {
        "lacing": schema.Lacing,
        "rim": schema.RimTable,
        "hub": schema.HubTable,
        "right": schema.SideTable,
        "left": schema.SideTable,
        "nipple": schema.NippleTable,
        "limits": schema.LimitsTable,
        "state": schema.StateTable,
        "spokes": schema.SpokeTable,
        "spoke": schema.DifferenceTable,
    }
    return tables[path[0]] if path else schema.WheelTable


def _shown(given: Any) -> str:
    """A given value, short enough for one line; a text in quotes, a table by its kind."""
    if isinstance(given, dict):
        return "a table"
    if isinstance(given, list):
        return "a list"
    if isinstance(given, bool):
        return str(given).lower()
    told = repr(given)
    return told if len(told) <= 60 else f"{told[:57]}..."


def _one_line(message: str) -> str:
    return " ".join(message.splitlines())


def _dotted(path: tuple[str, ...]) -> str:
    """``[right] crosses``, ``[spoke.17] spoke`` or ``format``, as it stands in the file."""
    if len(path) == 1:
        return path[0] if path[0] in ("format", "name") else f"[{path[0]}]"
    if path[0] in ("spokes", "spoke"):
        table = ".".join(path[:2])
        return f"[{table}] {path[2]}" if len(path) > 2 else f"[{table}]"
    return f"[{path[0]}] {'.'.join(path[1:])}"
