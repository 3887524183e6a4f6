"""The log of rounds: kept, listed, loaded, forgotten. Imports the tables, the sounds, and what they keep.

The contract for whoever writes to it stands in the package's docstring.
"""

from __future__ import annotations

import json
import os
import sqlite3
import uuid
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

from tensionear.capture.recording import Recording
from tensionear.data import user_folder
from tensionear.errors import LogError, UsageError
from tensionear.reading import PluckReading, Reading, plain_form
from tensionear.texts import json_from

from .database import reading as reads
from .database import writing
from .revive import pluck_from, reading_from
from .schema import key_of
from .search import Search
from .sounds import KeptSound, drop_sounds, folder_of, keep_sound
from .values import Asked, KeptPluck, KeptRound, RoundRow, State, asked_from, state_from, table_from
from .versions import model_version, program_version

_ROW = "id, uid, title, started, finished, job, verdict, plucks, note"


def usual_log() -> Path:
    """Where the user's log is: ``TENSIONEAR_LOG`` if set, else ``rounds.sqlite`` in the user's data folder."""
    there = os.environ.get("TENSIONEAR_LOG")
    if there:
        return Path(there)
    return user_folder("TENSIONEAR_LOG") / "rounds.sqlite"


@dataclass(frozen=True, slots=True)
class Log:
    """A log of rounds in the SQLite file ``path``; the user's own unless given. Made when first written to."""

    path: Path

    def __init__(self, path: str | os.PathLike[str] | None = None) -> None:
        """A log by its path."""
        object.__setattr__(self, "path", usual_log() if path is None else Path(path))

    def save(
        self,
        reading: Reading,
        asked: Asked,
        sound: Path | Recording | None = None,
        state: State | None = None,
        note: str = "",
    ) -> int:
        """Keep a round that was read from one recording, and give its number.

        Parameters
        ----------
        reading : Reading
        asked : Asked
            What was plucked and how.
        sound : Path or Recording, optional
            The recording; kept beside the log.
        state : State, optional
            How the wheel stood.
        note : str

        Raises
        ------
        LogError
            If it could not be kept; nothing of it is in the log then.
        """
        uid, now = uuid.uuid4().hex, utc_now()
        kept = None if sound is None else keep_sound(self.path, uid, "round", sound)
        try:
            with writing(self.path) as connection:
                number = self._insert(connection, uid, reading.title, asked, state or State(), note, now)
                _finish(connection, number, reading, kept, now)
        except BaseException:
            drop_sounds(self.path, uid)
            raise
        return number

    def open_round(self, asked: Asked, title: str, state: State | None = None, note: str = "") -> OpenRound:
        """Begin a round that is kept pluck by pluck; LogError if the log cannot be written."""
        uid = uuid.uuid4().hex
        with writing(self.path) as connection:
            number = self._insert(connection, uid, title, asked, state or State(), note, utc_now())
        return OpenRound(self, number, uid)

    def resume(self, number: int) -> OpenRound:
        """Go on with an unfinished round; LogError if there is none of this number or it is finished."""
        with reads(self.path) as connection:
            row = self._row(connection, number)
        if row.finished is not None:
            raise LogError(
                f"round {number} was finished on {row.finished[:10]}; only an unfinished round can be resumed"
            )
        return OpenRound(self, number, row.uid)

    def unfinished(self) -> tuple[RoundRow, ...]:
        """The rounds that were opened and not finished, the latest first; empty where there is no log yet."""
        if not self.path.is_file():
            return ()
        with reads(self.path) as connection:
            found = connection.execute(
                f"SELECT {_ROW} FROM rounds WHERE finished IS NULL ORDER BY started DESC, id DESC"
            )
            return tuple(RoundRow(*row) for row in found)

    def rounds(self, search: Search | None = None) -> tuple[RoundRow, ...]:
        """The rounds of a search, the latest first."""
        search = search or Search()
        where, values = search.where()
        limit = -1 if search.limit is None else search.limit
        with reads(self.path) as connection:
            found = connection.execute(
                f"SELECT {_ROW} FROM rounds WHERE {where} ORDER BY started DESC, id DESC LIMIT ?", (*values, limit)
            )
            return tuple(RoundRow(*row) for row in found)

    def count(self, search: Search | None = None) -> int:
        """How many rounds a search finds, whatever its limit."""
        where, values = (search or Search()).where()
        with reads(self.path) as connection:
            (number,) = connection.execute(f"SELECT count(*) FROM rounds WHERE {where}", values).fetchone()
        return int(number)

    def load(self, number: int) -> KeptRound:
        """A round with all that was kept of it; LogError if there is none of this number."""
        with reads(self.path) as connection:
            return self._load(connection, number)

    def load_row(self, number: int) -> RoundRow:
        """The line of one round; LogError if there is none of this number."""
        with reads(self.path) as connection:
            return self._row(connection, number)

    def sound_sha256(self, number: int) -> str | None:
        """The SHA-256 that the sound of a whole round had when it was kept."""
        with reads(self.path) as connection:
            self._row(connection, number)
            (digest,) = connection.execute("SELECT sound_sha256 FROM rounds WHERE id = ?", (number,)).fetchone()
        return None if digest is None else str(digest)

    def pluck_sha256s(self, number: int) -> dict[int, str | None]:
        """The SHA-256 that the sound of each pluck of a round had when it was kept, by the pluck's number."""
        with reads(self.path) as connection:
            return dict(connection.execute("SELECT number, sound_sha256 FROM plucks WHERE round_id = ?", (number,)))

    def replace_reading(self, number: int, reading: Reading, asked: Asked, state: State) -> None:
        """Put a new reading of the same sound in the place of a finished round's, with what it was read by.

        LogError if there is no such round.
        """
        with writing(self.path) as connection:
            row = self._row(connection, number)
            if row.finished is None:
                raise LogError(f"round {number} is unfinished; finish it first")
            kept = connection.execute("SELECT sound, sound_sha256 FROM rounds WHERE id = ?", (number,)).fetchone()
            sound = None if kept[0] is None else KeptSound(*kept)
            _finish(connection, number, reading, sound, row.finished)
            told = (dumped(asked.to_dict()), dumped(state.to_dict()))
            connection.execute("UPDATE rounds SET asked = ?, state = ? WHERE id = ?", (*told, number))
            connection.execute("UPDATE readings SET wheel_text = ? WHERE round_id = ?", (asked.wheel_text, number))

    def sound_path(self, name: str) -> Path:
        """Where a kept sound lies."""
        return folder_of(self.path) / name

    def forget(self, number: int) -> RoundRow:
        """Take a round and its sounds out of the log for good, and give what it was; LogError if there is none."""
        with writing(self.path) as connection:
            row = self._row(connection, number)
            for table in ("plucks", "readings"):
                connection.execute(f"DELETE FROM {table} WHERE round_id = ?", (number,))
            connection.execute("DELETE FROM rounds WHERE id = ?", (number,))
        drop_sounds(self.path, row.uid)
        return row

    def backup(self, target: Path) -> None:
        """Copy the database as it is now to ``target``, while others may go on writing; sounds are not copied."""
        if target.exists():
            raise LogError(f"{target} exists; name a file that does not")
        with reads(self.path) as connection:
            copy = sqlite3.connect(target)
            try:
                connection.backup(copy)
            finally:
                copy.close()

    def _insert(
        self, connection: sqlite3.Connection, uid: str, title: str, asked: Asked, state: State, note: str, now: str
    ) -> int:
        """The row of a new round, not finished; its number."""
        versions = (program_version(), model_version())
        made = connection.execute(
            "INSERT INTO rounds (uid, title, title_key, started, note, note_key, program, model, state, asked) "
            "VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?)",
            (
                uid,
                title,
                key_of(title),
                now,
                note,
                key_of(note),
                *versions,
                dumped(state.to_dict()),
                dumped(asked.to_dict()),
            ),
        )
        assert made.lastrowid is not None
        connection.execute(
            "INSERT INTO readings (round_id, wheel_text) VALUES (?, ?)", (made.lastrowid, asked.wheel_text)
        )
        return made.lastrowid

    def _row(self, connection: sqlite3.Connection, number: int) -> RoundRow:
        row = connection.execute(f"SELECT {_ROW} FROM rounds WHERE id = ?", (number,)).fetchone()
        if row is None:
            raise LogError(f"round {number} is not in {self.path}; tensionear log list shows which are")
        return RoundRow(*row)

    def _load(self, connection: sqlite3.Connection, number: int) -> KeptRound:
        row = self._row(connection, number)
        told = connection.execute(
            "SELECT program, model, state, asked, sheet, sound, wheel_text, reading FROM rounds "
            "LEFT JOIN readings ON round_id = id WHERE id = ?",
            (number,),
        ).fetchone()
        program, model, state, asked, sheet, sound, wheel_text, reading = told
        try:
            return KeptRound(
                row,
                asked_from(json_from(asked), wheel_text),
                state_from(json_from(state)),
                None if reading is None else reading_from(json_from(reading)),
                _plucks(connection, number),
                program,
                model,
                sound,
                table_from(sheet),
            )
        except (ValueError, KeyError, TypeError, AttributeError, UsageError) as error:
            raise LogError(
                f"round {number} of {self.path} is damaged ({type(error).__name__}: {error}); "
                "save what can be read with: tensionear log rescue"
            ) from error


