"""A grid of character cells that becomes lines of styled text. Imports nothing of the package."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import pairwise

from rich.text import Text


class Canvas:
    """Cells of one character and one style each; what is put later lies on top, what lies outside is an error."""

    def __init__(self, width: int, height: int) -> None:
        self._cells = [[(" ", "")] * width for _ in range(height)]

    def put(self, row: int, column: int, text: str, style: str = "") -> None:
        """Write text from this cell on (rows from the top, both from 0)."""
        line = self._cells[row]
        if column < 0 or column + len(text) > len(line):
            raise IndexError(f"{text!r} at column {column} leaves the canvas of {len(line)} columns")
        for offset, sign in enumerate(text):
            line[column + offset] = (sign, style)

    def lines(self) -> tuple[Text, ...]:
        """The rows as text, blanks at their ends left out."""
        found = []
        for cells in self._cells:
            text = Text(no_wrap=True)
            for sign, style in cells:
                text.append(sign, style or None)
            text.rstrip()
            found.append(text)
        return tuple(found)


def staggered(labels: Sequence[str], columns: Sequence[int], width: int) -> tuple[tuple[tuple[int, str], ...], ...]:
    """Labels under their columns, on as few rows as keep a blank between neighbours.

    Parameters
    ----------
    labels : sequence of str
        Empty ones take no room.
    columns : sequence of int
        The column each label is centred on, ascending.
    width : int
        Columns there are; labels at the edges are pushed inside.

    Returns
    -------
    tuple of rows
        Each row a tuple of (start column, label).
    """
    wanted = [
        (max(0, min(column - (len(label) - 1) // 2, width - len(label))), label)
        for label, column in zip(labels, columns, strict=True)
        if label
    ]
    count = 1
    while not all(_clear(wanted[row::count]) for row in range(count)):
        count += 1
    return tuple(tuple(wanted[row::count]) for row in range(count) if wanted[row::count])


def _clear(row: Sequence[tuple[int, str]]) -> bool:
    """True if every label of the row ends at least one blank before the next begins."""
    return all(start + len(label) < after for (start, label), (after, _) in pairwise(row))
