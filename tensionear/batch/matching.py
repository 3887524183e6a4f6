"""Which wheel a file is of, and the jobs that follow. Imports mapping, addresses, values, errors.

What is said most closely wins: the table, then ``NAME.toml`` beside ``NAME.wav``, then the wheel file in ``--wheels`` by name,
then ``--wheel`` for all.
"""

from __future__ import annotations

import os
from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from functools import lru_cache
from pathlib import Path, PurePosixPath

from tensionear.errors import TensionearError, UsageError
from tensionear.loading import read_text
from tensionear.textfiles import text_in

from .addresses import find_sounds, is_address
from .mapping import Entry, parse_mapping
from .values import Job, Task, Work, failed


@dataclass(frozen=True, slots=True)
class Inputs:
    """What is to be read, as the user gave it."""

    paths: tuple[str, ...]
    wheel: str | None = None
    wheels: str | None = None
    table: str | None = None


@dataclass(frozen=True, slots=True)
class Matcher:
    """Finds the wheel of a file.

    ``entries`` are those of the table by absolute name, and ``bare`` by the name alone where the table names no folder;
    ``stems`` are the files of ``--wheels``.
    """

    wheel: str = ""
    wheels: str = ""
    table: str = ""
    entries: dict[str, Entry] = field(default_factory=dict)
    bare: dict[str, Entry] = field(default_factory=dict)
    stems: dict[str, str] = field(default_factory=dict)

    def job(self, number: int, file: str) -> Job:
        """The job of a file."""
        name = file.replace(os.sep, "/").rsplit("/", 1)[-1]
        entry = self.entries.get(_absolute(file)) or self.bare.get(name)
        found = self._told(entry) if entry is not None and entry.wheel else self._found(file)
        reason = "" if found else self._looked_for(file)
        if entry is None:
            return Job(number, file, found, reason=reason)
        return Job(number, file, found, entry.first, entry.order, entry.direction, entry.tags, reason)

    def _told(self, entry: Entry) -> str:
        """The wheel that the table names: a file beside the table, or one of ``--wheels``."""
        by_stem = self.stems.get(entry.wheel.removesuffix(".toml").casefold())
        beside = Path(self.table).parent / entry.wheel
        return by_stem if by_stem is not None and not beside.is_file() else str(beside)

    def _found(self, file: str) -> str:
        if not is_address(file):
            beside = Path(file).with_suffix(".toml")
            if beside.is_file():
                return str(beside)
        return self._by_name(file) or self.wheel

    def _by_name(self, file: str) -> str:
        """The wheel file whose name the sound's begins with, up to a sign that is no letter or digit; or its folder's."""
        path = PurePosixPath(file.replace(os.sep, "/"))
        for name in (path.stem.casefold(), path.parent.name.casefold()):
            ends = [at for at, sign in enumerate(name) if not sign.isalnum()]
            for end in (len(name), *reversed(ends)):
                if end and name[:end] in self.stems:
                    return self.stems[name[:end]]
        return ""

    def _looked_for(self, file: str) -> str:
        ways = [f"{PurePosixPath(file).stem}.toml beside it"]
        ways += [f"a wheel file in {self.wheels} whose name it begins with"] if self.wheels else []
        ways += [f"a line in {self.table}"] if self.table else []
        return f"{file} has no wheel; looked for {', '.join(ways)}"


def matcher_of(inputs: Inputs) -> Matcher:
    """The matcher of these inputs; all that is wrong with what was named for all files is told here.

    Raises
    ------
    TensionearError
        A wheel file, folder or table that is missing or broken.
    """
    from tensionear.loading import load_wheel

    if inputs.wheel is not None and inputs.wheels is not None:
        raise UsageError("--wheel and --wheels are both given; give one file for all, or a folder to choose from")
    if inputs.wheel is not None:
        load_wheel(inputs.wheel)
    stems = {} if inputs.wheels is None else _stems(Path(inputs.wheels))
    entries: dict[str, Entry] = {}
    bare: dict[str, Entry] = {}
    if inputs.table is not None:
        folder = Path(inputs.table).parent
        for entry in parse_mapping(text_in(Path(inputs.table), "table (CSV)"), inputs.table):
            file = entry.file if is_address(entry.file) else _beside(folder, entry.file)
            entries[_absolute(file)] = replace(entry, file=file)
            if "/" not in entry.file and os.sep not in entry.file:
                bare[entry.file] = entries[_absolute(file)]
    return Matcher(inputs.wheel or "", inputs.wheels or "", inputs.table or "", entries, bare, stems)


