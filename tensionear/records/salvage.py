"""What the rows that are left of a damaged log say of its rounds. Imports leaves, the archive's columns and what revives rows.

A round stands in several places of the file: its line, its reading with the wheel file, its plucks, and its name and uid once
more in the indexes. What one place lost is taken from another where that has it.
"""

from __future__ import annotations

import json
import re
import uuid
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

from tensionear.texts import json_from

from .archive import PLUCK_COLUMNS
from .leaves import LOST, Pages, Row, Value
from .revive import pluck_from, reading_from

#: The columns of a line of ``rounds`` in their order, the last one since version 2.
LINE = (
    "id", "uid", "title", "title_key", "started", "finished", "job", "verdict", "plucks", "note", "program", "model",
    "state", "asked", "sheet", "sound", "sound_sha256", "note_key",
)  # fmt: skip
_UID = re.compile(r"[0-9a-f]{32}\Z")
_SOUND = re.compile(r"[0-9a-f]{32}/[A-Za-z0-9][A-Za-z0-9._-]{0,120}\Z")
_MOMENT = re.compile(r"\d{4}-(0[1-9]|1[0-2])-(0[1-9]|[12]\d|3[01])T([01]\d|2[0-3]):[0-5]\d:[0-5]\dZ")
#: What values of a line look like, and which of them are never left out.
_SHAPES = {"uid": _UID, "sound": _SOUND, "started": _MOMENT, "finished": _MOMENT, "plucks": re.compile(r"\d{1,9}")}
_NEEDED = ("uid", "title", "started", "plucks", "note", "program", "model")
_JSON = ("state", "asked", "sheet")
_DAMAGED = "\ufffd"
_UNKNOWN = "unknown"
#: What sqlite_master and sqlite_sequence have beside the log's own tables and indexes.
_OTHERS = (5, 2)


@dataclass(slots=True)
class Salvage:
    """All rows of a file by the number of their round."""

    lines: dict[int, Mapping[str, Value]] = field(default_factory=dict)
    texts: dict[int, tuple[Value, Value]] = field(default_factory=dict)
    plucks: dict[int, dict[int, tuple[Value, ...]]] = field(default_factory=dict)
    uids: dict[int, str] = field(default_factory=dict)
    names: dict[int, tuple[str, str]] = field(default_factory=dict)

    @property
    def numbers(self) -> list[int]:
        """Every round of which anything is left."""
        return sorted({*self.lines, *self.texts, *self.plucks, *self.uids, *self.names})


def salvaged(pages: Pages) -> Salvage:
    """Read every page of a file; rows that are none of a log's mark their page as torn."""
    found = Salvage()
    for number in range(1, pages.count + 1):
        for row in pages.rows(number):
            if not _take(found, row):
                pages.torn.add(number)
    return found


def _take(found: Salvage, row: Row) -> bool:
    """Put a row where it belongs, by its columns; False if it belongs nowhere."""
    key, values = row.key, row.values
    match key, values:
        case int(), (None, _, _, *rest) if len(rest) in (14, 15):
            found.lines[key] = dict(zip(LINE, values, strict=False))
        case int(), (None, wheel_text, reading) if not isinstance(wheel_text, int) and not isinstance(reading, int):
            found.texts[key] = (wheel_text, reading)
        case None, (int(number), int(pluck), *rest) if len(rest) == 4:
            found.plucks.setdefault(number, {})[pluck] = values[1:]
        case None, (str(name), str(started), int(number)):
            found.names[number] = (name, started)
        case None, (str(text), int(number)):
            if _UID.match(text):
                found.uids[number] = text
        case int(), _ if len(values) in _OTHERS:
            pass
        case _:
            return False
    return True


