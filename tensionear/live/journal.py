"""A round kept on disk as it grows: a folder with a journal, a line an entry, and the sound of each pluck. Imports keeping.

A line is written after all it speaks of, and synced; a line that was cut off by a power cut or a kill is not counted. So
what the program has said to be accepted can always be read again.
"""

from __future__ import annotations

import contextlib
import errno
import json
import os
import re
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import numpy as np

from tensionear.capture.plucks import Pluck
from tensionear.errors import UsageError
from tensionear.reading import Reading

from .events import Value
from .keeping import KeptPluck

FORMAT = "tensionear.journal/1"
_JOURNAL = "journal.jsonl"
_HOME = "TENSIONEAR_HOME"
_SCALE = 2**23  # sound is kept in 24 bit


@dataclass(frozen=True, slots=True)
class About:
    """Which round this is."""

    title: str
    spokes: int
    file: str
    plucks: int


@dataclass(frozen=True, slots=True)
class Kept:
    """A round as it was kept: its plucks in order of time, the notes by spoke, and whether it had come to its end."""

    about: About
    plucks: tuple[KeptPluck, ...]
    notes: tuple[tuple[int, str], ...]
    ended: bool


def rounds_folder() -> Path:
    """Where rounds are kept; the environment variable TENSIONEAR_HOME names another place."""
    from platformdirs import user_data_path

    named = os.environ.get(_HOME)
    return (Path(named) if named else user_data_path("tensionear")) / "rounds"


def latest_unfinished(folder: Path, title: str, spokes: int) -> Path:
    """The round of this wheel that was begun last and not ended.

    Raises
    ------
    UsageError
        If there is none.
    """
    for path in sorted(folder.glob("*/" + _JOURNAL), reverse=True):
        kept = load(path.parent)
        if kept is not None and (kept.about.title, kept.about.spokes) == (title, spokes) and not kept.ended:
            return path.parent
    raise UsageError(f"no unfinished round of {title} with {spokes} spokes in {folder}; begin one without --resume")


class Journal:
    """Keeps a round in a folder of its own.

    Parameters
    ----------
    folder : Path
        Made if it is not there; continued if it is.
    about : About
    with_sound : bool
        Whether the sound of plucks is kept too.
    """

    def __init__(self, folder: Path, about: About, with_sound: bool) -> None:
        self._folder, self._with_sound = folder, with_sound
        new = not (folder / _JOURNAL).exists()
        folder.mkdir(parents=True, exist_ok=True)
        self._whole_last_line()
        self._number = len(list(folder.glob("*.flac")))
        if new:
            self._write([{"kind": "start", "format": FORMAT, **_plain(about)}])
            _sync_folder(folder)
            _sync_folder(folder.parent)

    def accept(self, plucks: tuple[KeptPluck, ...]) -> None:
        """Sound first, then the line that speaks of it."""
        entries = []
        for each in plucks:
            name = self._sound(each.pluck) if self._with_sound else None
            entries.append(_entry(each, name))
        self._write(entries)

    def withdraw(self, spoke: int) -> None:
        """What was kept of this spoke no longer counts."""
        self._write([{"kind": "withdraw", "spoke": spoke}])

    def note(self, spoke: int, text: str) -> None:
        """Keep a note."""
        self._write([{"kind": "note", "spoke": spoke, "text": text}])

    def close(self, reading: Reading) -> None:
        """The round is over."""
        self._write([{"kind": "end", "verdict": reading.verdict}])

    def _write(self, entries: list[dict[str, Any]]) -> None:
        if not entries:
            return
        text = "".join(json.dumps(each, allow_nan=False) + "\n" for each in entries).encode()
        with (self._folder / _JOURNAL).open("ab", buffering=0) as file:
            end = file.seek(0, os.SEEK_END)
            try:
                if file.write(text) != len(text):
                    raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))
                os.fsync(file.fileno())
            except OSError:
                with contextlib.suppress(OSError):
                    file.truncate(end)
                raise

    def _sound(self, pluck: Pluck) -> str:
        import soundfile

        self._number += 1
        name = f"{self._number:04d}.flac"
        whole = np.round(pluck.samples.astype(np.float64) * _SCALE)
        samples = np.clip(whole, -_SCALE, _SCALE - 1).astype(np.int32) * 256
        with (self._folder / name).open("wb") as file:
            try:
                soundfile.write(file, samples, round(pluck.rate_hz), format="FLAC", subtype="PCM_24")
            except soundfile.LibsndfileError:
                raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC)) from None
            file.flush()
            os.fsync(file.fileno())
        return name

    def _whole_last_line(self) -> None:
        """Cut off what a kill left of a line, so that the next one starts on its own."""
        path = self._folder / _JOURNAL
        if path.exists():
            data = path.read_bytes()
            if data and not data.endswith(b"\n"):
                with path.open("r+b") as file:
                    file.truncate(data.rfind(b"\n") + 1)


