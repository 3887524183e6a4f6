"""Rounds taken along in one file: a ZIP of JSON and sounds, the same on every machine. Imports the log's tables and sounds.

``manifest.json`` names every other member with its SHA-256; ``rounds/UID.json`` is a round's rows as they stand in the log,
``sounds/UID/NAME`` a sound. On the way in nothing is believed: names must have just these forms, every member must be
listed, its size and hash right; nothing is written outside the folder of sounds, nothing that is there is overwritten.
"""

from __future__ import annotations

import hashlib
import json
import re
import secrets
import sqlite3
import zipfile
import zlib
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from tensionear.errors import InputError, LogError, UsageError
from tensionear.textfiles import check_regular
from tensionear.texts import json_from

from .database import reading as reads
from .database import writing
from .fitting import fits
from .log import Log, dumped
from .revive import pluck_from, reading_from
from .schema import key_of
from .sounds import drop_sounds, folder_of, sync_folder
from .values import asked_from, state_from

FORMAT = "tensionear.archive/1"
#: No member may be larger: an hour of the widest sound stays far below.
MOST_BYTES = 4_000_000_000
MOST_JSON_BYTES = 20_000_000
#: JSON packs to a tenth or so; sounds are not packed at all.
_MOST_RATIO = 100
_ROUND = re.compile(r"rounds/([0-9a-f]{32})\.json\Z")
_SOUND = re.compile(r"sounds/([0-9a-f]{32})/([A-Za-z0-9][A-Za-z0-9._-]{0,120})\Z")
COLUMNS = (
    "uid", "title", "started", "finished", "job", "verdict", "plucks", "note", "program", "model", "state", "asked",
    "sheet", "sound", "sound_sha256",
)  # fmt: skip
PLUCK_COLUMNS = ("number", "taken_back", "reading", "sound", "sound_sha256")
#: What the columns of a round hold, beside its sound, its plucks and what is JSON.
_TEXT: Any = str | None
_KINDS = {
    **dict.fromkeys(("uid", "title", "started", "note", "program", "model", "state", "asked", "sheet"), str),
    **dict.fromkeys(("finished", "job", "verdict", "sound", "sound_sha256", "wheel_text", "reading"), _TEXT),
    "plucks": int,
}
_CHUNK = 1 << 20


@dataclass(frozen=True, slots=True)
class Brought:
    """What an archive brought: numbers of new rounds, uids that were there already, and sounds that it lacked."""

    new: tuple[int, ...]
    known: tuple[str, ...]
    missing_sounds: tuple[str, ...] = ()


def export_rounds(log: Log, numbers: Sequence[int] | None, target: Path) -> tuple[int, tuple[str, ...]]:
    """Write rounds (None: all) into one archive; how many, and the names of sounds that are gone from the disk.

    All rows are of one moment, others may go on writing; so this is a backup as well.

    Raises
    ------
    LogError
        If a round is not in the log, or the file exists or cannot be written.
    """
    with reads(log.path) as connection:
        rounds = [_rows(connection, number) for number in _chosen(connection, log, numbers)]
    part = target.with_name(f".{target.name}.{secrets.token_hex(3)}.part")
    try:
        if target.exists():
            raise LogError(f"{target} exists; name a file that does not")
        try:
            missing = _write(log, rounds, part)
            part.replace(target)
        finally:
            part.unlink(missing_ok=True)
        sync_folder(target.parent)
    except OSError as error:
        raise LogError(
            f"{target} cannot be written ({error.strerror or error}); check the folder and its space"
        ) from None
    return len(rounds), missing


def _chosen(connection: sqlite3.Connection, log: Log, numbers: Sequence[int] | None) -> list[int]:
    there = [number for (number,) in connection.execute("SELECT id FROM rounds ORDER BY id")]
    for number in numbers or ():
        if number not in there:
            raise LogError(f"round {number} is not in {log.path}; tensionear log list shows which are")
    return there if numbers is None else list(dict.fromkeys(numbers))


def _rows(connection: sqlite3.Connection, number: int) -> dict[str, Any]:
    """A round's rows as they stand, as one JSON object."""
    row = connection.execute(f"SELECT {', '.join(COLUMNS)} FROM rounds WHERE id = ?", (number,)).fetchone()
    texts = connection.execute("SELECT wheel_text, reading FROM readings WHERE round_id = ?", (number,)).fetchone()
    wheel_text, reading = texts or (None, None)
    plucks = connection.execute(
        f"SELECT {', '.join(PLUCK_COLUMNS)} FROM plucks WHERE round_id = ? ORDER BY number", (number,)
    )
    return {
        **dict(zip(COLUMNS, row, strict=True)),
        "wheel_text": wheel_text,
        "reading": reading,
        "pluck_rows": [dict(zip(PLUCK_COLUMNS, each, strict=True)) for each in plucks],
    }


