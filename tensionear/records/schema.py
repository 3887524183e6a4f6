"""The tables of the log and how an older log is brought to today's form. Imports errors only.

``PRAGMA user_version`` holds the version. Step N of `STEPS` makes version N of version N - 1, in the transaction of the caller;
a step is never changed once a log may have been written by it.
"""

from __future__ import annotations

import sqlite3
from collections.abc import Callable

from tensionear.errors import LogError

#: ``TENS`` as a number: tells a log from any other SQLite file.
APPLICATION_ID = 0x54454E53

_FIRST = """
CREATE TABLE rounds (
    id INTEGER PRIMARY KEY AUTOINCREMENT,
    uid TEXT NOT NULL UNIQUE,
    title TEXT NOT NULL,
    title_key TEXT NOT NULL,
    started TEXT NOT NULL,
    finished TEXT,
    job TEXT,
    verdict TEXT,
    plucks INTEGER NOT NULL DEFAULT 0,
    note TEXT NOT NULL DEFAULT '',
    program TEXT NOT NULL,
    model TEXT NOT NULL,
    state TEXT NOT NULL,
    asked TEXT NOT NULL,
    sheet TEXT NOT NULL DEFAULT '{}',
    sound TEXT,
    sound_sha256 TEXT
);
CREATE INDEX rounds_by_wheel ON rounds (title_key, started);
CREATE INDEX rounds_by_start ON rounds (started);
CREATE TABLE readings (
    round_id INTEGER PRIMARY KEY REFERENCES rounds (id) ON DELETE CASCADE,
    wheel_text TEXT,
    reading TEXT
);
CREATE TABLE plucks (
    round_id INTEGER NOT NULL REFERENCES rounds (id) ON DELETE CASCADE,
    number INTEGER NOT NULL,
    taken_back INTEGER NOT NULL DEFAULT 0,
    reading TEXT NOT NULL,
    sound TEXT,
    sound_sha256 TEXT,
    PRIMARY KEY (round_id, number)
) WITHOUT ROWID;
"""


def key_of(text: str) -> str:
    """What a name or note is found by: the text without regard to case and spacing."""
    return " ".join(text.casefold().split())


def _first(connection: sqlite3.Connection) -> None:
    for statement in _FIRST.split(";\n"):
        if statement.strip():
            connection.execute(statement)
    connection.execute(f"PRAGMA application_id = {APPLICATION_ID}")


def _second(connection: sqlite3.Connection) -> None:
    """Notes can be searched whatever their case."""
    connection.execute("ALTER TABLE rounds ADD COLUMN note_key TEXT NOT NULL DEFAULT ''")
    for number, note in connection.execute("SELECT id, note FROM rounds WHERE note != ''").fetchall():
        connection.execute("UPDATE rounds SET note_key = ? WHERE id = ?", (key_of(note), number))


STEPS: tuple[Callable[[sqlite3.Connection], None], ...] = (_first, _second)
VERSION = len(STEPS)


def version_of(connection: sqlite3.Connection, name: str) -> int:
    """The version of an opened log, 0 for a file that is still empty.

    Raises
    ------
    LogError
        If the file is a database of something else, or of a later version than this program knows.
    """
    (version,) = connection.execute("PRAGMA user_version").fetchone()
    (application,) = connection.execute("PRAGMA application_id").fetchone()
    if application != APPLICATION_ID and (version or connection.execute("SELECT 1 FROM sqlite_master").fetchone()):
        raise LogError(f"{name} is a database, but no log of rounds; name a log or a file that does not exist yet")
    if version > VERSION:
        raise LogError(
            f"{name} is a log of version {version}; this program knows versions up to {VERSION}: install a newer one"
        )
    return int(version)


def bring_up(connection: sqlite3.Connection, name: str) -> None:
    """Bring a log to today's version. The caller holds a write transaction, so that two programs cannot do it at once."""
    for step in STEPS[version_of(connection, name) :]:
        step(connection)
    connection.execute(f"PRAGMA user_version = {VERSION}")