@dataclass(frozen=True, slots=True)
class OpenRound:
    """A round that is still being plucked."""

    log: Log
    id: int
    uid: str

    @property
    def plucks(self) -> tuple[KeptPluck, ...]:
        """The plucks kept so far, without those taken back, in order."""
        with reads(self.log.path) as connection:
            return _plucks(connection, self.id)

    def append(self, pluck: PluckReading, sound: Recording | None = None) -> int:
        """Keep one pluck, its sound first, and give its number in the round.

        Raises
        ------
        LogError
            If it could not be kept (nothing of it is then), or the round is finished or forgotten.
        """
        stem = f"pluck-{pluck.onset_s:09.3f}"
        kept = None if sound is None else keep_sound(self.log.path, self.uid, stem, sound)
        try:
            with writing(self.log.path) as connection:
                self._check_open(connection)
                (last,) = connection.execute("SELECT max(number) FROM plucks WHERE round_id = ?", (self.id,)).fetchone()
                number = 1 + (last or 0)
                told = (None, None) if kept is None else (kept.name, kept.sha256)
                connection.execute(
                    "INSERT INTO plucks (round_id, number, reading, sound, sound_sha256) VALUES (?, ?, ?, ?, ?)",
                    (self.id, number, dumped(plain_form(pluck)), *told),
                )
                connection.execute("UPDATE rounds SET plucks = plucks + 1 WHERE id = ?", (self.id,))
        except BaseException:
            if kept is not None:
                self.log.sound_path(kept.name).unlink(missing_ok=True)
            raise
        return number

    def take_back(self, number: int) -> None:
        """Mark a pluck as none; it stays on the disk. LogError if there is none of this number."""
        with writing(self.log.path) as connection:
            self._check_open(connection)
            done = connection.execute(
                "UPDATE plucks SET taken_back = 1 WHERE round_id = ? AND number = ? AND NOT taken_back",
                (self.id, number),
            )
            if not done.rowcount:
                raise LogError(f"round {self.id} has no pluck {number} to take back; count plucks from 1")
            connection.execute("UPDATE rounds SET plucks = plucks - 1 WHERE id = ?", (self.id,))

    def add_note(self, text: str) -> None:
        """Add a line to the round's note."""
        with writing(self.log.path) as connection:
            self._check_open(connection)
            connection.execute(
                "UPDATE rounds SET note = CASE note WHEN '' THEN ?1 ELSE note || char(10) || ?1 END WHERE id = ?2",
                (text, self.id),
            )

    def finish(self, reading: Reading, sound: Path | Recording | None = None) -> int:
        """Keep the reading of the whole round (and its sound), which ends it; gives the round's number."""
        kept = None if sound is None else keep_sound(self.log.path, self.uid, "round", sound)
        try:
            with writing(self.log.path) as connection:
                self._check_open(connection)
                _finish(connection, self.id, reading, kept, utc_now())
        except BaseException:
            if kept is not None:
                self.log.sound_path(kept.name).unlink(missing_ok=True)
            raise
        return self.id

    def _check_open(self, connection: sqlite3.Connection) -> None:
        row = connection.execute("SELECT finished FROM rounds WHERE id = ?", (self.id,)).fetchone()
        if row is None:
            raise LogError(f"round {self.id} is no longer in {self.log.path}; open a new one")
        if row[0] is not None:
            raise LogError(f"round {self.id} was finished on {row[0][:10]}; open a new one")


