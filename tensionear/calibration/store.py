"""Where calibration records lie: one TOML file a version, never written over. Imports records; opens files."""

from __future__ import annotations

import os
import re
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from tensionear.data import user_folder
from tensionear.errors import InputError
from tensionear.textfiles import text_in
from tensionear.texts import toml_from
from tensionear.wheel.writer import wheel_toml

from .checking import check_document
from .records import FORMAT, Document

_FILE = re.compile(r"(?P<name>[a-z0-9][a-z0-9.-]*)\.v(?P<version>\d+)\.toml")
_TRIES = 1000
_NEEDED = ("format", "how", "name", "date", "measured_by", "program", "note", "data", "result")


@dataclass(frozen=True, slots=True, eq=False)
class Record:
    """A kept calibration: its file, version and document."""

    path: Path
    version: int
    document: Document

    @property
    def name(self) -> str:
        """What wheel files call it."""
        return str(self.document["name"])

    @property
    def in_words(self) -> str:
        """Name, version and day."""
        return f"{self.name} (version {self.version}, {self.document['date']})"


def usual_folder() -> Path:
    """Where they are: ``TENSIONEAR_CALIBRATIONS`` if set, else ``calibrations`` in the user's data folder."""
    there = os.environ.get("TENSIONEAR_CALIBRATIONS")
    if there:
        return Path(there)
    return user_folder("TENSIONEAR_CALIBRATIONS") / "calibrations"


def name_from(words: str) -> str:
    """A record's name from any words: lower case letters, digits and hyphens."""
    return re.sub(r"[^a-z0-9.]+", "-", words.casefold()).strip("-.") or "calibration"


def keep(document: Document) -> Record:
    """Write a record as the next version of its name.

    Raises
    ------
    InputError
        If it cannot be written.
    """
    folder = usual_folder()
    content = wheel_toml(document).encode("utf-8")
    try:
        folder.mkdir(parents=True, exist_ok=True)
        last = max((each for each, _ in _versions(folder, str(document["name"]))), default=0)
        for version in range(last + 1, last + _TRIES):
            path = folder / f"{document['name']}.v{version}.toml"
            try:
                with path.open("xb") as file:  # never over another, whoever writes at the same time
                    file.write(content)
                    file.flush()
                    os.fsync(file.fileno())
            except FileExistsError:
                continue
            return Record(path, version, document)
    except OSError as error:
        raise InputError(
            f"{folder}: cannot be written: {error.strerror}; set TENSIONEAR_CALIBRATIONS to another folder"
        ) from None
    raise InputError(f"{folder} has {_TRIES} newer versions of {document['name']}; give another --name")


def latest() -> tuple[tuple[Record, ...], tuple[str, ...]]:
    """The latest version of every record by name, and what could not be read, in words."""
    try:
        folder = usual_folder()
    except InputError:  # no home, hence nothing kept there
        return (), ()
    if not folder.is_dir():
        return (), ()
    newest: dict[str, tuple[int, Path]] = {}
    for path in folder.iterdir():
        found = _FILE.fullmatch(path.name)
        if found and int(found["version"]) > newest.get(found["name"], (0, path))[0]:
            newest[found["name"]] = (int(found["version"]), path)
    records, broken = [], []
    for _, (version, path) in sorted(newest.items()):
        try:
            records.append(load(path, version))
        except InputError as error:
            broken.append(str(error))
    return tuple(records), tuple(broken)


def find(name: str) -> Record:
    """The latest version of a record by name; InputError if there is none."""
    versions = _versions(usual_folder(), name)
    if not versions:
        known = sorted({match["name"] for path in _files(usual_folder()) if (match := _FILE.fullmatch(path.name))})
        there = f"there are: {', '.join(known)}" if known else "there are none yet"
        raise InputError(f"no calibration {name!r} in {usual_folder()}; {there}")
    version, path = max(versions)
    return load(path, version)


def load(path: Path, version: int) -> Record:
    """A record from its file; InputError if it is no such file."""
    try:
        document: dict[str, Any] = toml_from(text_in(path, "calibration"))
    except (InputError, ValueError) as error:
        raise InputError(f"{path}: no readable calibration ({error}); move it away or mend it") from None
    lacks = [key for key in _NEEDED if key not in document]
    if lacks or document["format"] != FORMAT:
        what = (
            f"lacks {', '.join(lacks)}" if lacks else f"is of format {document['format']}, this program reads {FORMAT}"
        )
        raise InputError(f"{path}: {what}; move it away or mend it")
    try:
        check_document(document)
    except (ValueError, KeyError, TypeError, AttributeError, InputError) as error:
        raise InputError(f"{path}: no readable calibration ({error}); move it away or mend it") from None
    return Record(path, version, document)


def _files(folder: Path) -> list[Path]:
    return list(folder.iterdir()) if folder.is_dir() else []


def _versions(folder: Path, name: str) -> list[tuple[int, Path]]:
    found = [(_FILE.fullmatch(path.name), path) for path in _files(folder)]
    return [(int(match["version"]), path) for match, path in found if match and match["name"] == name]
