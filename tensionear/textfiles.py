"""Text files opened with bounds: no pipe that never ends, no disk image taken for a table. Imports errors."""

from __future__ import annotations

import stat
from pathlib import Path

from .errors import InputError

#: A table of all wheels of a year stays below; more is another file taken for one, or would not fit into memory.
MOST_BYTES = 50_000_000


def check_regular(path: Path, what: str) -> None:
    """InputError for what could be waited for without end: a pipe, a device, a socket; a file that is missing passes."""
    if path.exists() and not path.is_file():
        kind = "a directory" if path.is_dir() else "no regular file (a pipe, device or socket)"
        raise InputError(f"{path} is {kind}; name a {what}")


def text_in(path: Path, what: str, most_bytes: int = MOST_BYTES) -> str:
    """The text of a file without its byte order mark.

    Parameters
    ----------
    path : Path
    what : str
        What it should be, for messages: ``table (CSV)``.
    most_bytes : int
        Files above this are not read.

    Raises
    ------
    InputError
        If it is no regular file, is too large, cannot be read, or is no text in UTF-8.
    """
    try:
        status = path.stat()
        if not stat.S_ISREG(status.st_mode):
            kind = "a directory" if stat.S_ISDIR(status.st_mode) else "no regular file (a pipe, device or socket)"
            raise InputError(f"{path} is {kind}; name a {what}")
        if status.st_size > most_bytes:
            raise InputError(f"{path}: {status.st_size} bytes given; at most {most_bytes} are read; name a {what}")
        return path.read_bytes().decode("utf-8-sig")
    except UnicodeDecodeError as error:
        raise InputError(
            f"{path} is not a text file in UTF-8 (at byte {error.start}); save the {what} in UTF-8"
        ) from None
    except (OSError, ValueError) as error:
        reason = getattr(error, "strerror", None) or str(error)
        raise InputError(f"{path} cannot be read ({reason}); check the name of the {what}") from None
