"""A log looked over: its file, its rounds, its sounds. Imports the log, its tables, archive and sounds."""

from __future__ import annotations

import sqlite3
from typing import Any

from tensionear.errors import LogError
from tensionear.texts import json_from

from .archive import COLUMNS, PLUCK_COLUMNS, sounds_of
from .database import reading as reads
from .log import Log
from .revive import reading_from
from .sounds import folder_of, sha256_of


def look_over(log: Log) -> tuple[str, ...]:
    """What is wrong with a log: its file, its rounds, its sounds; empty if nothing is."""
    found: list[str] = []
    try:
        with reads(log.path) as connection:
            found += [f"database: {line}" for (line,) in connection.execute("PRAGMA integrity_check") if line != "ok"]
            for (number,) in connection.execute("SELECT id FROM rounds ORDER BY id").fetchall():
                rows = _fetch(connection, number)
                found += _wrong_with(log, number, rows)
    except LogError as error:
        found.append(str(error))
    return tuple(found)


def _wrong_with(log: Log, number: int, rows: dict[str, Any]) -> list[str]:
    """What is wrong with one round."""
    found = [f"round {number}: {text}" for text in rows["lost"]]
    try:
        if rows["reading"] is not None:
            reading_from(json_from(rows["reading"]))
    except (ValueError, KeyError, TypeError, AttributeError) as error:
        found.append(f"round {number}: its reading cannot be read ({error})")
    for sound, digest in sounds_of(rows) if rows["uid"] is not None else ():
        path = folder_of(log.path) / sound
        if not path.is_file():
            found.append(f"round {number}: its sound {sound} is gone")
        elif sha256_of(path) != digest:
            found.append(f"round {number}: its sound {sound} is not what was kept")
    return found


def _fetch(connection: sqlite3.Connection, number: int) -> dict[str, Any]:
    """A round's rows, as far as they can be read; ``lost`` tells what could not be. Without a uid there is no round."""
    lost: list[str] = []
    rows: dict[str, Any] = {"uid": None, "wheel_text": None, "reading": None, "pluck_rows": [], "lost": lost}
    try:
        row = connection.execute(f"SELECT {', '.join(COLUMNS)} FROM rounds WHERE id = ?", (number,)).fetchone()
        if row is None:
            return rows
        rows.update(zip(COLUMNS, row, strict=True))
    except sqlite3.DatabaseError as error:
        lost.append(f"lost ({error})")
        return rows
    try:
        texts = connection.execute("SELECT wheel_text, reading FROM readings WHERE round_id = ?", (number,)).fetchone()
        rows["wheel_text"], rows["reading"] = texts or (None, None)
        if texts is None:
            lost.append("its reading and wheel file are lost")
    except sqlite3.DatabaseError as error:
        lost.append(f"its reading and wheel file are lost ({error})")
    try:
        for each in connection.execute(
            f"SELECT {', '.join(PLUCK_COLUMNS)} FROM plucks WHERE round_id = ? ORDER BY number", (number,)
        ):
            rows["pluck_rows"].append(dict(zip(PLUCK_COLUMNS, each, strict=True)))
    except sqlite3.DatabaseError as error:
        lost.append(f"plucks kept one by one are lost after the first {len(rows['pluck_rows'])} ({error})")
    return rows
