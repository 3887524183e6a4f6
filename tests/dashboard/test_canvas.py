"""The grid of cells, and labels kept apart."""

from __future__ import annotations

from itertools import pairwise

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tensionear.dashboard.canvas import Canvas, staggered


def test_later_lies_on_top_and_blanks_at_the_end_go() -> None:
    canvas = Canvas(6, 2)
    canvas.put(0, 0, "-----", "dim")
    canvas.put(0, 2, "o", "bold")
    assert [line.plain for line in canvas.lines()] == ["--o--", ""]


@pytest.mark.parametrize(("row", "column", "text"), [(0, -1, "a"), (0, 5, "ab"), (2, 0, "a")])
def test_outside_is_an_error(row: int, column: int, text: str) -> None:
    with pytest.raises(IndexError):
        Canvas(6, 2).put(row, column, text)


def test_labels_stand_in_as_few_rows_as_keep_them_apart() -> None:
    assert staggered(("12", "13", "14"), (0, 3, 6), 9) == (((0, "12"), (3, "13"), (6, "14")),)
    assert staggered(("1043", "", "1102", "998"), (0, 3, 4, 8), 10) == (((0, "1043"), (7, "998")), ((3, "1102"),))


@given(st.lists(st.tuples(st.integers(1, 3), st.text("0123456789", max_size=5)), min_size=1, max_size=40))
def test_every_label_is_there_once_and_apart_from_the_next(given_labels: list[tuple[int, str]]) -> None:
    columns, at = [], 0
    for gap, _ in given_labels:
        at += gap
        columns.append(at)
    labels = [label for _, label in given_labels]
    rows = staggered(labels, columns, at + 6)
    assert sorted(label for row in rows for _, label in row) == sorted(label for label in labels if label)
    for row in rows:
        for (start, label), (after, _) in pairwise(row):
            assert start + len(label) < after