def _write(log: Log, rounds: list[dict[str, Any]], part: Path) -> tuple[str, ...]:
    """The archive itself; the names of sounds that are gone."""
    members: dict[str, str] = {}
    missing = []
    with zipfile.ZipFile(part, "x", zipfile.ZIP_DEFLATED) as archive:
        for each in rounds:
            name, text = f"rounds/{each['uid']}.json", dumped(each).encode()
            archive.writestr(name, text)
            members[name] = hashlib.sha256(text).hexdigest()
            for sound, digest in sounds_of(each):
                path = folder_of(log.path) / sound
                if path.is_file():
                    archive.write(path, f"sounds/{sound}", zipfile.ZIP_STORED)
                    members[f"sounds/{sound}"] = digest
                else:
                    missing.append(sound)
        archive.writestr("manifest.json", json.dumps({"format": FORMAT, "members": members}, indent=1))
    return tuple(missing)


def sounds_of(rows: dict[str, Any]) -> list[tuple[str, str]]:
    """Names and hashes of all sounds of a round's rows."""
    found = [(each["sound"], each["sound_sha256"]) for each in (rows, *rows["pluck_rows"])]
    return [(sound, digest) for sound, digest in found if sound is not None]


def import_rounds(log: Log, source: Path) -> Brought:
    """Take the rounds of an archive into the log; those that it has already are left as they are.

    Raises
    ------
    InputError
        If it is no archive, or any of its members is not what the manifest says; nothing is taken in then.
    LogError
        If the log cannot be written.
    """
    check_regular(source, "file of tensionear log export")
    try:
        with zipfile.ZipFile(source) as archive:
            members = _checked_members(archive, source)
            rounds = [name for name in members if _ROUND.match(name)]
            missing = [sound for name in rounds for sound in _lacking(_checked_round(archive, name, source), members)]
            brought = [_take(log, archive, _checked_round(archive, name, source), members) for name in rounds]
    except (OSError, zipfile.BadZipFile, zlib.error, EOFError, NotImplementedError, RuntimeError) as error:
        if isinstance(error, OSError) and error.filename is None and not isinstance(error, FileNotFoundError):
            raise LogError(
                f"the sounds cannot be kept ({error.strerror or error}); check the folder and its space"
            ) from None
        reason = getattr(error, "strerror", None) or str(error)
        raise InputError(
            f"{source} is no archive that can be read ({reason}); give a file of tensionear log export"
        ) from None
    new = tuple(number for _, number in brought if number is not None)
    return Brought(new, tuple(uid for uid, number in brought if number is None), tuple(missing))


def _lacking(rows: dict[str, Any], members: dict[str, str]) -> list[str]:
    """Names of a round's sounds that the archive does not hold."""
    return [sound for sound, _ in sounds_of(rows) if f"sounds/{sound}" not in members]


def _checked_members(archive: zipfile.ZipFile, source: Path) -> dict[str, str]:
    """The members by name with their hashes, all checked."""
    infos = archive.infolist()
    names = [info.filename for info in infos]
    if len(set(names)) != len(names) or "manifest.json" not in names:
        raise InputError(f"{source} has no manifest, or names a member twice; give a file of tensionear log export")
    for info in infos:
        if info.file_size > _MOST_RATIO * info.compress_size + _CHUNK:
            raise InputError(
                f"{source}: {info.filename!r} unpacks to {info.file_size} bytes from {info.compress_size}; no round and no "
                "sound does, so nothing was taken in"
            )
    try:
        manifest = json_from(_bytes(archive, "manifest.json"))
        members = dict(manifest["members"])
        known = manifest["format"] == FORMAT
    except (ValueError, KeyError, TypeError):
        raise InputError(f"{source}: its manifest cannot be read; give a file of tensionear log export") from None
    if not known:
        raise InputError(f"{source} is of format {manifest['format']!r}; known is {FORMAT}: install a newer tensionear")
    for name in set(names) ^ {"manifest.json", *members}:
        raise InputError(f"{source}: {name!r} is not in both the archive and its manifest; export it again")
    for name, digest in members.items():
        if not (_ROUND.match(name) or _SOUND.match(name)) or ".." in name:
            raise InputError(f"{source}: {name!r} is no name of a round or sound; nothing was taken in")
        if _digest(archive, name) != digest:
            raise InputError(f"{source}: {name} is not what was exported (its hash differs); copy the archive again")
    return members


