"""What a batch is made of: jobs, tasks and the rows of the result. Imports errors, options and reading only."""

from __future__ import annotations

import os
from dataclasses import dataclass, fields, replace
from typing import Literal, cast

from tensionear.options import Direction, Order
from tensionear.reading import Verdict

#: ``read``: there is a reading; ``failed``: there is none, and ``reason`` says why.
Status = Literal["read", "failed"]
#: Why a file has no reading.
ReasonCode = Literal[
    "no-wheel", "wheel-file", "address", "sound", "options", "changed", "time-limit", "crash", "device", "error"
]
#: States of a wheel that the reading knows of (``[state]`` of a wheel file); other words are kept as they are.
TYRES, AGES = ("none", "mounted", "inflated"), ("new", "relieved", "ridden")


@dataclass(frozen=True, slots=True)
class Tags:
    """What the mapping table says of a file beyond its sound; empty or None where it says nothing."""

    serial: str = ""
    station: str = ""
    operator: str = ""
    attempt: int | None = None
    state: str = ""
    recorded: str = ""


NO_TAGS = Tags()


@dataclass(frozen=True, slots=True)
class Job:
    """One file to read: its place among the inputs from 1, its address, its wheel file and how it was plucked.

    ``wheel_file`` is empty where none was found; ``reason`` then says what was looked for.
    """

    number: int
    file: str
    wheel_file: str
    first: int = 1
    order: Order = "rim"
    direction: Direction = "cw"
    tags: Tags = NO_TAGS
    reason: str = ""


@dataclass(frozen=True, slots=True)
class Task:
    """A job on its way to a worker, with all that is needed there but the sound.

    ``known`` are the keys of rows there are already: if the file has one of them, nothing is read.
    """

    job: Job
    wheel_text: str
    known: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Unchanged:
    """The answer to a task whose row is there already: the same sound, wheel, options and model."""

    number: int
    file: str
    key: str


@dataclass(frozen=True, slots=True)
class Row:
    """One line of the result: one input, read or not. None and empty where unknown.

    The lists have one entry a spoke, spoke 1 first; a spoke that was not read is None. ``key`` stands for sound, wheel,
    options and model together. ``supersedes`` and ``superseded_by`` name the file of the attempt before and after.
    """

    number: int
    file: str
    status: Status
    reason_code: ReasonCode | None = None
    reason: str = ""
    verdict: Verdict | None = None
    probability_within: float | None = None
    wheel: str = ""
    wheel_file: str = ""
    serial: str = ""
    station: str = ""
    operator: str = ""
    attempt: int | None = None
    state: str = ""
    recorded: str = ""
    supersedes: str = ""
    superseded_by: str = ""
    first: int = 1
    order: str = "rim"
    direction: str = "cw"
    duration_s: float | None = None
    sample_rate_hz: float | None = None
    plucks: int | None = None
    plucks_used: int | None = None
    spokes: int | None = None
    spokes_read: int | None = None
    right_mean_n: float | None = None
    right_u_mean_n: float | None = None
    right_spread_percent: float | None = None
    right_verdict: Verdict | None = None
    right_target_n: float | None = None
    left_mean_n: float | None = None
    left_u_mean_n: float | None = None
    left_spread_percent: float | None = None
    left_verdict: Verdict | None = None
    left_target_n: float | None = None
    evenness_limit_percent: float | None = None
    level_limit_percent: float | None = None
    max_tension_n: float | None = None
    floor_n: float | None = None
    spokes_out: tuple[str, ...] = ()
    findings: tuple[str, ...] = ()
    warnings: tuple[str, ...] = ()
    tension_n: tuple[float | None, ...] = ()
    u_tension_n: tuple[float | None, ...] = ()
    deviation_percent: tuple[float | None, ...] = ()
    sound_sha256: str = ""
    wheel_sha256: str = ""
    program: str = ""
    model: str = ""
    key: str = ""

    def tagged(self, job: Job) -> Row:
        """The row under the number, the name and the tags that a job has now."""
        tags = job.tags
        return replace(
            self, number=job.number, file=shown_name(job.file), wheel_file=shown_name(job.wheel_file),
            serial=tags.serial, station=tags.station, operator=tags.operator, attempt=tags.attempt, state=tags.state,
            recorded=tags.recorded or self.recorded, supersedes="", superseded_by="",
        )  # fmt: skip


COLUMNS: tuple[str, ...] = tuple(each.name for each in fields(Row))

Answer = Row | Unchanged
#: What a reader is handed: a task, or a row that needs no reading and is passed on as it is.
Work = Task | Row


def job_of(row: Row) -> Job:
    """The job that a row came of."""
    tags = Tags(row.serial, row.station, row.operator, row.attempt, row.state, row.recorded)
    return Job(
        row.number, row.file, row.wheel_file, row.first, cast(Order, row.order), cast(Direction, row.direction), tags
    )


def failed(job: Job, code: ReasonCode, reason: str) -> Row:
    """The row of a file without a reading."""
    row = Row(
        job.number, shown_name(job.file), "failed", code, one_line(reason),
        first=job.first, order=job.order, direction=job.direction,
    )  # fmt: skip
    return row.tagged(job)


def one_line(text: str) -> str:
    """A text without line breaks and other signs that cannot be shown."""
    return "".join(sign if sign.isprintable() else " " for sign in text).strip()


def shown_name(address: str) -> str:
    """The name of a file as text that any table can hold: bytes that are no text, and control signs, replaced."""
    text = os.fsencode(address).decode("utf-8", "replace")
    return "".join(sign if sign.isprintable() else "?" for sign in text)
