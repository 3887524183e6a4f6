"""The result file: every row comes back as it was, and a run that ended anyhow is taken up again."""

from __future__ import annotations

import csv
import json
import os
from dataclasses import replace
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tensionear.batch.lines import CSV_LINES, JSON_LINES, KINDS
from tensionear.batch.results import Results, read_rows
from tensionear.batch.values import COLUMNS, Job, Row, Tags, shown_name
from tensionear.errors import InputError, UsageError

ENDINGS = ("jsonl", "csv", "parquet")
TEXTS = st.text(st.characters(exclude_categories=["C", "Z"]), max_size=12)
NUMBERS = st.floats(-1e6, 1e6)
#: No control signs and no spaces at the ends: names come without.
ROWS = st.builds(
    Row,
    number=st.integers(1, 10**6),
    file=TEXTS.filter(bool),
    status=st.sampled_from(["read", "failed"]),
    reason=TEXTS,
    serial=TEXTS,
    attempt=st.none() | st.integers(1, 9),
    verdict=st.sampled_from([None, "within", "out"]),
    right_mean_n=st.none() | NUMBERS,
    findings=st.lists(TEXTS.filter(lambda text: text and ";" not in text), max_size=3).map(tuple),
    tension_n=st.lists(st.none() | NUMBERS, min_size=2, max_size=4).map(tuple),
)


def row(number: int, **changed: object) -> Row:
    first = Row(
        number, f"/line/{number}.wav", "read", key=f"key{number}", verdict="within", tension_n=(1.5, None, -2.0)
    )
    return replace(first, **changed)  # type: ignore[arg-type]


@settings(max_examples=60, deadline=None)
@given(ROWS)
@pytest.mark.parametrize("lines", [JSON_LINES, CSV_LINES])
def test_a_row_comes_back_as_it_was(lines: object, row: Row) -> None:
    assert isinstance(lines, type(JSON_LINES))
    line = lines.encode(row)
    assert "\n" not in line
    assert lines.decode(line) == row


def test_the_kinds_of_columns_follow_from_the_row() -> None:
    assert set(KINDS) == set(COLUMNS)
    assert KINDS["tension_n"] == (float, True)
    assert KINDS["attempt"] == (int, False)
    assert KINDS["findings"] == (str, True)


@pytest.mark.parametrize("ending", ENDINGS)
def test_rows_are_kept_as_they_come_and_end_in_order(tmp_path: Path, ending: str) -> None:
    out = tmp_path / f"r.{ending}"
    rows = [
        row(1, serial="=cmd|' /C calc'!A0"),
        row(2, file='/line/ä, "b".wav'),
        row(3, reason="=1+1", status="failed"),
    ]
    with Results(out) as results:
        for each in reversed(rows):
            results.add(each)
        assert list(results.rows([each.file for each in rows])) == rows
        results.finish(results.rows([each.file for each in rows]))
    assert list(read_rows(out)) == rows
    assert list(tmp_path.iterdir()) == [out]


@pytest.mark.parametrize("ending", ENDINGS)
def test_a_run_that_was_killed_is_taken_up(tmp_path: Path, ending: str) -> None:
    """What was written stands; a line cut off in the middle is gone, and what comes after is whole."""
    out = tmp_path / f"r.{ending}"
    with Results(out) as results:
        results.add(row(1))
        results.add(row(2))
    journal = out if ending != "parquet" else tmp_path / "r.parquet.part"
    journal.write_bytes(journal.read_bytes()[:-9])
    with Results(out) as results:
        assert results.files() == ["/line/1.wav"]
        assert results.known(Job(1, "/line/1.wav", "")) == ("key1",)
        assert results.known(Job(2, "/line/2.wav", "")) == ()
        results.add(row(2))
    with Results(out) as results:  # killed once more
        assert results.files() == ["/line/1.wav", "/line/2.wav"]
        results.finish(results.rows(results.files()))
    assert [each.number for each in read_rows(out)] == [1, 2]


@pytest.mark.parametrize("ending", ENDINGS)
def test_a_finished_result_is_taken_up(tmp_path: Path, ending: str) -> None:
    out = tmp_path / f"r.{ending}"
    with Results(out) as results:
        for number in (1, 2):
            results.add(row(number))
        results.finish(results.rows(results.files()))
    moved = Job(5, "/elsewhere/2.wav", "w.toml", tags=Tags(serial="S5"))
    with Results(out) as results:
        assert results.known(moved) == ("key2",)
        kept = results.keep(moved, "key2")
        assert (kept.number, kept.file, kept.serial, kept.verdict) == (5, "/elsewhere/2.wav", "S5", "within")
        assert results.known(Job(1, "/elsewhere/3.wav", "")) == ()