def rows_of(found: Salvage, number: int, when: str) -> dict[str, Any]:
    """A round's rows for a new log; ``lost`` tells what could not be read. Without a uid nothing of the round is left.

    ``when`` stands for a start that is lost.
    """
    lost: list[str] = []
    wheel_text, reading = _texts(found, number, lost)
    plucks = _plucks(found, number, lost)
    name, started = found.names.get(number, (None, None))
    told = {} if reading is None else json_from(reading)
    line = found.lines.get(number)
    if line is None:
        if wheel_text is None and reading is None and not plucks:
            what = f"a round of {name}, begun {started}" if name else "a round of which nothing more is known"
            return {"uid": None, "lost": [*lost, f"all of it is lost: {what}"]}
        lost.append("its line is lost: name, start and what its reading tells are put in, its note and state are gone")
    rows: dict[str, Any] = {
        "uid": found.uids.get(number) or _uid_of(plucks) or uuid.uuid4().hex,
        "title": told.get("title") or name or "a wheel whose name is lost",
        "started": started or when,
        "finished": None if reading is None else started or when,
        "job": told.get("job"),
        "verdict": told.get("verdict"),
        "plucks": sum(bool(each["used"]) for each in told["plucks"]) if told else _counted(plucks),
        "note": "",
        "program": _UNKNOWN,
        "model": _UNKNOWN,
        **dict.fromkeys(_JSON, "{}"),
        "asked": json.dumps({"spokes": len(told["spokes"])} if told.get("spokes") and wheel_text is None else {}),
        "sound": None,
        "sound_sha256": None,
    }
    for column, value in (line or {}).items():
        if column in rows and _good(column, value, lost):
            rows[column] = value
    if line is not None and rows["finished"] is None and rows["plucks"] > _counted(plucks):
        lost.append("some of its last plucks are lost")
    return {**rows, "wheel_text": wheel_text, "reading": reading, "pluck_rows": plucks, "lost": lost}


def _counted(plucks: list[dict[str, Any]]) -> int:
    """How many were not taken back."""
    return sum(not each["taken_back"] for each in plucks)


def _good(column: str, value: Value, lost: list[str]) -> bool:
    """Whether a value of a line can be kept; tells if not, or if it is damaged in places."""
    shape = _SHAPES.get(column)
    misshapen = value is None if column in _NEEDED else False
    if shape is not None and value is not None:
        misshapen = not shape.fullmatch(str(value))
    if column in _JSON:
        misshapen = not _is_json(value)
    if value is LOST or misshapen:
        lost.append(f"its {column} is lost")
        return False
    if isinstance(value, str) and _DAMAGED in value:
        lost.append(f"its {column} is damaged in places")
    return True


def _is_json(value: Value) -> bool:
    try:
        return isinstance(json_from(str(value)), dict)
    except ValueError:
        return False


def _texts(found: Salvage, number: int, lost: list[str]) -> tuple[str | None, str | None]:
    """Wheel file and reading, None where lost."""
    if number not in found.texts:
        lost.append("its reading and wheel file are lost")
        return None, None
    wheel_text, reading = found.texts[number]
    if wheel_text is LOST or (isinstance(wheel_text, str) and _DAMAGED in wheel_text):
        lost.append("its wheel file is lost")
        wheel_text = None
    if reading is not None and not _revives(reading, reading_from):
        lost.append("its reading is lost; if its sound is there, tensionear log reread --keep makes it anew")
        reading = None
    return (wheel_text if isinstance(wheel_text, str) else None), (reading if isinstance(reading, str) else None)


def _plucks(found: Salvage, number: int, lost: list[str]) -> list[dict[str, Any]]:
    """The plucks that can be read, in order; they are numbered without a gap."""
    there = found.plucks.get(number, {})
    kept = []
    for pluck in range(1, max(there, default=0) + 1):
        values = there.get(pluck)
        if values is None or LOST in values or not _revives(values[2], pluck_from) or not _own_sound(values[3]):
            lost.append(f"its pluck {pluck} is lost")
            continue
        kept.append(dict(zip(PLUCK_COLUMNS, values, strict=True)))
    return kept


def _own_sound(name: Value) -> bool:
    return name is None or bool(_SOUND.match(str(name)))


def _revives(text: Value, revive: Any) -> bool:
    """Whether a text of JSON is what it should be."""
    try:
        revive(json_from(str(text)))
    except (ValueError, KeyError, TypeError, AttributeError):
        return False
    return True


def _uid_of(plucks: list[dict[str, Any]]) -> str | None:
    """The uid of a round by the names of its plucks' sounds."""
    for each in plucks:
        folder = str(each["sound"] or "").partition("/")[0]
        if _UID.match(folder):
            return folder
    return None
