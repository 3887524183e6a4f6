"""Transactions on the file of the log, and what can go wrong with it, told in one line. Imports schema and errors.

Rollback journal with ``synchronous=EXTRA``: a commit that returned is on the disk, the folder's entry for the journal too
(sqlite.org/pragma.html#pragma_synchronous). Write-ahead logging is not used: SQLite 3.7.0 to 3.51.2 can lose committed rows
when two connections write and checkpoint at once (sqlite.org/wal.html#the_wal_reset_bug), and it needs memory that network
folders do not share. ``BEGIN IMMEDIATE`` takes the write lock at once: a transaction that first reads and then writes would
fail without waiting.
"""

from __future__ import annotations

import sqlite3
import time
from collections.abc import Iterator
from contextlib import closing, contextmanager
from pathlib import Path

from tensionear.errors import LogError

from .schema import VERSION, bring_up, version_of

#: How long a transaction waits for others before it gives up.
WAIT_S = 30.0
_FULL, _BUSY, _READ_ONLY, _CANNOT_OPEN, _IO = 13, 5, 8, 14, 10


@contextmanager
def reading(path: Path) -> Iterator[sqlite3.Connection]:
    """A connection whose reads all see one state of the log; LogError if there is no log or it cannot be read."""
    if not path.is_file():
        raise LogError(f"{path}: no such log; keep a first round with: tensionear read SOUND --wheel FILE --keep")
    with told(path), closing(_connect(path)) as connection:
        if version_of(connection, str(path)) < VERSION:
            _migrate(connection, path)
        connection.execute("BEGIN")
        try:
            yield connection
        finally:
            connection.rollback()


@contextmanager
def writing(path: Path) -> Iterator[sqlite3.Connection]:
    """A connection inside a write transaction: committed at the end, taken back if anything is raised."""
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise LogError(f"{path.parent} cannot be made ({error.strerror}); name another log with --log FILE") from None
    with told(path), closing(_connect(path)) as connection:
        _begin(connection)
        try:
            bring_up(connection, str(path))
            yield connection
            connection.commit()
        except BaseException:
            connection.rollback()
            raise


def _migrate(connection: sqlite3.Connection, path: Path) -> None:
    _begin(connection)
    bring_up(connection, str(path))
    connection.commit()


def _begin(connection: sqlite3.Connection) -> None:
    """Take the write lock. SQLite answers some collisions at once, whatever the timeout: asked again until `WAIT_S`."""
    until = time.monotonic() + WAIT_S
    while True:
        try:
            connection.execute("BEGIN IMMEDIATE")
            return
        except sqlite3.OperationalError as error:
            if code_of(error) != _BUSY or time.monotonic() > until:
                raise
            time.sleep(0.02)


def _connect(path: Path) -> sqlite3.Connection:
    connection = sqlite3.connect(path, timeout=WAIT_S, isolation_level=None)
    try:
        connection.execute("PRAGMA synchronous = EXTRA")
        connection.execute("PRAGMA foreign_keys = ON")
        connection.execute("PRAGMA secure_delete = ON")
    except BaseException:
        connection.close()
        raise
    return connection


def code_of(error: sqlite3.Error) -> int:
    """The primary result code of SQLite (sqlite.org/rescode.html), 0 where there is none."""
    return int(getattr(error, "sqlite_errorcode", 0)) & 0xFF


@contextmanager
def told(path: Path) -> Iterator[None]:
    """Errors of SQLite as one line with a remedy."""
    try:
        yield
    except sqlite3.DatabaseError as error:
        raise LogError(_told(path, error)) from error


def _told(path: Path, error: sqlite3.DatabaseError) -> str:
    code = code_of(error)
    if code == _FULL:
        return f"{path}: the disk is full, nothing was written; free some space and try again"
    if code == _BUSY:
        return f"{path} is busy: another program has held it for {WAIT_S:.0f} s; close that one and try again"
    if code == _READ_ONLY:
        return f"{path} or its folder may only be read; allow writing there, or name another log with --log FILE"
    if code == _CANNOT_OPEN:
        return (
            f"{path} cannot be opened; check that its folder exists and may be written, or name another with --log FILE"
        )
    if code == _IO:
        return f"{path}: the disk failed ({error}); check the disk and its free space, then try again"
    return f"{path} is damaged or no log ({error}); save what can be read with: tensionear log rescue NEW --log {path}"
