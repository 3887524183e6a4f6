"""What kind of sound file it is, told from its first bytes. Imports nothing of the package."""

from __future__ import annotations

from typing import BinaryIO

#: First bytes of the containers libsndfile reads exactly in pieces: WAVE, RF64, Wave64, FLAC, AIFF, CAF.
_PLAIN = (b"RIFF", b"RIFX", b"RF64", b"riff", b"fLaC", b"FORM", b"caff")
#: Box types a file of the MP4 family (M4A, 3GP, QuickTime) may start with, at byte 4.
_MP4_BOXES = (b"ftyp", b"moov", b"mdat", b"wide", b"free", b"skip")
_MATROSKA = b"\x1a\x45\xdf\xa3"


def container_of(stream: BinaryIO) -> str | None:
    """Tell what a file is: ``plain``, ``ogg``, a demultiplexer of FFmpeg, or None for what is no sound known here.

    FFmpeg is always told the demultiplexer: left to guess, it takes text for playlists and opens what they name.
    """
    head = stream.read(16)
    tagged = head.startswith(b"ID3")
    if tagged:
        stream.seek(id3_length(head))
        head = stream.read(16)
    if head.startswith(_PLAIN):
        return "flac" if tagged else "plain"
    if head.startswith(b"OggS"):
        return "ogg"
    if head[4:8] in _MP4_BOXES:
        return "mov"
    if head.startswith(_MATROSKA):
        return "matroska"
    if head.startswith(b"#!AMR"):
        return "amr"
    return _mpeg_audio(head) or ("mp3" if tagged else None)


def id3_length(head: bytes) -> int:
    """Bytes of the ID3v2 tag with these first ten bytes, the last four a number of seven bits each (ID3v2.4.0, 3.1)."""
    return 10 + sum((byte & 0x7F) << shift for byte, shift in zip(head[6:10], (21, 14, 7, 0), strict=False))


def _mpeg_audio(head: bytes) -> str | None:
    """Tell MPEG audio by its frame header: ``mp3`` for layers 2 and 3, ``aac`` for ADTS (ISO/IEC 11172-3, 13818-7)."""
    if len(head) < 4 or head[0] != 0xFF or head[1] & 0xE0 != 0xE0:
        return None
    layer = head[1] >> 1 & 3
    if layer == 0:
        return "aac" if head[1] & 0xF0 == 0xF0 and head[2] >> 2 & 15 < 13 else None
    bit_rate, rate = head[2] >> 4, head[2] >> 2 & 3
    known = layer in (1, 2) and head[1] >> 3 & 3 != 1 and bit_rate != 15 and rate != 3
    return "mp3" if known else None
