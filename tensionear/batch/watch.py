"""Folders watched for files that arrive: read once they are complete, again if they change. Imports the batch below it."""

from __future__ import annotations

import os
import time
from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass, field, replace
from pathlib import Path

from tensionear.errors import TensionearError, UsageError

from .addresses import find_sounds, is_address
from .matching import Inputs, Matcher, matcher_of, work_of
from .pool import Stop
from .results import Results
from .run import Outcome, Reader, Seen, finish, taken_in
from .values import Job, Work, job_of, shown_name

#: How often to look, and how long size and time of a file must stay as they are before it counts as complete, s.
LOOK_S, SETTLED_S = 0.25, 1.5

_Stamp = tuple[int, int]


@dataclass(slots=True)
class Watched:
    """What is known of the files of some folders: when each was seen to change last, and which were handed out as they are."""

    folders: tuple[str, ...]
    settled_s: float = SETTLED_S
    clock: Callable[[], float] = time.monotonic
    _seen: dict[str, tuple[_Stamp, float]] = field(default_factory=dict)
    _handed: dict[str, _Stamp] = field(default_factory=dict)

    def complete(self) -> list[str]:
        """Files that are complete and new or changed since they were handed out.

        A file is complete when its size and time have not changed for ``settled_s``; one that was moved here whole has an
        older time, which counts from the start.
        """
        now, found = self.clock(), []
        for name in self._files():
            try:
                status = os.stat(name)  # noqa: PTH116 - called often
            except OSError:
                continue
            stamp = (status.st_size, status.st_mtime_ns)
            old = self._seen.get(name)
            if old is None or old[0] != stamp:
                age = max(0.0, time.time() - status.st_mtime) if old is None else 0.0
                self._seen[name] = old = (stamp, now - age)
            if self._handed.get(name) != stamp and status.st_size and now - old[1] >= self.settled_s:
                self._handed[name] = stamp
                found.append(name)
        return found

    def forget(self, files: Iterable[str]) -> None:
        """Hand these out once more."""
        for file in files:
            self._handed.pop(file, None)

    def _files(self) -> Iterator[str]:
        for folder in self.folders:
            if Path(folder).is_dir():
                yield from find_sounds(folder)


def check_folders(paths: tuple[str, ...]) -> None:
    """Refuse what cannot be watched."""
    if not paths:
        raise UsageError("--watch without a folder; name the folders that files arrive in")
    for path in paths:
        if is_address(path) or not Path(path).is_dir():
            raise UsageError(f"--watch {path}: is no folder on this machine; name the folders that files arrive in")


def watch(
    inputs: Inputs, results: Results, reader: Reader, stop: Stop, seen: Seen, say: Callable[[str], None]
) -> Outcome:
    """Read files as they arrive until told to stop; then put the result in order, with the rows it had before.

    Parameters
    ----------
    inputs : Inputs
        Folders, and where wheels are found. Table and wheel files are looked up again whenever they change.
    seen, say : callable
        Told of each row; told what the user should know of a table that cannot be read just now.
    """
    desk = _Desk(inputs, say)
    for answer in reader.answers(desk.works(results, stop), stop):
        seen(*taken_in(answer, results, desk.job(answer.number)))
    return finish(desk.with_earlier(results), results, True)


class _Desk:
    """Where files that arrive are given their numbers and wheels."""

    def __init__(self, inputs: Inputs, say: Callable[[str], None]) -> None:
        self._inputs, self._say, self._said = inputs, say, ""
        self._watched = Watched(inputs.paths)
        self._matcher: Matcher | None = None
        self._stamps: tuple[_Stamp | None, ...] = ()
        self._jobs: list[Job] = []
        self._numbers: dict[str, int] = {}

    def works(self, results: Results, stop: Stop) -> Iterator[Work]:
        """A task for each file that is complete, for ever."""
        while not stop.is_set():
            matcher = self._now()
            for file in self._watched.complete() if matcher is not None else ():
                assert matcher is not None
                job = matcher.job(self._numbers.setdefault(file, len(self._jobs) + 1), file)
                if job.number > len(self._jobs):
                    self._jobs.append(job)
                self._jobs[job.number - 1] = job
                yield work_of(job, results.known(job))
            stop.wait(LOOK_S)

    def job(self, number: int) -> Job:
        """The job of a number."""
        return self._jobs[number - 1]

    def with_earlier(self, results: Results) -> list[Job]:
        """The jobs of all rows: those of earlier runs first, in their order, then those of this one."""
        own = {shown_name(job.file): job for job in self._jobs}
        earlier = [own.pop(row.file) if row.file in own else job_of(row) for row in results.rows(results.files())]
        return [replace(job, number=number) for number, job in enumerate([*earlier, *own.values()], 1)]

    def _now(self) -> Matcher | None:
        """The matcher as table and wheel files are now; None while the table cannot be read."""
        stamps = tuple(_stamp(name) for name in (self._inputs.table, self._inputs.wheels, self._inputs.wheel))
        if self._matcher is None or stamps != self._stamps:
            try:
                self._matcher = matcher_of(self._inputs)
            except TensionearError as error:
                if str(error) != self._said:
                    self._said = str(error)
                    self._say(f"waiting: {error}")
                return None
            self._stamps = stamps
            self._watched.forget(job.file for job in self._jobs if not job.wheel_file)
        return self._matcher


def _stamp(name: str | None) -> _Stamp | None:
    if name is None:
        return None
    try:
        status = os.stat(name)  # noqa: PTH116 - called often
    except OSError:
        return None
    return status.st_size, status.st_mtime_ns
