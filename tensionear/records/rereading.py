"""Yesterday's sound read by today's model. Imports the log, the wheel file, the library and the pipeline."""

from __future__ import annotations

from dataclasses import replace

from tensionear.calibration.use import calibrated
from tensionear.catalogue import library_spoke
from tensionear.errors import LogError, UsageError
from tensionear.pipeline import read
from tensionear.reading import Reading
from tensionear.wheel.sheetfile import parse_sheet
from tensionear.wheel.wheelfile import parse_wheel
from tensionear.wheel.writer import wheel_toml

from .log import Log
from .sounds import sha256_of
from .values import Asked, KeptRound


def with_wheel(asked: Asked, text: str, number: int) -> Asked:
    """What was asked of a round, with a corrected wheel file in the place of what was known of the wheel.

    Raises
    ------
    UsageError
        If the round is of single plucks, or of another number of spokes.
    WheelFileError
        If it is no wheel file.
    """
    if asked.kind is not None:
        raise UsageError(f"round {number} is of single plucks of {asked.kind}; a wheel file has no use there")
    spokes = parse_wheel(text, "the wheel file").spokes
    before = asked.spokes
    if asked.wheel_text is not None:
        before = parse_wheel(asked.wheel_text, f"the wheel file of round {number}").spokes
    if before is not None and before != spokes:
        raise UsageError(
            f"the wheel file has {spokes} spokes, round {number} is of {before}; give the file of its wheel"
        )
    return replace(asked, wheel_text=text, spokes=None)


def read_again(log: Log, kept: KeptRound, asked: Asked) -> Reading:
    """Read a round's sound again as it was read then, by today's program, library, model and calibrations.

    ``asked`` is what was asked of it, as it was kept or corrected.

    Raises
    ------
    LogError
        If the round has no sound of the whole round, or it is gone or changed.
    WheelFileError, SoundError
        If today's program can no longer read its wheel file or sound.
    """
    number = kept.row.id
    if kept.sound is None:
        raise LogError(f"round {number} was kept without the sound of the whole round; it cannot be read again")
    path = log.sound_path(kept.sound)
    if not path.is_file():
        raise LogError(f"{path}, the sound of round {number}, is gone; bring it back from a backup or an archive")
    if sha256_of(path) != log.sound_sha256(number):
        raise LogError(
            f"{path}, the sound of round {number}, was changed since it was kept; bring it back from a backup"
        )
    wheel = None if asked.wheel_text is None else parse_wheel(asked.wheel_text, f"the wheel file of round {number}")
    sheet = None
    if wheel is not None and kept.sheet:
        sheet = parse_sheet(wheel_toml({"format": 1, **kept.sheet}), f"the sheet of round {number}", wheel)
    return read(
        path,
        wheel=None if wheel is None else calibrated(wheel),
        spoke=None if asked.kind is None else library_spoke(asked.kind),
        free_length_m=asked.free_length_m,
        spokes=asked.spokes,
        first=asked.first,
        options=asked.options,
        sheet=sheet,
    )
