"""Where data lies: the one accessor of the packaged ``calibration/`` and ``recordings_demo/``, and the user's own folder.

Imports errors only.
"""

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


def user_folder(variable: str) -> Path:
    """Where the user's own data lies on this system.

    Parameters
    ----------
    variable : str
        The environment variable that names another place; told in the error.

    Raises
    ------
    InputError
        If no home is known: some services and containers run as users without one.
    """
    from platformdirs import user_data_path

    try:
        found = user_data_path("tensionear", appauthor=False)
    except RuntimeError:  # newer platformdirs; older ones give a name that begins with ~
        found = Path("~")
    if not found.is_absolute():
        raise InputError(f"no home folder is known here; set {variable} to where it shall be kept, or set HOME")
    return found
