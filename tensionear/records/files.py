"""Files written whole or not at all. Imports errors and sounds' way of syncing."""

from __future__ import annotations

import os
import secrets
from pathlib import Path

from tensionear.errors import InputError

from .sounds import sync_folder


def write_whole(path: Path, content: bytes) -> None:
    """Write a file so that there is either the old or the whole new one, whatever happens.

    Raises
    ------
    InputError
        If it cannot be written.
    """
    part = path.with_name(f".{path.name}.{secrets.token_hex(3)}.part")
    try:
        if path.exists() and not path.is_file():  # a device or a pipe is written to, not replaced
            path.write_bytes(content)
            return
        try:
            with part.open("xb") as file:
                file.write(content)
                file.flush()
                os.fsync(file.fileno())
            part.replace(path)
        finally:
            part.unlink(missing_ok=True)
        sync_folder(path.parent)
    except (OSError, ValueError) as error:
        reason = getattr(error, "strerror", None) or str(error)
        raise InputError(
            f"{path} cannot be written ({reason}); check the name, the folder and the free space"
        ) from None
