"""Where the packaged data lies: the one accessor of ``calibration/`` and ``recordings_demo/``. Imports errors only."""

from __future__ import annotations

from pathlib import Path
from typing import Literal

from .errors import InputError

Folder = Literal["calibration", "recordings_demo"]

_PACKAGE = Path(__file__).resolve().parent


def data_file(folder: Folder, name: str) -> Path:
    """The path of a packaged data file.

    A built wheel carries the folders as ``tensionear/_data/FOLDER``; a checkout (and an editable install, which points
    at one) has them beside the package. The built form wins, so that a folder of the same name that some other
    distribution has put beside the installed package is never read.

    Raises
    ------
    InputError
        If the installation lacks the file.
    """
    for base in (_PACKAGE / "_data", _PACKAGE.parent):
        if (base / folder).is_dir():
            found = base / folder / name
            if found.is_file():
                return found
            break
    raise InputError(f"{folder}/{name} is missing from this installation of tensionear at {_PACKAGE}; install it again")
