"""The rows of an SQLite file read page by page, without the trees that lead to them. Imports nothing of the package.

Where a page is damaged that leads to others, SQLite finds none of these any more, and yet they are all there. Every page that
holds rows says so in its first byte, and so each is read by itself. The format is that of sqlite.org/fileformat2.html, of which
the sections are named here; only what a log has is read: text in UTF-8, no auto-vacuum.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field
from enum import Enum
from mmap import mmap

#: The first bytes of a file, and the size of a page where they are damaged (1.3; the default since SQLite 3.12).
MAGIC, USUAL_PAGE = b"SQLite format 3\x00", 4096
HEADER = 100
#: Kinds of pages (1.6): inner ones of an index, which hold rows too, and of a table, which hold none; leaves of both.
INNER_INDEX, INNER_TABLE, LEAF_INDEX, LEAF_TABLE = 2, 5, 10, 13
#: Bytes of a whole number by its serial type (2.1); 8 and 9 are the numbers 0 and 1.
INTEGERS = {1: 1, 2: 2, 3: 3, 4: 4, 5: 6, 6: 8}
MOST_COLUMNS = 64


class Lost(Enum):
    """Stands for a value that could not be read."""

    LOST = "lost"


LOST = Lost.LOST
Value = int | str | bytes | Lost | None


class BrokenRowError(Exception):
    """Bytes that are no row."""


@dataclass(frozen=True, slots=True)
class Row:
    """A row: ``key`` is its number in a table, None in an index; what of it could not be read is `LOST`."""

    key: int | None
    values: tuple[Value, ...]


@dataclass(slots=True)
class Pages:
    """The pages of a file, counted from 1.

    ``seen`` are those that were read as what they are while rows were read; ``torn`` those that hold rows of which
    some could not be.
    """

    data: bytes | mmap
    size: int = field(init=False)
    seen: set[int] = field(default_factory=set)
    torn: set[int] = field(default_factory=set)
    _usable: int = field(init=False)

    def __post_init__(self) -> None:
        stated = int.from_bytes(self.data[16:18], "big")
        stated = 65536 if stated == 1 else stated
        good = self.data[:16] == MAGIC and stated >= 512 and stated & (stated - 1) == 0
        self.size = stated if good else USUAL_PAGE
        self._usable = self.size - (self.data[20] if good else 0)

    @property
    def count(self) -> int:
        """How many there are, a last one cut short included."""
        return -(-len(self.data) // self.size)

    def page(self, number: int) -> bytes:
        """The bytes of one."""
        if not 1 <= number <= self.count:
            raise BrokenRowError(f"there is no page {number}")
        return self.data[(number - 1) * self.size : number * self.size]

    def rows(self, number: int) -> Iterator[Row]:
        """The rows on a page, none if it holds none (1.6, 1.5: the first page begins behind the file's header)."""
        page, start = self.page(number), HEADER if number == 1 else 0
        kind = page[start] if len(page) > start + 8 else 0
        if kind not in (INNER_INDEX, INNER_TABLE, LEAF_INDEX, LEAF_TABLE):
            return
        self.seen.add(number)
        inner = kind in (INNER_INDEX, INNER_TABLE)
        cells, first = int.from_bytes(page[start + 3 : start + 5], "big"), start + (12 if inner else 8)
        if first + 2 * cells > self._usable:
            self.torn.add(number)
            return
        for one in range(0 if kind == INNER_TABLE else cells):
            at = int.from_bytes(page[first + 2 * one : first + 2 * one + 2], "big")
            try:
                if not first + 2 * cells <= at < min(self._usable, len(page)):
                    raise BrokenRowError(f"no row begins at {at}")
                yield self._row(page, at + 4 if inner else at, kind == LEAF_TABLE)
            except (BrokenRowError, IndexError):
                self.torn.add(number)

    def free(self) -> set[int]:
        """Pages that are in no use, as far as their list can be read (1.3.5, 1.5)."""
        found: set[int] = set()
        trunk = int.from_bytes(self.data[32:36], "big") if self.data[:16] == MAGIC else 0
        while 1 < trunk <= self.count and trunk not in found:
            page = self.page(trunk)
            found.add(trunk)
            leaves = min(int.from_bytes(page[4:8], "big"), self._usable // 4 - 2)
            found |= {int.from_bytes(page[8 + 4 * one : 12 + 4 * one], "big") for one in range(leaves)}
            trunk = int.from_bytes(page[:4], "big")
        return found

    def unread(self) -> list[int]:
        """Pages that hold something and were read as nothing, and those of which not all was read."""
        known = self.seen | self.free()
        missed = [one for one in range(1, self.count + 1) if one not in known and any(self.page(one))]
        return sorted({*missed, *self.torn})

    def _row(self, page: bytes, at: int, in_table: bool) -> Row:
        """A cell (1.6): size, number if in a table, what of the row is on the page, and the page it goes on at."""
        size, at = varint(page, at)
        key = None
        if in_table:
            key, at = varint(page, at)
        held = self._held(size, in_table)
        if size < 2 or at + held > len(page):
            raise BrokenRowError(f"a row of {size} bytes is none")
        payload = page[at : at + held]
        if held < size:
            payload += self._overflow(int.from_bytes(page[at + held : at + held + 4], "big"), size - held)
        return Row(key, values(payload, size))

    def _held(self, size: int, in_table: bool) -> int:
        """How many bytes of a row are on its page (1.6: X, M and K there)."""
        usable = self._usable
        most = usable - 35 if in_table else (usable - 12) * 64 // 255 - 23
        if size <= most:
            return size
        least = (usable - 12) * 32 // 255 - 23
        fitting = least + (size - least) % (usable - 4)
        return fitting if fitting <= most else least

    def _overflow(self, number: int, size: int) -> bytes:
        """The rest of a row from its chain of pages (1.7); shorter if the chain is broken."""
        found: list[bytes] = []
        chain: set[int] = set()
        while size > 0 and 1 < number <= self.count and number not in chain and len(chain) < self.count:
            page = self.page(number)
            chain.add(number)
            part = page[4 : min(4 + size, self._usable)]
            found.append(part)
            size -= len(part)
            number = int.from_bytes(page[:4], "big")
            if not part:
                break
        self.seen |= chain
        return b"".join(found)


def varint(data: bytes, at: int) -> tuple[int, int]:
    """A number of one to nine bytes (1.6), and where it ends."""
    found = 0
    for place in range(9):
        byte = data[at + place]
        if place == 8:
            found = found << 8 | byte
        else:
            found = found << 7 | byte & 0x7F
            if byte < 0x80:
                break
    return found - (1 << 64) if found >= 1 << 63 else found, at + place + 1


def values(payload: bytes, size: int) -> tuple[Value, ...]:
    """The values of a record (2.1) of ``size`` bytes, of which the first may be all there is; `BrokenRowError` if it is none."""
    end, at = varint(payload, 0)
    if not 1 <= end <= min(size, len(payload)):
        raise BrokenRowError("no heading")
    types: list[int] = []
    while at < end:
        kind, at = varint(payload, at)
        if kind < 0 or kind in (10, 11) or len(types) == MOST_COLUMNS:
            raise BrokenRowError(f"no type {kind}")
        types.append(kind)
    widths = [_width(kind) for kind in types]
    if at != end or end + sum(widths) != size:
        raise BrokenRowError("its parts do not make the whole")
    found: list[Value] = []
    for kind, width in zip(types, widths, strict=True):
        found.append(LOST if at + width > len(payload) else _value(kind, payload[at : at + width]))
        at += width
    return tuple(found)


def _width(kind: int) -> int:
    if kind >= 12:
        return (kind - 12) // 2
    return 8 if kind == 7 else INTEGERS.get(kind, 0)


def _value(kind: int, data: bytes) -> Value:
    if kind == 0:
        return None
    if kind in (8, 9):
        return kind - 8
    if kind == 7:
        return LOST  # a log keeps no broken numbers in columns
    if kind in INTEGERS:
        return int.from_bytes(data, "big", signed=True)
    return data if kind % 2 == 0 else data.decode("utf-8", "replace")
