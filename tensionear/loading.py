"""Opens wheel files: all that can go wrong with a path, told in one line. Imports errors; the wheel file on use."""

from __future__ import annotations

import os
import stat
from pathlib import Path
from typing import TYPE_CHECKING

from .errors import WheelFileError

if TYPE_CHECKING:
    from .wheel.model import Wheel

#: A wheel file is a page of text; more is another file taken for one.
MAX_BYTES = 1_000_000


def load_wheel(path: str | os.PathLike[str]) -> Wheel:
    """The wheel described by the file at ``path``.

    Raises
    ------
    WheelFileError
        If the file cannot be read or breaks a rule of the format: one line with the remedy.
    """
    from .wheel.wheelfile import parse_wheel

    name = os.fspath(path)
    return parse_wheel(read_text(Path(name)), name)


def read_text(path: Path) -> str:
    """The text of a wheel file, without its byte order mark; WheelFileError if it is no readable UTF-8 text file."""
    try:
        status = path.stat()
        if not stat.S_ISREG(status.st_mode):
            kind = "a directory" if stat.S_ISDIR(status.st_mode) else "no regular file"
            raise WheelFileError(f"{path}: is {kind}; name a wheel file (TOML)")
        if status.st_size > MAX_BYTES:
            raise WheelFileError(
                f"{path}: {status.st_size} bytes given; a wheel file has at most {MAX_BYTES}; name a wheel file (TOML)"
            )
        return path.read_bytes().decode("utf-8-sig")
    except UnicodeDecodeError as error:
        raise WheelFileError(f"{path}: no UTF-8 text at byte {error.start}; save it as UTF-8") from None
    except FileNotFoundError:
        raise WheelFileError(f"{path}: no such file; write one with: tensionear describe {path}") from None
    except (OSError, ValueError) as error:
        reason = getattr(error, "strerror", None) or str(error)
        raise WheelFileError(f"{path}: cannot be read: {reason}; check the path and its permissions") from None
