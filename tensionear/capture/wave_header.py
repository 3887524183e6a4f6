"""The size a WAV header states for its sound, against what is there. Imports nothing of the package."""

from __future__ import annotations

import struct
from dataclasses import dataclass
from pathlib import Path

#: Programs that write to a pipe state a size near the largest they can, for want of the real one.
_UNKNOWN_FROM = 0x7FFF_0000


@dataclass(frozen=True, slots=True)
class SoundBytes:
    """Bytes of sound a header states (None: left open) and bytes that follow it in the file."""

    stated: int | None
    present: int


def sound_bytes(path: Path) -> SoundBytes | None:
    """Find the ``data`` chunk of a RIFF or RIFX WAVE file; None for other files or where there is no such chunk."""
    with path.open("rb") as stream:
        size = path.stat().st_size
        kind = stream.read(12)
        if kind[:4] not in (b"RIFF", b"RIFX") or kind[8:] != b"WAVE":
            return None
        number = "<I" if kind[:4] == b"RIFF" else ">I"
        while len(head := stream.read(8)) == 8:
            (stated,) = struct.unpack(number, head[4:])
            if head[:4] == b"data":
                return SoundBytes(None if stated >= _UNKNOWN_FROM else stated, size - stream.tell())
            stream.seek(stated + stated % 2, 1)
    return None
