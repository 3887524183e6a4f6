"""A log looked over, and what can still be read of a damaged one saved into a new log. Imports the log, its tables, archive.

Rows are fetched one by one by their number, down the tree of the table, so that a damaged page loses only the rows on it. What
was lost is told; the damaged file is not touched.
"""

from __future__ import annotations

import json
import shutil
import sqlite3
from contextlib import closing
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from tensionear.errors import LogError

from .archive import COLUMNS, PLUCK_COLUMNS, insert_rows, sounds_of
from .database import reading as reads
from .database import told, writing
from .log import Log
from .revive import reading_from
from .sounds import folder_of, sha256_of

#: Numbers are tried so far beyond the last that could be listed.
_BEYOND = 1000


@dataclass(frozen=True, slots=True)
class Rescued:
    """How many rounds were saved, and what was lost, in words."""

    rounds: int
    lost: tuple[str, ...]


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
            reading_from(json.loads(rows["reading"]))
    except (ValueError, KeyError, TypeError, AttributeError) as error:
        found.append(f"round {number}: its reading cannot be read ({error})")
    for sound, digest in sounds_of(rows):
        path = folder_of(log.path) / sound
        if not path.is_file():
            found.append(f"round {number}: its sound {sound} is gone")
        elif sha256_of(path) != digest:
            found.append(f"round {number}: its sound {sound} is not what was kept")
    return found


def rescue(log: Log, target: Path) -> Rescued:
    """Save all that can be read of a log into a new one, sounds and all.

    Raises
    ------
    LogError
        If there is no such log, the target exists or cannot be written, or nothing of a log can be read.
    """
    if not log.path.is_file():
        raise LogError(f"{log.path}: no such log; name the damaged one with --log FILE")
    if target.exists() or folder_of(target).exists():
        raise LogError(f"{target} exists; name a log that does not")
    saved, lost = 0, []
    with told(log.path), closing(sqlite3.connect(f"{log.path.absolute().as_uri()}?mode=ro", uri=True)) as connection:
        numbers, whole = _numbers(connection)
        if not whole:
            lost.append("the list of rounds was damaged: its numbers were tried one by one")
        for number in numbers:
            rows = _fetch(connection, number)
            if rows.get("uid") is None:
                lost += [f"round {number}: {text}" for text in rows["lost"]]
                continue
            lost += [f"round {number}: {text}" for text in rows["lost"]]
            with writing(target) as there:
                insert_rows(there, rows)
            lost += _copy_sounds(log, target, number, rows)
            saved += 1
    if not saved:
        raise LogError(f"nothing of {log.path} could be read as a round; keep the file, and go back to a backup")
    return Rescued(saved, tuple(lost))


def _numbers(connection: sqlite3.Connection) -> tuple[list[int], bool]:
    """The numbers of rounds worth trying, and whether the list of them was whole."""
    found: set[int] = set()
    whole = True
    for table, column in (("rounds", "id"), ("readings", "round_id"), ("plucks", "round_id")):
        for order in ("ASC", "DESC"):
            try:
                for (number,) in connection.execute(
                    f"SELECT {column} FROM {table} NOT INDEXED ORDER BY {column} {order}"
                ):
                    found.add(int(number))
            except sqlite3.DatabaseError:
                whole = False
    if whole:
        return sorted(found), True
    return list(range(1, max(found, default=0) + _BEYOND)), False


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


def _copy_sounds(log: Log, target: Path, number: int, rows: dict[str, Any]) -> list[str]:
    """Copy a round's sounds; what was gone."""
    gone = []
    for sound, _ in sounds_of(rows):
        source, there = folder_of(log.path) / sound, folder_of(target) / sound
        try:
            there.parent.mkdir(parents=True, exist_ok=True)
            shutil.copyfile(source, there)
        except OSError as error:
            gone.append(f"round {number}: its sound {sound} could not be copied ({error.strerror})")
    return gone
