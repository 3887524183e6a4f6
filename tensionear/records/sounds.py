"""Sounds kept beside the log, on the disk before the log speaks of them. Imports capture and errors.

16- and 24-bit WAV becomes FLAC, which is the same samples in less room; any other file is copied as it is, since
FLAC would lose something of it or grow. Arrays become 24-bit FLAC, or 32-bit float WAV where they go beyond full scale.
"""

from __future__ import annotations

import hashlib
import os
import secrets
import shutil
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from tensionear.capture.recording import Recording
from tensionear.errors import LogError

_BLOCK = 65536
#: FLAC holds at most so many channels (RFC 9639, 9.1.3).
_FLAC_CHANNELS = 8
_SAME_IN_FLAC = {"PCM_16": "PCM_16", "PCM_24": "PCM_24"}


@dataclass(frozen=True, slots=True)
class KeptSound:
    """A sound on the disk: its path under the folder of sounds, and the SHA-256 of the file."""

    name: str
    sha256: str


def folder_of(log: Path) -> Path:
    """The folder of sounds of a log: ``rounds.sounds`` of ``rounds.sqlite``."""
    return log.with_name(f"{log.stem}.sounds")


def keep_sound(log: Path, uid: str, stem: str, sound: Path | Recording) -> KeptSound:
    """Put a sound beside the log as ``uid/stem-XXXXXX.flac`` (or another suffix), durably.

    Raises
    ------
    LogError
        If it cannot be written; nothing is left of it then.
    """
    folder = folder_of(log) / uid
    name = f"{stem}-{secrets.token_hex(3)}"
    try:
        folder.mkdir(parents=True, exist_ok=True)
        with _unfinished(folder / f"{name}.part") as part:
            suffix = _copy_file(sound, part) if isinstance(sound, Path) else _write_array(sound, part)
            digest = sha256_of(part)
            _sync_file(part)
            part.replace(folder / f"{name}{suffix}")
        for each in (folder, folder.parent, folder.parent.parent):
            sync_folder(each)
    except (OSError, RuntimeError) as error:
        reason = getattr(error, "strerror", None) or str(error)
        raise LogError(
            f"the sound could not be kept in {folder} ({reason}); free some space or name another log"
        ) from None
    return KeptSound(f"{uid}/{name}{suffix}", digest)


@contextmanager
def _unfinished(part: Path) -> Iterator[Path]:
    """A file that is removed if it is still there at the end."""
    try:
        yield part
    finally:
        part.unlink(missing_ok=True)


def _copy_file(sound: Path, part: Path) -> str:
    """Copy a sound file, as FLAC where that is the same; the suffix of what it became."""
    import soundfile

    try:
        info = soundfile.info(str(sound))
    except (OSError, RuntimeError):
        info = None
    subtype = None if info is None or info.format not in ("WAV", "WAVEX") else _SAME_IN_FLAC.get(info.subtype)
    if info is None or subtype is None or info.channels > _FLAC_CHANNELS:
        shutil.copyfile(sound, part)
        return sound.suffix.lower()
    with (
        soundfile.SoundFile(str(sound)) as source,
        soundfile.SoundFile(str(part), "w", info.samplerate, info.channels, subtype, format="FLAC") as target,
    ):
        for block in source.blocks(_BLOCK, dtype="int32"):
            target.write(block)
    return ".flac"


def _write_array(sound: Recording, part: Path) -> str:
    """Write samples; the suffix of what they became."""
    import soundfile

    samples = np.asarray(sound.samples)
    over = bool(len(samples)) and float(np.max(np.abs(samples))) > 1.0
    kind, subtype, suffix = ("WAV", "FLOAT", ".wav") if over else ("FLAC", "PCM_24", ".flac")
    soundfile.write(str(part), samples, round(sound.sample_rate_hz), subtype=subtype, format=kind)
    return suffix


def drop_sounds(log: Path, uid: str) -> None:
    """Remove all sounds of a round; what is gone already is no fault."""
    shutil.rmtree(folder_of(log) / uid, ignore_errors=True)


def sha256_of(path: Path) -> str:
    """The SHA-256 of a file, in hexadecimal."""
    with path.open("rb") as file:
        return hashlib.file_digest(file, "sha256").hexdigest()


def _sync_file(path: Path) -> None:
    with path.open("rb+") as file:
        os.fsync(file.fileno())


def sync_folder(path: Path) -> None:
    """Make the entries of a folder durable, where the system can open folders."""
    try:
        handle = os.open(path, os.O_RDONLY)
    except OSError:
        return
    try:
        os.fsync(handle)
    except OSError:
        pass
    finally:
        os.close(handle)
