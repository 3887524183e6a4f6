"""What can still be read of a damaged log saved into a new one, and what is lost told. Imports the log, salvage and leaves.

The pages of the file are read one by one (`leaves`), so that a damaged page loses only the rows on it. The damaged file is not
touched.
"""

from __future__ import annotations

import mmap
import shutil
import sqlite3
import tempfile
from collections.abc import Iterator
from contextlib import closing, contextmanager, suppress
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

from tensionear.errors import LogError

from .archive import insert_rows, sounds_of
from .database import told, writing
from .leaves import MAGIC, Pages
from .log import Log
from .salvage import rows_of, salvaged
from .sounds import folder_of, sha256_of

#: So many pages are named.
_NAMED = 12
#: A log of 20,000 rounds stays below; sounds lie outside of it.
_MOST_BYTES = 2_000_000_000


@dataclass(frozen=True, slots=True)
class Rescued:
    """How many rounds were saved, and what was lost, in words."""

    rounds: int
    lost: tuple[str, ...]


def rescue(log: Log, target: Path) -> Rescued:
    """Save all that can be read of a log into a new one, under the same numbers, sounds and all.

    Raises
    ------
    LogError
        If there is no such log, the target exists or cannot be written, or nothing of a log can be read.
    """
    if not log.path.is_file():
        raise LogError(f"{log.path}: no such log; name the damaged one with --log FILE")
    if target.exists() or folder_of(target).exists():
        raise LogError(f"{target} exists; name a log that does not")
    with _settled(log.path, target) as path, told(log.path):
        pages = Pages(_mapped(path))
    found = salvaged(pages)
    when = datetime.fromtimestamp(log.path.stat().st_mtime, UTC).strftime("%Y-%m-%dT%H:%M:%SZ")
    rounds = {number: rows_of(found, number, when) for number in found.numbers}
    lost = [f"round {number}: {text}" for number, rows in rounds.items() for text in rows["lost"]]
    left = {number: rows for number, rows in rounds.items() if rows["uid"] is not None}
    if not left:
        raise LogError(f"nothing of {log.path} could be read as a round; keep the file, and go back to a backup")
    lost += _damage(pages)
    for number, rows in left.items():
        if number not in found.lines:
            lost += _sound_by_uid(log, number, rows)
    with writing(target) as there:
        for number, rows in left.items():
            insert_rows(there, rows, number)
    for number, rows in left.items():
        lost += _copy_sounds(log, target, number, rows)
    return Rescued(len(left), tuple(lost))


def _mapped(path: Path) -> mmap.mmap | bytes:
    """The bytes of a file, brought into memory as they are looked at; LogError if it is larger than a log can be."""
    size = path.stat().st_size
    if size > _MOST_BYTES:
        raise LogError(f"{path}: {size} bytes given; a log has at most {_MOST_BYTES}; name a log with --log FILE")
    with path.open("rb") as file:
        return mmap.mmap(file.fileno(), 0, access=mmap.ACCESS_READ) if size else b""


@contextmanager
def _settled(path: Path, target: Path) -> Iterator[Path]:
    """The file as it was before a write that was cut short: a copy on which that was taken back, if there was one."""
    journal = path.with_name(f"{path.name}-journal")
    if not journal.is_file():
        yield path
        return
    try:
        target.parent.mkdir(parents=True, exist_ok=True)
        with tempfile.TemporaryDirectory(dir=target.parent) as folder:
            copy = Path(folder) / path.name
            shutil.copyfile(path, copy)
            shutil.copyfile(journal, Path(folder) / journal.name)
            with suppress(sqlite3.DatabaseError), closing(sqlite3.connect(copy, isolation_level=None)) as connection:
                connection.execute("BEGIN IMMEDIATE")
                connection.rollback()
            yield copy
    except OSError as error:
        raise LogError(f"{path} cannot be copied beside {target} ({error.strerror}); free some space") from None


def _damage(pages: Pages) -> list[str]:
    """Where the file itself is damaged, in words."""
    found = [] if pages.data[:16] == MAGIC else ["the head of the file: its pages were taken for the usual size"]
    unread = pages.unread()
    if unread:
        named = ", ".join(map(str, unread[:_NAMED])) + (" ..." if len(unread) > _NAMED else "")
        found.append(f"what stood only on pages {named} of the file's {pages.count}")
    return found


def _sound_by_uid(log: Log, number: int, rows: dict[str, Any]) -> list[str]:
    """Give a round whose line is lost the sound in its folder, if there is just one of a whole round; what it is not known of."""
    sounds = sorted(folder_of(log.path).glob(f"{rows['uid']}/round-*"))
    if len(sounds) != 1:
        return []
    rows["sound"], rows["sound_sha256"] = f"{rows['uid']}/{sounds[0].name}", sha256_of(sounds[0])
    return [f"round {number}: the hash of its sound, which was taken as it is"]


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
