"""One task, wherever it runs: the sound at hand, read as its wheel, made a row. Imports the pipeline when it runs.

Numbers are rounded here to digits far below their uncertainty, so that machines that differ in the last bits of a sine write
the same rows.
"""

from __future__ import annotations

import hashlib
from dataclasses import replace
from functools import lru_cache
from pathlib import Path
from typing import TYPE_CHECKING, cast

from tensionear.errors import DeviceError, InputError, SoundError, TensionearError, UsageError, WheelFileError
from tensionear.options import RoundOptions
from tensionear.reading import Reading

from .addresses import Fetched, fetched, is_address
from .values import AGES, TYRES, Answer, Job, ReasonCode, Row, Task, Unchanged, failed, one_line

if TYPE_CHECKING:
    from tensionear.wheel.model import Age, Tyre, Wheel

#: Part of every key: rows of another form are read again.
FORMAT = "tensionear.batch/1"


def read_task(task: Task) -> Answer:
    """Read one file; whatever goes wrong becomes its row, never an exception."""
    job = task.job
    try:
        with fetched(job.file) as sound:
            key = key_of(task, sound.sha256)
            if key in task.known:
                return Unchanged(job.number, job.file, key)
            try:
                row = _read(task, sound)
            except (TensionearError, MemoryError) as error:
                row = failed(job, _code(error), _told(error, sound, job))
            return replace(row, recorded=row.recorded or sound.changed, sound_sha256=sound.sha256, key=key)
    except TensionearError as error:
        return failed(job, "address" if is_address(job.file) else "sound", str(error))
    except Exception as error:  # noqa: BLE001 - a fault met in one file must not take the others along
        return failed(job, "error", f"{type(error).__name__}: {error}; read it alone with --debug to see where")


def key_of(task: Task, sound_sha256: str) -> str:
    """What a row depends on, as 32 hexadecimal digits: the sound, the wheel, how it was plucked, and the model."""
    from tensionear.records.versions import model_version

    job = task.job
    said = (FORMAT, model_version(), sound_sha256, task.wheel_text, job.first, job.order, job.direction, job.tags.state)
    return hashlib.sha256(repr(said).encode()).hexdigest()[:32]


def _read(task: Task, sound: Fetched) -> Row:
    from tensionear.pipeline import read

    job = task.job
    before = _stamp(sound.path)
    wheel = _as_it_was(_wheel(task.wheel_text, job.wheel_file), job.tags.state)
    reading = read(sound.path, wheel=wheel, first=job.first, options=RoundOptions(job.order, job.direction))
    if _stamp(sound.path) != before:
        return failed(job, "changed", f"{job.file} was changed while it was read; run again when it is complete")
    return row_of(job, reading, wheel.name, hashlib.sha256(task.wheel_text.encode()).hexdigest())


@lru_cache(maxsize=32)
def _wheel(text: str, name: str) -> Wheel:
    from tensionear.wheel.wheelfile import parse_wheel

    return parse_wheel(text, name)


def _as_it_was(wheel: Wheel, state: str) -> Wheel:
    """The wheel in the state the table tells, where that is one the reading knows."""
    if state in TYRES and state != wheel.state.tyre:
        return replace(wheel, state=replace(wheel.state, tyre=cast("Tyre", state), pressure_pa=None))
    if state in AGES:
        return replace(wheel, state=replace(wheel.state, age=cast("Age", state)))
    return wheel


def row_of(job: Job, reading: Reading, wheel: str, wheel_sha256: str) -> Row:
    """The row of a reading."""
    from tensionear.records.versions import model_version, program_version

    right, left = (reading.sides.get(side) for side in ("right", "left"))
    spokes, limits = reading.spokes, reading.limits
    return Row(
        number=job.number,
        file=job.file,
        status="read",
        verdict=reading.verdict,
        probability_within=_rounded(reading.probability_within, 4),
        wheel=one_line(wheel),
        first=job.first,
        order=job.order,
        direction=job.direction,
        duration_s=_rounded(reading.duration_s, 3),
        sample_rate_hz=_rounded(reading.sample_rate_hz, 3),
        plucks=len(reading.plucks),
        plucks_used=sum(pluck.used for pluck in reading.plucks),
        spokes=len(spokes),
        spokes_read=sum(spoke.tension_n is not None for spoke in spokes),
        right_mean_n=None if right is None else _rounded(right.mean_n, 2),
        right_u_mean_n=None if right is None else _rounded(right.u_mean_n, 2),
        right_spread_percent=None if right is None else _rounded(right.spread_percent, 3),
        right_verdict=None if right is None else right.verdict,
        right_target_n=limits.target_n.get("right"),
        left_mean_n=None if left is None else _rounded(left.mean_n, 2),
        left_u_mean_n=None if left is None else _rounded(left.u_mean_n, 2),
        left_spread_percent=None if left is None else _rounded(left.spread_percent, 3),
        left_verdict=None if left is None else left.verdict,
        left_target_n=limits.target_n.get("left"),
        evenness_limit_percent=limits.evenness_percent,
        level_limit_percent=limits.level_percent,
        max_tension_n=limits.max_tension_n,
        floor_n=limits.floor_n,
        spokes_out=tuple(one_line(spoke.label) for spoke in spokes if spoke.verdict == "out"),
        findings=tuple(dict.fromkeys(finding.code for finding in reading.findings)),
        warnings=tuple(one_line(text) for text in reading.warnings),
        tension_n=tuple(_rounded(spoke.tension_n, 2) for spoke in spokes),
        u_tension_n=tuple(_rounded(spoke.u_tension_n, 2) for spoke in spokes),
        deviation_percent=tuple(_rounded(spoke.deviation_percent, 3) for spoke in spokes),
        wheel_sha256=wheel_sha256,
        program=program_version(),
        model=model_version(),
    ).tagged(job)


def _rounded(value: float | None, digits: int) -> float | None:
    """A number in few digits, minus zero as zero."""
    return None if value is None else round(float(value), digits) + 0.0


def _stamp(path: Path) -> tuple[int, int]:
    found = path.stat()
    return found.st_size, found.st_mtime_ns


def _code(error: Exception) -> ReasonCode:
    kinds = (
        (SoundError, "sound"), (WheelFileError, "wheel-file"), (UsageError, "options"), (DeviceError, "device"),
        (InputError, "options"),
    )  # fmt: skip
    return cast(ReasonCode, next((code for kind, code in kinds if isinstance(error, kind)), "error"))


def _told(error: Exception, sound: Fetched, job: Job) -> str:
    """What an error says, with the name the user knows in place of a copy's."""
    said = str(error) or "not enough memory for this file"
    return said.replace(str(sound.path), job.file)
