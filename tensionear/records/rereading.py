"""Yesterday's sound read by today's model. Imports the log, the wheel file, the library and the pipeline."""

from __future__ import annotations

from tensionear.calibration.use import calibrated
from tensionear.catalogue import library_spoke
from tensionear.errors import LogError
from tensionear.pipeline import read
from tensionear.reading import Reading
from tensionear.wheel.wheelfile import parse_wheel

from .log import Log
from .sounds import sha256_of
from .values import KeptRound


def read_again(log: Log, kept: KeptRound) -> Reading:
    """Read a round's sound again as it was read then, by today's program, library, model and calibrations.

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
    asked, text = kept.asked, kept.asked.wheel_text
    return read(
        path,
        wheel=None if text is None else calibrated(parse_wheel(text, f"the wheel file of round {number}")),
        spoke=None if asked.kind is None else library_spoke(asked.kind),
        free_length_m=asked.free_length_m,
        spokes=asked.spokes,
        first=asked.first,
        options=asked.options,
    )
