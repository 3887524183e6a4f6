"""Whether an OGG file was closed by the program that wrote it. Imports nothing of the package."""

from __future__ import annotations

from pathlib import Path

#: Longest page there is (RFC 3533, section 6).
_LONGEST_PAGE = 65_307
#: Bit of the header type flag, byte 5 of a page, that marks the last page of a stream (RFC 3533, section 6).
_END_OF_STREAM = 0x04


def ogg_was_closed(path: Path) -> bool:
    """Tell whether the last page of an OGG file is marked as the end of its stream."""
    size = path.stat().st_size
    with path.open("rb") as stream:
        stream.seek(max(0, size - _LONGEST_PAGE))
        tail = stream.read()
    start = tail.rfind(b"OggS")
    return start >= 0 and len(tail) > start + 5 and bool(tail[start + 5] & _END_OF_STREAM)