def _bytes(archive: zipfile.ZipFile, name: str) -> bytes:
    """A JSON member, if it is no larger than it may be."""
    with archive.open(name) as member:
        found = member.read(MOST_JSON_BYTES + 1)
    if len(found) > MOST_JSON_BYTES:
        raise InputError(f"{name} is larger than {MOST_JSON_BYTES} bytes; no round is, so nothing was taken in")
    return found


def _digest(archive: zipfile.ZipFile, name: str) -> str:
    """The SHA-256 of a member, read in pieces."""
    digest, size = hashlib.sha256(), 0
    with archive.open(name) as member:
        while chunk := member.read(_CHUNK):
            size += len(chunk)
            if size > MOST_BYTES:
                raise InputError(f"{name} is larger than {MOST_BYTES} bytes; no sound is, so nothing was taken in")
            digest.update(chunk)
    return digest.hexdigest()


def _checked_round(archive: zipfile.ZipFile, name: str, source: Path) -> dict[str, Any]:
    """A round's rows, if they can be read as a round and name no sounds but its own."""
    try:
        rows = dict(json_from(_bytes(archive, name)))
        for column, kind in _KINDS.items():
            if not fits(rows[column], kind):
                raise TypeError(f"{column} cannot be {str(rows[column])[:40]!r}")
        uid = rows["uid"]
        own = all(sound.startswith(f"{uid}/") and _SOUND.match(f"sounds/{sound}") for sound, _ in sounds_of(rows))
        if name != f"rounds/{uid}.json" or not own:
            raise ValueError("it names another round's member")
        if rows["reading"] is not None:
            reading_from(json_from(rows["reading"]))
        for each in rows["pluck_rows"]:
            if not (
                fits(each["number"], int) and each["taken_back"] in (0, 1) and fits(each["sound_sha256"], str | None)
            ):
                raise TypeError("a pluck is no row of the log")
            pluck_from(json_from(each["reading"]))
        asked_from(json_from(rows["asked"]), rows["wheel_text"])
        state_from(json_from(rows["state"])), dict(json_from(rows["sheet"]))
    except (ValueError, KeyError, TypeError, AttributeError, UsageError) as error:
        raise InputError(f"{source}: {name} is no round ({type(error).__name__}: {error}); export it again") from None
    return rows


def _take(log: Log, archive: zipfile.ZipFile, rows: dict[str, Any], members: dict[str, str]) -> tuple[str, int | None]:
    """Put one round into the log, its sounds first; its uid, and its number if it is new."""
    uid = str(rows["uid"])
    if log.path.is_file():
        with reads(log.path) as connection:
            if connection.execute("SELECT 1 FROM rounds WHERE uid = ?", (uid,)).fetchone():
                return uid, None
    folder = folder_of(log.path) / uid
    try:
        for name in members:
            found = _SOUND.match(name)
            if found and found[1] == uid:
                folder.mkdir(parents=True, exist_ok=True)
                _unpack(archive, name, folder / found[2])
        with writing(log.path) as connection:
            return uid, insert_rows(connection, rows)
    except BaseException:
        drop_sounds(log.path, uid)
        raise


def _unpack(archive: zipfile.ZipFile, name: str, target: Path) -> None:
    """One sound."""
    with archive.open(name) as member, target.open("xb") as file:
        while chunk := member.read(_CHUNK):
            file.write(chunk)


def insert_rows(connection: sqlite3.Connection, rows: dict[str, Any], number: int | None = None) -> int:
    """A round's rows put into a log under this number, or the next; its number."""
    columns = (*COLUMNS, "title_key", "note_key", "id")
    values = (*(rows[column] for column in COLUMNS), key_of(rows["title"]), key_of(rows["note"]), number)
    holes = ", ".join("?" * len(columns))
    made = connection.execute(f"INSERT INTO rounds ({', '.join(columns)}) VALUES ({holes})", values)
    assert made.lastrowid is not None
    connection.execute(
        "INSERT INTO readings (round_id, wheel_text, reading) VALUES (?, ?, ?)",
        (made.lastrowid, rows["wheel_text"], rows["reading"]),
    )
    for each in rows["pluck_rows"]:
        connection.execute(
            f"INSERT INTO plucks (round_id, {', '.join(PLUCK_COLUMNS)}) VALUES (?, ?, ?, ?, ?, ?)",
            (made.lastrowid, *(each[column] for column in PLUCK_COLUMNS)),
        )
    return made.lastrowid