def _finish(connection: sqlite3.Connection, number: int, reading: Reading, sound: KeptSound | None, now: str) -> None:
    """Put the reading into a round's row."""
    told = (None, None) if sound is None else (sound.name, sound.sha256)
    used = sum(pluck.used for pluck in reading.plucks)
    connection.execute(
        "UPDATE rounds SET finished = ?, title = ?, title_key = ?, job = ?, verdict = ?, plucks = ?, program = ?, "
        "model = ?, sheet = ?, sound = ?, sound_sha256 = ? WHERE id = ?",
        (
            *(now, reading.title, key_of(reading.title), reading.job, reading.verdict, used),
            *(program_version(), model_version(), dumped(dict(reading.sheet or {})), *told, number),
        ),
    )
    connection.execute("UPDATE readings SET reading = ? WHERE round_id = ?", (dumped(reading.to_dict()), number))


def _plucks(connection: sqlite3.Connection, number: int) -> tuple[KeptPluck, ...]:
    rows = connection.execute(
        "SELECT number, reading, sound FROM plucks WHERE round_id = ? AND NOT taken_back ORDER BY number", (number,)
    )
    return tuple(KeptPluck(each, pluck_from(json_from(told)), sound) for each, told, sound in rows)


def utc_now() -> str:
    """Now, in UTC: ``2026-11-25T15:06:33Z``."""
    return datetime.now(UTC).strftime("%Y-%m-%dT%H:%M:%SZ")


def dumped(document: Any) -> str:
    """JSON as it is kept."""
    return json.dumps(document, ensure_ascii=False, allow_nan=False, separators=(",", ":"))
