"""What a plan is made from: a table, a reading as JSON, a round of the log, a sheet. Imports errors; the rest when it runs."""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

from tensionear.errors import InputError
from tensionear.texts import json_from

from .read import table_text

if TYPE_CHECKING:
    from tensionear.reading import Reading
    from tensionear.wheel.model import Wheel
    from tensionear.wheel.sheet import Sheet
    from tensionear.wheel.stand import Readings

MM = 1e-3
_ROUND = re.compile(r"\d{1,15}\Z")


@dataclass(frozen=True, slots=True)
class Asked:
    """What the options name: files, or a round's number in ``tensions``, and the log it is in (None: the usual one)."""

    tensions: str | None
    runout: str | None
    dish_mm: float | None
    log: str | None


@dataclass(frozen=True, slots=True)
class Given:
    """What a plan is made from: what was read, the spokes whose nipples are left alone for what was said of them, and notes."""

    readings: Readings
    left: frozenset[int]
    notes: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class _Tensions:
    """Tensions and their own standard uncertainties by spoke, N; the sheet kept with them; the reading they are of, if any."""

    tension_n: Mapping[int, float]
    u_n: Mapping[int, float]
    source: str
    sheet: Sheet | None = None
    reading: Reading | None = None


def given_of(asked: Asked, wheel: Wheel) -> Given:
    """All that was read. Spokes of which a reading says more than a tension are not turned on it.

    Raises
    ------
    InputError, LogError
        For what cannot be used, such as a reading that says itself that nothing is to be turned.
    """
    from tensionear.wheel.stand import Readings

    found = _tensions(asked, wheel)
    left = frozenset[int]() if found.reading is None else _left_alone(found.reading, found.source)
    notes = [_why_left(wheel, left)] if left else []
    sheet = found.sheet
    dish_m = None if asked.dish_mm is None else asked.dish_mm * MM
    if asked.runout is not None:
        from tensionear.wheel.sheetfile import parse_sheet

        sheet = parse_sheet(table_text(asked.runout), asked.runout, wheel)
    elif sheet is not None and asked.dish_mm is None:
        notes.insert(0, f"run-out and dish are those of the sheet kept with {found.source}")
    else:
        sheet = None
    if sheet is None:
        read = Readings(found.tension_n, {}, {}, dish_m, found.u_n)
    else:
        dish_m = sheet.dish_m if dish_m is None else dish_m
        read = Readings(found.tension_n, sheet.lateral_m, sheet.radial_m, dish_m, found.u_n)
    return Given(read, left, tuple(notes))


def _left_alone(reading: Reading, source: str) -> frozenset[int]:
    """The spokes of which something is said that their tension alone does not say."""
    from tensionear.dashboard.sentence import HARMLESS, OTHER_SPOKE, TURN_NOTHING
    from tensionear.dashboard.table import singles_out

    for finding in reading.findings:
        if finding.code in (OTHER_SPOKE, "sides-exchanged", *TURN_NOTHING):
            raise InputError(f"{source} is no ground for turning anything: {finding.text}")
    telling = [finding for finding in reading.findings if finding.code not in HARMLESS]
    return frozenset(
        each.spoke
        for each in reading.spokes
        if each.doubt is not None or any(singles_out(reading, finding, each) for finding in telling)
    )


def _why_left(wheel: Wheel, left: frozenset[int]) -> str:
    """What is said of the spokes that are left alone."""
    names = ", ".join(wheel.place(number).label for number in sorted(left))
    return (
        f"left alone, since their tension is not all that was said of them: {names}; look, pluck again, and plan anew"
    )


def _tensions(asked: Asked, wheel: Wheel) -> _Tensions:
    """The tensions that the options name; none without them."""
    given = asked.tensions
    if given is None:
        return _Tensions({}, {}, "")
    if _ROUND.match(given) and not Path(given).exists():
        from tensionear.errors import LogError
        from tensionear.records.log import Log

        kept = Log(asked.log).load(int(given))
        if kept.reading is None:
            raise LogError(f"round {given} is unfinished and has no reading; finish it first, or choose another")
        return _of_reading(kept.reading, f"round {given}", wheel)
    text = table_text(given)
    if text.lstrip().startswith("{"):
        return _of_reading(reading_in(text, given), given, wheel)
    from tensionear.wheel.comparison import known_tensions

    known = known_tensions(text, given)
    u = {spoke: each.u_tension_n for spoke, each in known.items() if each.u_tension_n is not None}
    return _Tensions({spoke: each.tension_n for spoke, each in known.items()}, u, given)


def _of_reading(reading: Reading, source: str, wheel: Wheel) -> _Tensions:
    """The tensions of a reading of this wheel with what each spoke's is uncertain by on its own."""
    read = [each for each in reading.spokes if each.tension_n is not None]
    if not read:
        raise InputError(f"{source} has no tensions of a wheel's spokes; read the round with its wheel file (--wheel)")
    if len(reading.spokes) != wheel.spokes:
        raise InputError(
            f"{source} is of {len(reading.spokes)} spokes, the wheel file of {wheel.spokes}; give both of one wheel"
        )
    own = {each.spoke: each.u_tension_n if each.u_individual_n is None else each.u_individual_n for each in read}
    return _Tensions(
        {each.spoke: each.tension_n for each in read if each.tension_n is not None},
        {spoke: u for spoke, u in own.items() if u is not None},
        source,
        _sheet_of(reading, source, wheel),
        reading,
    )


def _sheet_of(reading: Reading, source: str, wheel: Wheel) -> Sheet | None:
    """The sheet of the sitting, if run-out or dish stand in it."""
    if not reading.sheet:
        return None
    from tensionear.wheel.sheetfile import parse_sheet
    from tensionear.wheel.writer import wheel_toml

    sheet = parse_sheet(wheel_toml({"format": 1, **reading.sheet}), f"the sheet of {source}", wheel)
    return sheet if sheet.lateral_m or sheet.radial_m or sheet.dish_m is not None else None


def reading_in(text: str, name: str) -> Reading:
    """The one reading in a JSON document of ours: of ``read``, ``listen`` and ``demo``, or of ``log show``."""
    from tensionear.reading import FORMAT
    from tensionear.records.documents import ROUND_FORMAT
    from tensionear.records.revive import reading_from

    try:
        document: Mapping[str, Any] = json_from(text)
        kind = document.get("format")
        if kind == ROUND_FORMAT:
            found = [document["reading"]]
        elif kind == FORMAT:
            found = list(document["recordings"]) if "recordings" in document else [document]
        else:
            raise ValueError(kind)
        if len(found) == 1 and found[0] is not None:
            return reading_from(found[0])
    except (ValueError, KeyError, TypeError, AttributeError):
        raise InputError(
            f"{name} is no reading; give the JSON of tensionear read --json or log show --json, or a CSV table "
            "with the columns spoke,tension_n"
        ) from None
    what = "a round without a reading" if found == [None] else f"{len(found)} readings"
    raise InputError(f"{name} holds {what}; give the JSON of one recording")
