"""The result file: rows as they come, in the order of the inputs at the end. Imports lines, values, errors.

``.jsonl`` and ``.csv`` are written to line by line and rewritten in order at the end. Parquet has no such lines: its rows
wait in ``NAME.part``, JSON lines, until the end. Either way a run that is killed leaves its rows to the next one.
"""

from __future__ import annotations

import os
import shutil
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import BinaryIO

from tensionear.errors import InputError, UsageError

from .lines import CSV_LINES, JSON_LINES, Lines
from .values import Job, Row, shown_name

ENDINGS = {".jsonl": JSON_LINES, ".ndjson": JSON_LINES, ".csv": CSV_LINES, ".parquet": JSON_LINES}
#: Failures that the same file need not have again: it is tried again at the next run.
_AGAIN = frozenset({"no-wheel", "address", "changed", "time-limit", "crash", "device", "error"})
#: A folder may have been moved: so many files of the same name elsewhere are thought of.
_NAMESAKES = 20


@dataclass(frozen=True, slots=True)
class Place:
    """Where a row is in the journal, and what is needed of it without reading it."""

    start: int
    length: int
    key: str
    known: bool
    read: bool


class Results:
    """The result file while a batch runs; the last row of a file counts.

    Use as a context: on leaving, the journal is closed as it is. `finish` puts the result in order.
    """

    def __init__(self, out: Path) -> None:
        self.out = out
        self._lines: Lines = lines_of(out)
        self._parquet = out.suffix.lower() == ".parquet"
        self._journal = out.with_name(f"{out.name}.part") if self._parquet else out
        self._places: dict[str, Place] = {}
        self._file = self._opened()
        try:
            self._take_up()
        except BaseException:
            self._file.close()
            raise
        self._namesakes: dict[str, list[str]] = {}
        for file in self._places:
            self._namesakes.setdefault(_last(file), []).append(file)

    def __enter__(self) -> Results:
        return self

    def __exit__(self, *_: object) -> None:
        self._file.close()

    def __len__(self) -> int:
        return len(self._places)

    def known(self, job: Job) -> tuple[str, ...]:
        """Keys of rows that this file may have already: its own, or those of files of the same name elsewhere."""
        names = self._named_like(shown_name(job.file))
        return tuple(dict.fromkeys(place.key for name in names if (place := self._places[name]).known))

    def add(self, row: Row) -> None:
        """Write a row; it is with the system when this returns."""
        line = self._lines.encode(row).encode() + b"\n"
        try:
            start = self._file.seek(0, os.SEEK_END)
            self._file.write(line)
            self._file.flush()
        except OSError as error:
            raise InputError(f"{self._journal} cannot be written ({error.strerror or error}); {_ROOM}") from None
        self._remember(row, start, len(line))

    def keep(self, job: Job, key: str) -> Row:
        """The row there is already with this key, for this job; it is written again if it was another file's."""
        file = shown_name(job.file)
        name = next(name for name in self._named_like(file) if self._places[name].key == key)
        row = self._row(self._places[name]).tagged(job)
        if name != file:
            self.add(row)
        return row

    def rows(self, files: Iterable[str]) -> Iterator[Row]:
        """The rows of these files that there are, in this order."""
        for file in files:
            if (place := self._places.get(shown_name(file))) is not None:
                yield self._row(place)

    def files(self) -> list[str]:
        """The names of all files that have a row, in the order they came."""
        return list(self._places)

    def has_reading(self, file: str) -> bool:
        """Whether there is a row of this file, with a reading."""
        place = self._places.get(shown_name(file))
        return place is not None and place.read

    def set_by(self) -> Path:
        """Copy the journal, for rows that `finish` will not be given; the copy's name."""
        ending = ".jsonl" if self._parquet else self.out.suffix
        copy = self.out.with_name(f"{self.out.stem}.before{ending}")
        try:
            shutil.copyfile(self._journal, copy)
        except OSError as error:
            raise InputError(f"{copy} cannot be written ({error.strerror or error}); {_ROOM}") from None
        return copy

    def finish(self, rows: Iterable[Row]) -> None:
        """Put these rows, and no other, into the result, whole or not at all; the journal is closed."""
        part = self.out.with_name(f".{self.out.name}.new")
        try:
            if self._parquet:
                from .parquet import write_parquet

                write_parquet(part, rows)
            else:
                with part.open("wb") as file:
                    _write_heading(file, self._lines)
                    for row in rows:
                        file.write(self._lines.encode(row).encode() + b"\n")
                    file.flush()
                    os.fsync(file.fileno())
            self._file.close()
            part.replace(self.out)
            if self._parquet:
                self._journal.unlink(missing_ok=True)
        except OSError as error:
            raise InputError(f"{self.out} cannot be written ({error.strerror or error}); {_ROOM}") from None
        finally:
            part.unlink(missing_ok=True)

    def _named_like(self, file: str) -> list[str]:
        """Files with a row that are this one, or have its name elsewhere: the latest few."""
        return [*([file] if file in self._places else []), *self._namesakes.get(_last(file), [])[-_NAMESAKES:]]

    def _opened(self) -> BinaryIO:
        """The journal, for reading and for adding, held by this process alone."""
        taken = any(path.exists() and not path.is_file() for path in (self.out, self._journal))
        if taken or not self.out.parent.is_dir():
            raise UsageError(f"--out {self.out}: no file can be there; name one in a folder that exists")
        try:
            file = self._journal.open("a+b")
        except OSError as error:
            raise InputError(f"{self._journal} cannot be written ({error.strerror or error}); {_ROOM}") from None
        if not _locked(file):
            file.close()
            raise UsageError(f"{self.out} is being written by another run; wait for it, or name another file")
        return file

    def _take_up(self) -> None:
        """Learn what rows there are; what follows the last whole line is cut off."""
        if self._parquet and self.out.exists() and not self._journal.stat().st_size:
            from .parquet import read_parquet

            for row in read_parquet(self.out):
                self.add(row)
            return
        self._file.seek(0)
        end = 0
        for line in self._file:
            if not line.endswith(b"\n"):
                break
            if not (end == 0 and line.decode("utf-8", "replace").strip() == self._lines.heading):
                self._remember(self._decoded(line), end, len(line))
            end += len(line)
        self._file.truncate(end)
        if not end:
            _write_heading(self._file, self._lines)
            self._file.flush()

    def _decoded(self, line: bytes) -> Row:
        try:
            return self._lines.decode(line.decode("utf-8").rstrip("\n"))
        except (InputError, UnicodeDecodeError, ValueError):
            raise UsageError(
                f"{self._journal} holds something else than rows of a batch of this version; name another file for --out"
            ) from None

    def _row(self, place: Place) -> Row:
        self._file.seek(place.start)
        return self._decoded(self._file.read(place.length))

    def _remember(self, row: Row, start: int, length: int) -> None:
        known = bool(row.key) and row.reason_code not in _AGAIN
        self._places[row.file] = Place(start, length, row.key, known, row.status == "read")