def new_folder(folder: Path, title: str, now: datetime | None = None) -> Path:
    """A folder for a round that begins now."""
    moment = (now or datetime.now(UTC)).strftime("%Y%m%dT%H%M%S.%fZ")
    word = re.sub(r"[^a-z0-9]+", "-", title.lower()).strip("-")[:40]
    return folder / f"{moment}-{word}"


def load(folder: Path) -> Kept | None:
    """A kept round; None if its journal does not even say what it is."""
    about: About | None = None
    plucks: dict[float, KeptPluck] = {}
    notes: list[tuple[int, str]] = []
    ended = False
    for line in (folder / _JOURNAL).read_bytes().split(b"\n")[:-1]:
        try:
            entry = json.loads(line)
        except ValueError:
            continue
        match entry.get("kind"):
            case "start":
                about = About(entry["title"], entry["spokes"], entry["file"], entry["plucks"])
            case "pluck":
                kept = _kept(entry, folder)
                plucks[kept.onset_s] = kept
            case "withdraw":
                plucks = {onset_s: each for onset_s, each in plucks.items() if each.spoke != entry["spoke"]}
            case "note":
                notes.append((entry["spoke"], entry["text"]))
            case "end":
                ended = True
    if about is None:
        return None
    return Kept(about, tuple(plucks[onset_s] for onset_s in sorted(plucks)), tuple(notes), ended)


def _entry(kept: KeptPluck, sound: str | None) -> dict[str, Any]:
    pluck = kept.pluck
    return {
        "kind": "pluck",
        "spoke": kept.spoke,
        "onset_s": kept.onset_s,
        "value": _plain(kept.value),
        "sound": sound,
        "heard_s": pluck.onset_s,
        "lead_s": pluck.lead_s,
        "rate_hz": pluck.rate_hz,
        "novelty_db": pluck.novelty_db,
        "rise_db": pluck.rise_db,
        "clipped": pluck.clipped,
        "clipped_ring": pluck.clipped_ring,
        "gated": pluck.gated,
    }


def _kept(entry: Mapping[str, Any], folder: Path) -> KeptPluck:
    samples = np.zeros(0, np.float32)
    if entry["sound"] is not None:
        import soundfile

        with contextlib.suppress(soundfile.LibsndfileError):
            whole, _ = soundfile.read(folder / entry["sound"], dtype="int32")
            samples = (whole / 256 / _SCALE).astype(np.float32)
    pluck = Pluck(
        entry["heard_s"],
        samples,
        entry["lead_s"],
        entry["rate_hz"],
        entry["novelty_db"],
        entry["rise_db"],
        entry["clipped"],
        entry["clipped_ring"],
        entry["gated"],
    )
    return KeptPluck(entry["onset_s"], entry["spoke"], Value(**entry["value"]), pluck)


def _plain(value: About | Value) -> dict[str, Any]:
    return {name: getattr(value, name) for name in value.__dataclass_fields__}


def _sync_folder(folder: Path) -> None:
    """Make the names in a folder last, where the system can."""
    with contextlib.suppress(OSError):
        handle = os.open(folder, os.O_RDONLY)
        try:
            os.fsync(handle)
        finally:
            os.close(handle)
