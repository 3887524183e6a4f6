"""MP3, M4A/AAC, 3GP and WebM recordings, block by block through PyAV. Imports capture and errors only.

PyAV is handed an opened file and the name of the demultiplexer: given a path, FFmpeg would take it for a URL.
Nothing is resampled.
"""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from tensionear.errors import SoundError

from .checks import check_rate, checked
from .grid import gathered
from .probe import id3_length
from .recording import AudioSource, Samples

if TYPE_CHECKING:
    from av.audio.frame import AudioFrame
    from av.audio.stream import AudioStream
    from av.container import InputContainer
    from av.packet import Packet

#: Containers shorter than stated by more than this were cut off; coders pad and trim by less.
_SHORT_BY_S = 0.25
#: MP3 states its length in a first frame marked so; without it FFmpeg only guesses.
_LENGTH_MARKS = (b"Xing", b"Info", b"VBRI")


@dataclass(frozen=True, slots=True)
class MediaSource:
    """A file that FFmpeg decodes; ``stated_s`` is the length its container promises, None where it does not say."""

    path: Path
    name: str
    container: str
    sample_rate_hz: float
    channels: int
    stated_s: float | None
    _notes: list[str] = field(default_factory=list, repr=False)

    def blocks(self) -> Iterator[Samples]:
        """Yield the sound in blocks of about a second, shape (frames, channels), checked (see ``checks.checked``)."""
        return checked(self._read(), self.name, self.sample_rate_hz)

    def notes(self) -> tuple[str, ...]:
        """Whether the file ends early or has broken parts, known once ``blocks`` has run out."""
        return tuple(self._notes)

    def _read(self) -> Iterator[Samples]:
        self._notes.clear()
        total = 0
        for block in gathered(self._pieces(), int(self.sample_rate_hz)):
            total += len(block)
            yield block
        length_s = total / self.sample_rate_hz
        if self.container == "ogg":  # comes this way only when it was not closed
            self._notes.append(f"the file was never finished and ends early, after {length_s:.1f} s")
        elif self.stated_s is not None and 0.0 < length_s < self.stated_s - _SHORT_BY_S:
            self._notes.append(
                f"the file ends early: {length_s:.1f} s of the {self.stated_s:.1f} s its header states could be read"
            )

    def _pieces(self) -> Iterator[Samples]:
        """Decode frame by frame; a coding that changes on the way is refused."""
        decoded = _Decoded()
        with _opened(self.path, self.name, self.container) as media:
            for frame in decoded.frames(media, self.name):
                if (float(frame.sample_rate), len(frame.layout.channels)) != (self.sample_rate_hz, self.channels):
                    raise SoundError(f"{self.name} changes its sample rate or channels on the way; convert it to WAV")
                yield _samples(frame)
        if decoded.broken_inside:
            self._notes.append(f"the file is damaged: {decoded.broken_inside} piece(s) of it are left out")
        elif decoded.broken_since and self.stated_s is None:
            self._notes.append("the file ends early: its end cannot be decoded")


@dataclass(slots=True)
class _Decoded:
    """Counts pieces that could not be decoded: between good ones, and since the last good one."""

    broken_inside: int = 0
    broken_since: int = 0
    started: bool = False

    def frames(self, media: InputContainer, name: str) -> Iterator[AudioFrame]:
        """Decode the sound track, flushed at its end; pieces before the first good one are the coder's own affair."""
        import av

        packets = media.demux(media.streams.audio[0])
        while (packet := _next_packet(packets, name)) is not None:
            try:
                frames = packet.decode()
            except av.FFmpegError:
                self.broken_since += self.started
                continue
            if frames:
                self.broken_inside += self.broken_since
                self.broken_since = 0
                self.started = True
            yield from frames


def _next_packet(packets: Iterator[Packet[AudioStream]], name: str) -> Packet[AudioStream] | None:
    """Read on; None at the end, or where the container is too broken to go on."""
    import av

    try:
        return next(packets, None)
    except av.error.InvalidDataError:
        return None
    except (av.FFmpegError, OSError) as error:
        raise SoundError(f"{name} can no longer be read ({error.strerror}); check the disk") from None


def open_media(path: Path, name: str, container: str) -> AudioSource:
    """Open a file for FFmpeg's demultiplexer ``container`` and decode its first frame, which alone tells the truth.

    Raises
    ------
    SoundError
        Not finished, broken, without sound, or a sample rate that is not read.
    """
    with _opened(path, name, container) as media:
        if not media.streams.audio:
            raise SoundError(f"{name} holds no sound track; name a file with sound")
        track = media.streams.audio[0]
        stated_s: float | None = None
        if track.duration is not None and track.time_base is not None:
            stated_s = float(track.duration * track.time_base)
        elif media.duration is not None:
            stated_s = media.duration / 1e6
        first = next(_Decoded().frames(media, name), None)
        if first is None:
            raise SoundError(f"{name} holds no sound that can be decoded; record again, or convert it to WAV")
        rate_hz, channels = float(first.sample_rate), len(first.layout.channels)
    check_rate(name, rate_hz)
    if container == "aac" or (container == "mp3" and not _states_length(path)):
        stated_s = None
    return MediaSource(path, name, container, rate_hz, channels, stated_s)


@contextmanager
def _opened(path: Path, name: str, container: str) -> Iterator[InputContainer]:
    """Open with FFmpeg silenced; its own log would land on the screen."""
    import av

    av.logging.set_level(None)
    try:
        stream = path.open("rb")
    except OSError as error:
        raise SoundError(f"{name} can no longer be read ({error.strerror}); check the disk") from None
    with stream:
        try:
            media = av.open(stream, mode="r", format=container, metadata_errors="replace")
        except (av.FFmpegError, OSError):
            reason = "a phone or program that stops too early leaves such a file" if container == "mov" else "damaged"
            raise SoundError(
                f"{name} is broken or was never finished ({reason}); record again, or export it anew from the recorder"
            ) from None
        with media:
            yield media


def _samples(frame: AudioFrame) -> Samples:
    """One decoded frame as float32, shape (frames, channels), full scale 1.0."""
    raw = frame.to_ndarray()
    channels = len(frame.layout.channels)
    shaped = raw.T if frame.format.is_planar else raw.reshape(-1, channels)
    if raw.dtype.kind == "f":
        return np.array(shaped, dtype=np.float32)
    bits = 8 * raw.dtype.itemsize
    middle = 0.5 if raw.dtype.kind == "u" else 0.0
    return (shaped / 2.0 ** (bits - 1) - 2.0 * middle).astype(np.float32)


def _states_length(path: Path) -> bool:
    """Tell whether an MP3 states its own length."""
    with path.open("rb") as stream:
        head = stream.read(10)
        if head.startswith(b"ID3"):
            stream.seek(id3_length(head))
        start = stream.read(4096)
    return any(mark in start for mark in _LENGTH_MARKS)