_ROOM = "check the name, the folder and the free space"


def lines_of(out: Path) -> Lines:
    """How rows are written to a file of this ending."""
    found = ENDINGS.get(out.suffix.lower())
    if found is None:
        raise UsageError(f"--out {out}: results are .jsonl, .csv or .parquet; give one of these endings")
    if out.suffix.lower() == ".parquet":
        from .parquet import require

        require(out)
    return found


def read_rows(out: Path) -> Iterator[Row]:
    """The rows of a result that was finished, one after the other."""
    if out.suffix.lower() == ".parquet":
        from .parquet import read_parquet

        yield from read_parquet(out)
        return
    lines = lines_of(out)
    with out.open("rb") as file:
        for number, line in enumerate(file):
            text = line.decode("utf-8").rstrip("\n")
            if number or text != lines.heading:
                yield lines.decode(text)


def _write_heading(file: BinaryIO, lines: Lines) -> None:
    if lines.heading:
        file.write(lines.heading.encode() + b"\n")


def _last(name: str) -> str:
    """The last part of a path or address."""
    return name.replace("\\", "/").rsplit("/", 1)[-1]


def _locked(file: BinaryIO) -> bool:
    """Hold a file for this process, where the system can; whether it is held now."""
    try:
        import fcntl
    except ImportError:
        return True
    try:
        fcntl.flock(file, fcntl.LOCK_EX | fcntl.LOCK_NB)
    except BlockingIOError:
        return False
    except OSError:
        return True
    return True
