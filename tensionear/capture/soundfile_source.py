"""WAV, FLAC, OGG and kin, block by block through soundfile. Imports capture and errors only.

MP3 never comes this way: read in pieces, libsndfile gives wrong samples for variable bit rates.
"""

from __future__ import annotations

import shlex
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path

import soundfile

from tensionear.errors import SoundError

from .checks import check_length, check_rate, checked
from .grid import gathered
from .recording import Samples
from .wave_header import sound_bytes

#: Largest number of samples in a block, so that hundreds of channels need no more memory than two.
_BLOCK_SAMPLES = 2_000_000
#: A broken FLAC loses the piece in which it breaks: small enough not to matter.
_PIECE_FRAMES = 8192
#: Frame counts from here on are libsndfile's way to say "unknown".
_UNKNOWN_FRAMES = 1 << 60


@dataclass(frozen=True, slots=True)
class SoundfileSource:
    """A file that libsndfile reads; ``stated_frames`` is what its header promises, None where it does not say."""

    path: Path
    name: str
    sample_rate_hz: float
    channels: int
    stated_frames: int | None
    _notes: list[str] = field(default_factory=list, repr=False)

    def blocks(self) -> Iterator[Samples]:
        """Yield the sound in blocks of about a second, shape (frames, channels), checked (see ``checks.checked``)."""
        return checked(self._read(), self.name, self.sample_rate_hz)

    def notes(self) -> tuple[str, ...]:
        """Whether the file ends early, known once ``blocks`` has run out."""
        return tuple(self._notes)

    def _read(self) -> Iterator[Samples]:
        self._notes.clear()
        total = 0
        for block in gathered(self._pieces(), min(int(self.sample_rate_hz), _BLOCK_SAMPLES // self.channels)):
            total += len(block)
            yield block
        if self.stated_frames is not None and 0 < total < self.stated_frames:
            self._notes.append(
                f"the file ends early: {total / self.sample_rate_hz:.1f} s "
                f"of the {self.stated_frames / self.sample_rate_hz:.1f} s its header states could be read"
            )

    def _pieces(self) -> Iterator[Samples]:
        """Read until the end or to where the file is broken."""
        piece_frames = max(1, min(_PIECE_FRAMES, _BLOCK_SAMPLES // self.channels))
        if not self.path.is_file():
            raise SoundError(f"{self.name} can no longer be read (it is gone); check the disk")
        try:
            with soundfile.SoundFile(self.path) as stream:
                while len(piece := stream.read(piece_frames, dtype="float32", always_2d=True)):
                    yield piece
        except soundfile.LibsndfileError:
            return


def open_plain(path: Path, name: str) -> SoundfileSource | None:
    """Read the header of a file that libsndfile knows; None for a FLAC that leaves its length open (written to a pipe).

    Of such a file libsndfile loses the last piece.

    Raises
    ------
    SoundError
        Broken header, no sound in it, or a sample rate that is not read.
    """
    try:
        info = soundfile.info(path)
    except soundfile.LibsndfileError as error:
        reason = error.error_string.rstrip(".")
        raise SoundError(f"{name} is broken or of an unknown coding ({reason}); export or record it again") from None
    rate_hz = float(info.samplerate)
    check_rate(name, rate_hz)
    if info.frames >= _UNKNOWN_FRAMES:
        return None
    written = sound_bytes(path)
    if not info.frames:
        raise SoundError(_why_nothing(name, 0 if written is None else written.present))
    check_length(name, info.frames, rate_hz, info.channels)
    stated: int | None = info.frames
    if written is not None:
        stated = None
        if written.stated is not None and written.stated > written.present:
            stated = round(info.frames * written.stated / written.present)
    return SoundfileSource(path, name, rate_hz, info.channels, stated)


def _why_nothing(name: str, bytes_behind: int) -> str:
    """Say why a file holds no sound: never recorded, or never finished."""
    if bytes_behind < 64:
        return f"{name} holds no sound (0 samples); record again"
    return (
        f"{name} was never finished: its header states 0 bytes of sound, yet {bytes_behind} bytes follow: it stopped "
        f"before the length was written; repair it with: sox --ignore-length {shlex.quote(name)} repaired.wav"
    )
