"""A round that was kept pluck by pluck, read again from the sounds of its plucks. Imports records, its siblings, loading."""

from __future__ import annotations

from tensionear.calibration.use import calibrated
from tensionear.capture.plucks import Pluck
from tensionear.capture.recording import Recording
from tensionear.errors import LogError
from tensionear.listening import Listened, Strike
from tensionear.pipeline import needs_sound
from tensionear.reading import Reading
from tensionear.readings.plucks import listed
from tensionear.records.log import Log, OpenRound
from tensionear.records.sounds import sha256_of
from tensionear.records.values import Asked, KeptRound
from tensionear.wheel.wheelfile import parse_wheel

from .ear import Rehearing
from .keeping import restored
from .subject import CountSubject, Names, Subject, WheelSubject

_LAP_CLOSED = "lap-closed"


def read_plucks_again(log: Log, kept: KeptRound, asked: Asked) -> Reading:
    """Read the kept plucks of a round again, each as the spoke it was taken for, all of them together as a recording's are.

    Parameters
    ----------
    log : Log
    kept : KeptRound
        With the sounds of its plucks.
    asked : Asked
        Its wheel, as it was kept or corrected.

    Returns
    -------
    Reading
        Its warnings tell of plucks whose sound is gone or in which nothing is heard any more.

    Raises
    ------
    LogError
        If no pluck was kept with its sound, or a sound was changed.
    WheelFileError
        If today's program can no longer read its wheel file.
    """
    number = kept.row.id
    _check_sounds(log, kept)
    plucks = restored(OpenRound(log, number, kept.row.uid))
    if not any(each.sound for each in plucks):
        raise LogError(f"round {number} was kept without sound; it cannot be read again")
    subject = _subject(asked, number)
    keep = isinstance(subject, WheelSubject) and needs_sound(subject.wheel, asked.options)
    rehearing = Rehearing(subject.expectations(), keep)
    heard: list[tuple[Strike, Pluck, int]] = []
    warnings: list[str] = []
    for each in plucks:
        again = None if each.sound is None else rehearing.hear(each.sound, each.onset_s)
        if again is None or not listed(_listened(again[:1], again[1:], each.sound)):
            why = "its sound is gone" if each.sound is None else "no pluck is heard in its sound any more"
            warnings.append(f"the pluck of {subject.label(each.spoke)} at {each.onset_s:.1f} s is left out: {why}")
        else:
            heard.append((*again, each.spoke))
    last = next(each.sound for each in reversed(plucks) if each.sound is not None)
    strikes, sounds = tuple(strike for strike, _, _ in heard), tuple(sound for _, sound, _ in heard)
    listened = _listened(strikes, sounds, last, tuple(warnings))
    names = Names({index: spoke for index, (_, _, spoke) in enumerate(heard)}, _was_closed(kept))
    file = kept.reading.file if kept.reading is not None else kept.row.title
    return subject.read_named(file, listened, names, asked.options)


def _subject(asked: Asked, number: int) -> Subject:
    if asked.wheel_text is not None:
        return WheelSubject(calibrated(parse_wheel(asked.wheel_text, f"the wheel file of round {number}")))
    if asked.spokes is None:
        raise LogError(f"what round {number} is of was not kept; give its wheel file with --wheel FILE")
    return CountSubject(asked.spokes)


def _listened(
    strikes: tuple[Strike, ...], plucks: tuple[Pluck, ...], sound: Recording | None, warnings: tuple[str, ...] = ()
) -> Listened:
    """These strikes as what was heard of a recording that ends with the last of them."""
    rate_hz = 0.0 if sound is None else sound.sample_rate_hz
    duration_s = max((strike.onset_s + strike.ring_s for strike in strikes), default=0.0)
    return Listened(strikes, duration_s, rate_hz, warnings, plucks)


def _was_closed(kept: KeptRound) -> bool:
    return kept.reading is not None and any(finding.code == _LAP_CLOSED for finding in kept.reading.findings)


def _check_sounds(log: Log, kept: KeptRound) -> None:
    """LogError for a sound that is not what was kept."""
    digests = log.pluck_sha256s(kept.row.id)
    for each in kept.plucks:
        path = None if each.sound is None else log.sound_path(each.sound)
        if path is not None and path.is_file() and sha256_of(path) != digests[each.number]:
            raise LogError(f"{path} was changed since it was kept; bring it back from a backup, or remove it")
