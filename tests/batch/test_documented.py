"""What ``docs/batch.md`` tells of columns and codes, held against the code."""

from __future__ import annotations

import re
from pathlib import Path
from typing import get_args

from tensionear.batch import mapping, watch
from tensionear.batch.results import _AGAIN
from tensionear.batch.values import COLUMNS, ReasonCode
from tensionear.cli.batch import LIMIT_S

PAGE = (Path(__file__).resolve().parents[2] / "docs" / "batch.md").read_text("utf-8")


def first_cells(heading: str) -> list[str]:
    """Names in the first column of the table with this heading."""
    body = PAGE.split(f"| {heading} |", 1)[1].split("\n\n", 1)[0]
    return [
        name for cell in re.findall(r"^\| (`.*?`) \|", body, re.MULTILINE) for name in re.findall(r"`([\w-]+)`", cell)
    ]


def test_the_columns_are_those_of_a_row_in_their_order() -> None:
    part = PAGE.split("## The result", 1)[1]
    body = part.split("| column | what |", 1)[1].split("\n\n", 1)[0]
    cells = re.findall(r"^\| (`.*?`) \|", body, re.MULTILINE)
    assert [name for cell in cells for name in re.findall(r"`(\w+)`", cell)] == list(COLUMNS)


def test_the_columns_of_the_table_are_those_that_are_read() -> None:
    assert sorted(first_cells("column | what")) == sorted(mapping.COLUMNS)


def test_every_reason_is_listed_with_what_becomes_of_it() -> None:
    assert sorted(first_cells("`reason_code` | why there is no reading | at the next run")) == sorted(
        get_args(ReasonCode)
    )
    again = {
        name
        for line in PAGE.splitlines()
        if line.endswith("| tried again |")
        for name in re.findall(r"`([\w-]+)`", line)
    }
    assert again >= _AGAIN


def test_the_times_told_are_those_of_the_code() -> None:
    assert f"`--time-limit` ({LIMIT_S:.0f} s)" in PAGE
    assert f"not changed for {watch.SETTLED_S} s" in PAGE