@pytest.mark.parametrize("code", ["crash", "time-limit", "changed", "no-wheel", "address", "error"])
def test_what_need_not_fail_again_is_tried_again(tmp_path: Path, code: str) -> None:
    with Results(tmp_path / "r.jsonl") as results:
        results.add(row(1, status="failed", reason_code=code))
        results.add(row(2, status="failed", reason_code="sound"))
        results.finish(results.rows(results.files()))
    with Results(tmp_path / "r.jsonl") as results:
        assert results.known(Job(1, "/line/1.wav", "")) == ()
        assert results.known(Job(1, "/line/2.wav", "")) == ("key2",)


def test_a_table_for_spreadsheets_and_lines_for_scripts(tmp_path: Path) -> None:
    for ending in ("jsonl", "csv"):
        with Results(tmp_path / f"r.{ending}") as results:
            results.add(row(1, serial="-12"))
            results.finish(results.rows(results.files()))
    with (tmp_path / "r.csv").open(newline="") as file:
        (cells,) = csv.DictReader(file)
    assert cells["serial"] == "'-12"
    assert cells["tension_n"] == "1.5;;-2.0"
    (line,) = (tmp_path / "r.jsonl").read_text().splitlines()
    assert json.loads(line)["tension_n"] == [1.5, None, -2.0]
    assert json.loads(line)["station"] is None


def test_parquet_has_types(tmp_path: Path) -> None:
    pq = pytest.importorskip("pyarrow.parquet")
    with Results(tmp_path / "r.parquet") as results:
        for number in range(1, 1203):
            results.add(row(number))
        results.finish(results.rows(results.files()))
    table = pq.read_table(tmp_path / "r.parquet")
    assert table.num_rows == 1202
    assert table.column_names == list(COLUMNS)
    assert str(table.schema.field("tension_n").type).startswith("list<")
    assert table["tension_n"][0].as_py() == [1.5, None, -2.0]
    assert str(table.schema.field("number").type) == "int64"


@pytest.mark.parametrize(
    ("name", "content", "told"),
    [
        ("r.txt", "", "results are .jsonl, .csv or .parquet"),
        ("r.csv", "spoke,tension_n\n1,1000\n", "something else than rows"),
        ("r.jsonl", "{}\n", "something else than rows"),
        ("r.jsonl", "\x00\xff\n", "something else than rows"),
        ("r.parquet", "PAR1", "no result of a batch"),
        ("nowhere/r.csv", None, "no file can be there"),
    ],
)
def test_files_of_others_are_left_alone(tmp_path: Path, name: str, content: str | None, told: str) -> None:
    if name.endswith("parquet"):
        pytest.importorskip("pyarrow")
    if content is not None:
        (tmp_path / name).write_bytes(content.encode("latin-1"))
    with pytest.raises(UsageError, match=told):
        Results(tmp_path / name)
    if content is not None:
        assert (tmp_path / name).read_bytes() == content.encode("latin-1")


def test_two_runs_do_not_write_the_same_file(tmp_path: Path) -> None:
    pytest.importorskip("fcntl")
    with Results(tmp_path / "r.csv"), pytest.raises(UsageError, match="being written by another run"):
        Results(tmp_path / "r.csv")
    with Results(tmp_path / "r.csv") as results:
        results.add(row(1))


def test_a_disk_that_takes_no_more_is_told(tmp_path: Path) -> None:
    resource = pytest.importorskip("resource")
    with Results(tmp_path / "r.jsonl") as results:
        results.add(row(1))
        soft, hard = resource.getrlimit(resource.RLIMIT_FSIZE)
        resource.setrlimit(resource.RLIMIT_FSIZE, (100, hard))
        try:
            with pytest.raises(InputError, match=r"cannot be written .*free space"):
                results.add(row(2))
        finally:
            resource.setrlimit(resource.RLIMIT_FSIZE, (soft, hard))


def test_a_device_is_no_result(tmp_path: Path) -> None:
    (tmp_path / "r.jsonl").symlink_to("/dev/null")
    with pytest.raises(UsageError, match="no file can be there"):
        Results(tmp_path / "r.jsonl")


def test_names_that_are_no_text_can_be_shown() -> None:
    assert shown_name(os.fsdecode(b"a\xff\n.wav")) == "a\ufffd?.wav"
