"""Which program and which model read a round. Imports data and errors."""

from __future__ import annotations

import hashlib
from functools import cache
from pathlib import Path

from tensionear.data import data_file
from tensionear.errors import InputError

_PACKAGE = Path(__file__).resolve().parents[1]
#: All that a reading follows from.
_PARTS = ("capture", "pitch", "physics", "wheel", "readings")
_FILES = ("listening.py", "pipeline.py", "catalogue.py")
_DATA = ("materials.toml", "spokes.toml", "rims.toml")


def program_version() -> str:
    """The version of the program."""
    from tensionear import __version__

    return __version__


@cache
def model_version() -> str:
    """The first 12 hexadecimal digits of a SHA-256 over the code and data that turn sound into tension.

    Two rounds of the same model version were read alike; for others ``tensionear log reread`` reads the older one again.
    """
    files = [path for part in _PARTS for path in sorted((_PACKAGE / part).rglob("*.py"))]
    files += [_PACKAGE / name for name in _FILES]
    for name in _DATA:
        try:
            files.append(data_file("calibration", name))
        except InputError:
            continue
    digest = hashlib.sha256()
    for path in files:
        if path.is_file():
            digest.update(path.name.encode() + b"\0" + path.read_bytes())
    return digest.hexdigest()[:12]