def _stems(folder: Path) -> dict[str, str]:
    if not folder.is_dir():
        raise UsageError(f"--wheels {folder} is no folder; name the folder that holds the wheel files")
    found = {path.stem.casefold(): str(path) for path in sorted(folder.rglob("*.toml"))}
    if not found:
        raise UsageError(f"--wheels {folder} holds no wheel file (*.toml); name another folder")
    return found


def jobs_of(inputs: Inputs, matcher: Matcher) -> list[Job]:
    """All jobs in order: the files of the paths, or those of the table if no path is given; none twice.

    Raises
    ------
    UsageError
        If there is nothing to read.
    """
    given = inputs.paths or tuple(entry.file for entry in matcher.entries.values())
    if not given:
        raise UsageError("no sounds given; name files, folders or patterns, or a table with --map")
    files: dict[str, str] = {}
    for path in given:
        for file in find_sounds(path):
            files.setdefault(_absolute(file), file)
    if not files:
        raise UsageError(f"{', '.join(given[:3])}: no sound file there; name another folder or a pattern")
    return [matcher.job(number, file) for number, file in enumerate(files.values(), 1)]


def unmatched(matcher: Matcher, jobs: Sequence[Job]) -> list[str]:
    """Files of the table that are not among those that are read: slips of the pen, mostly."""
    given = {_absolute(job.file) for job in jobs}
    names = {job.file.replace(os.sep, "/").rsplit("/", 1)[-1] for job in jobs}
    bare = {id(entry): name for name, entry in matcher.bare.items()}
    return [
        bare.get(id(entry), entry.file)
        for file, entry in matcher.entries.items()
        if file not in given and bare.get(id(entry)) not in names
    ]


def work_of(job: Job, known: tuple[str, ...]) -> Work:
    """The task of a job, or its row if its wheel cannot be had."""
    if not job.wheel_file:
        return failed(job, "no-wheel", job.reason)
    try:
        return Task(job, _wheel_text(job.wheel_file, _stamp(job.wheel_file)), known)
    except TensionearError as error:
        return failed(job, "wheel-file", str(error))


@lru_cache(maxsize=256)
def _wheel_text(name: str, stamp: tuple[int, int]) -> str:  # noqa: ARG001 - a changed file is another one
    return read_text(Path(name))


def _stamp(name: str) -> tuple[int, int]:
    try:
        found = os.stat(name)  # noqa: PTH116 - called for every file
    except (OSError, ValueError):
        return 0, 0
    return found.st_size, found.st_mtime_ns


def superseded(jobs: Sequence[Job], read: set[int]) -> tuple[dict[int, str], dict[int, str]]:
    """Which attempt follows which: number of a job to the file of the one after it, and of the one before it.

    Attempts are those of one wheel file, serial and state with numbers of their own. One that could not be read (whose
    number is not in ``read``) supersedes nothing; readings of the same attempt are repeats and stand beside each other.
    """
    groups: dict[tuple[str, str, str], list[Job]] = {}
    for job in jobs:
        if job.tags.serial and job.tags.attempt is not None and job.number in read:
            groups.setdefault((job.wheel_file, job.tags.serial, job.tags.state), []).append(job)
    after: dict[int, str] = {}
    before: dict[int, str] = {}
    for group in groups.values():
        ordered = sorted(group, key=lambda each: each.tags.attempt or 0)
        for job in ordered:
            later = [each for each in ordered if (each.tags.attempt or 0) > (job.tags.attempt or 0)]
            earlier = [each for each in ordered if (each.tags.attempt or 0) < (job.tags.attempt or 0)]
            if later:
                after[job.number] = later[0].file
            if earlier:
                before[job.number] = earlier[-1].file
    return after, before


def _beside(folder: Path, name: str) -> str:
    return name if Path(name).is_absolute() or str(folder) == "." else str(folder / name)


def _absolute(file: str) -> str:
    return file if is_address(file) else os.path.abspath(file)  # noqa: PTH100 - links are kept apart
