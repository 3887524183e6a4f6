"""Sound files: one door, `open_sound`, looks at the content and picks the reader. Imports capture and errors only."""

from __future__ import annotations

import os
import stat
from pathlib import Path
from typing import BinaryIO

from tensionear.errors import SoundError

from .ogg_end import ogg_was_closed
from .probe import container_of
from .recording import AudioSource

READABLE = "WAV, FLAC, OGG, MP3, M4A, AAC, 3GP and WebM are read"


def open_sound(path: str | os.PathLike[str]) -> AudioSource:
    """Open a recording; what it is, is told from its content, never from its name.

    Parameters
    ----------
    path : str or path-like
        A regular file. WAV (8, 16, 24, 32 bit, float), FLAC, OGG; MP3, M4A/AAC, 3GP, WebM; 16 kHz to 384 kHz, any
        number of channels.

    Returns
    -------
    AudioSource
        Its ``blocks`` are about a second long, may be iterated again (each opens the file anew), and raise SoundError
        for samples that are not sound and, at their end, for a recording that holds nothing but zeros.

    Raises
    ------
    SoundError
        One line: the file as given, what was found, what to do.
    """
    name = os.fspath(path)
    file = Path(path)
    with _open_regular(file, name) as stream:
        if not os.fstat(stream.fileno()).st_size:
            raise SoundError(f"{name} is empty (0 bytes); record again")
        container = container_of(stream)
    if container is None:
        raise SoundError(f"{name} is not a sound file; {READABLE}: convert it to WAV, or check the name")
    # libsndfile may find nothing in an OGG that was cut off; FFmpeg plays what is there
    if container == "plain" or (container == "ogg" and ogg_was_closed(file)):
        from .soundfile_source import open_plain

        if source := open_plain(file, name):
            return source
        container = "flac"
    from .media_source import open_media

    return open_media(file, name, container)


def _open_regular(file: Path, name: str) -> BinaryIO:
    """Open for reading; a directory, pipe, device or socket is refused without opening it, which could block."""
    try:
        mode = file.stat().st_mode
        if stat.S_ISDIR(mode):
            raise SoundError(f"{name} is a directory; name the sound files in it")
        if not stat.S_ISREG(mode):
            raise SoundError(f"{name} is not a regular file (a pipe, device or socket); save the sound to a file first")
        return file.open("rb")
    except (FileNotFoundError, NotADirectoryError):
        raise SoundError(f"{name} does not exist; check the name") from None
    except PermissionError:
        raise SoundError(f"{name} may not be read (permission denied); change its permissions") from None
    except (OSError, ValueError) as error:
        reason = getattr(error, "strerror", None) or str(error)
        raise SoundError(f"{name!r} cannot be opened ({reason}); check the name") from None
