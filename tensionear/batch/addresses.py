"""Where sounds are: on this machine, or at an address that fsspec opens. Imports errors.

An address has ``://`` in it (``s3://...``, ``https://...``, ``memory://...``); all else is a path. fsspec is loaded only
for addresses.
"""

from __future__ import annotations

import glob
import hashlib
import os
import tempfile
import time
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path, PurePosixPath
from typing import Any

from tensionear.errors import SoundError, UsageError

#: Endings by which a folder's sounds are found; a file that is named itself may have any.
SUFFIXES = frozenset(
    (
        *(".wav", ".wave", ".rf64", ".w64", ".flac", ".ogg", ".oga", ".opus", ".aif", ".aiff", ".caf"),
        *(".mp3", ".m4a", ".mp4", ".aac", ".3gp", ".webm", ".mka", ".amr"),
    )
)
_BLOCK = 1 << 20
_TRIES, _PAUSE_S = 3, 0.5


@dataclass(frozen=True, slots=True)
class Fetched:
    """A sound at hand: a path to open, the SHA-256 of its bytes, and when it was last changed (UTC, empty if unknown)."""

    path: Path
    sha256: str
    changed: str


def is_address(name: str) -> bool:
    """Whether fsspec is needed to open it."""
    return "://" in name


def find_sounds(given: str) -> list[str]:
    """The sounds that a file, folder (with all below it) or pattern stands for, in order of their names.

    A name without pattern signs is taken as it is, whether it exists or not.

    Raises
    ------
    UsageError
        For a pattern that fits no file, or an address that cannot be listed.
    """
    if is_address(given):
        return _find_at_address(given)
    path = Path(given)
    if path.is_dir():
        return sorted(_walked(path))
    if glob.has_magic(given) and not path.exists():
        found = sorted(each for each in glob.glob(given, recursive=True) if Path(each).is_file())  # noqa: PTH207 - keeps "./"
        if not found:
            raise UsageError(f"{given} fits no file; check the pattern, or name a folder")
        return found
    return [given]


def is_sound_name(name: str) -> bool:
    """Whether a file in a folder is taken for a sound: a known ending, not hidden."""
    last = PurePosixPath(name.replace(os.sep, "/")).name
    return not last.startswith(".") and PurePosixPath(last).suffix.lower() in SUFFIXES


def _walked(folder: Path) -> Iterator[str]:
    for where, folders, names in os.walk(folder):
        folders[:] = sorted(name for name in folders if not name.startswith("."))
        yield from (os.path.join(where, name) for name in names if is_sound_name(name))  # noqa: PTH118 - keeps "./"


def _find_at_address(given: str) -> list[str]:
    files, path = _opened(given)
    try:
        if glob.has_magic(path):
            names = [str(each) for each in files.glob(path)]
        elif is_sound_name(path) or not files.isdir(path):
            return [given]
        else:
            names = [str(each) for each in files.find(path)]
    except Exception as error:  # noqa: BLE001 - file systems of fsspec raise errors of their libraries
        raise UsageError(f"{given} cannot be listed ({_reason(error)}); check the address") from None
    found = sorted(str(files.unstrip_protocol(name)) for name in names if is_sound_name(name))
    if not found:
        raise UsageError(f"{given}: no sound file there; check the address")
    return found


def _opened(address: str) -> tuple[Any, str]:
    """The file system of an address, and the path in it."""
    try:
        import fsspec
    except ImportError:
        raise UsageError(
            f"{address} needs fsspec, which is not installed; run: pip install 'tensionear[cluster]'"
        ) from None
    try:
        files, path = fsspec.core.url_to_fs(address)
    except (ImportError, ValueError, OSError) as error:
        raise UsageError(f"{address}: no such kind of address can be opened ({_reason(error)})") from None
    return files, str(path)


@contextmanager
def fetched(address: str) -> Iterator[Fetched]:
    """A sound at hand: itself where it is a path, else a copy that is gone afterwards.

    Raises
    ------
    SoundError
        If it cannot be read.
    """
    if not is_address(address):
        yield _local(address)
        return
    with tempfile.TemporaryDirectory(prefix="tensionear-") as folder:
        path = Path(folder) / f"sound{PurePosixPath(address).suffix[:8]}"
        for left in reversed(range(_TRIES)):
            try:
                found = _copied(address, path)
                break
            except FileNotFoundError:
                raise SoundError(f"{address} does not exist; check the address") from None
            except Exception as error:  # noqa: BLE001 - as above
                if not left:
                    raise SoundError(f"{address} cannot be fetched ({_reason(error)}); try again later") from None
                time.sleep(_PAUSE_S * (_TRIES - left))
        yield found


def _local(name: str) -> Fetched:
    path = Path(name)
    try:
        if not path.exists():
            raise SoundError(f"{name} does not exist; check the name")
        if not path.is_file():
            raise SoundError(f"{name} is no regular file; name sound files")
        changed = datetime.fromtimestamp(path.stat().st_mtime, UTC).isoformat(timespec="seconds")
        with path.open("rb") as file:
            return Fetched(path, hashlib.file_digest(file, "sha256").hexdigest(), changed)
    except (OSError, ValueError) as error:
        raise SoundError(f"{name} cannot be opened ({_reason(error)}); check it and its permissions") from None


def _copied(address: str, path: Path) -> Fetched:
    """Copy block by block, so that no sound is in memory as a whole."""
    files, there = _opened(address)
    digest = hashlib.sha256()
    with files.open(there, "rb") as source, path.open("wb") as target:
        while block := source.read(_BLOCK):
            digest.update(block)
            target.write(block)
    return Fetched(path, digest.hexdigest(), "")


def _reason(error: BaseException) -> str:
    return getattr(error, "strerror", None) or str(error) or type(error).__name__
