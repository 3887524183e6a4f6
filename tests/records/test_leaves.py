"""Rows read leaf by leaf are what SQLite itself gives, whatever their size and the size of the pages."""

from __future__ import annotations

import sqlite3
from pathlib import Path

import pytest

from tensionear.records.leaves import LOST, BrokenRowError, Pages, values, varint


@pytest.mark.parametrize("page_size", [512, 4096, 65536])
def test_all_rows_of_all_sizes(tmp_path: Path, page_size: int) -> None:
    path = tmp_path / "any.sqlite"
    with sqlite3.connect(path) as connection:
        connection.execute(f"PRAGMA page_size = {page_size}")
        connection.execute("CREATE TABLE plain (id INTEGER PRIMARY KEY, number INTEGER, text TEXT)")
        connection.execute("CREATE TABLE keyed (a INTEGER, b INTEGER, text TEXT, PRIMARY KEY (a, b)) WITHOUT ROWID")
        rows = [
            (one, (-1) ** one * 3**one if one < 40 else None, "é" * (one * page_size // 64)) for one in range(1, 200)
        ]
        connection.executemany("INSERT INTO plain VALUES (?, ?, ?)", rows)
        connection.executemany("INSERT INTO keyed VALUES (?, ?, ?)", [(one, one % 3, text) for one, _, text in rows])
    connection.close()
    pages = Pages(path.read_bytes())
    assert pages.size == page_size
    found = [row for number in range(2, pages.count + 1) for row in pages.rows(number)]
    assert sorted((row.key, *row.values[1:]) for row in found if row.key is not None) == [tuple(row) for row in rows]
    assert sorted(row.values for row in found if row.key is None) == [(one, one % 3, text) for one, _, text in rows]
    list(pages.rows(1))
    assert pages.unread() == []


def test_numbers_of_one_to_nine_bytes() -> None:
    assert varint(bytes([0x7F]), 0) == (127, 1)
    assert varint(bytes([0x81, 0x00]), 0) == (128, 2)
    assert varint(b"\xff" * 9, 0) == (-1, 9)


def test_what_is_cut_off_is_lost_and_what_is_none_is_refused() -> None:
    record = bytes([3, 1, 13 + 2 * 5]) + bytes([7]) + b"valve"
    assert values(record, len(record)) == (7, "valve")
    assert values(record[:-1], len(record)) == (7, LOST)
    for bad in (record + b"x", b"\xa5" * 40, bytes(3)):
        with pytest.raises(BrokenRowError):
            values(bad, len(bad))
