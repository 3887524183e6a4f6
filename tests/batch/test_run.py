"""The command: from folders to a result, again, interrupted, and what it says."""

from __future__ import annotations

import io
import json
import os
import shutil
import signal
import subprocess
import sys
import time
from collections.abc import Callable
from pathlib import Path

import pytest

from tensionear.batch.progress import Progress, duration_told
from tensionear.batch.results import read_rows
from tensionear.batch.values import Row
from tensionear.cli import main
from tests.batch.conftest import WHEEL
from tests.cli import fake

ROOT = Path(__file__).resolve().parents[2]


def run(*given: str) -> int:
    """The command in this process, whose pipeline hears nothing."""
    return main(["batch", "--wheel", str(WHEEL), "--workers", "0", *given])


def rows_of(out: Path) -> list[Row]:
    return list(read_rows(out))


@pytest.mark.usefixtures("deaf")
@pytest.mark.parametrize("ending", ["jsonl", "csv", "parquet"])
def test_every_input_has_its_row_in_order(
    sounds: Callable[..., list[str]], tmp_path: Path, capsys: pytest.CaptureFixture[str], ending: str
) -> None:
    if ending == "parquet":
        pytest.importorskip("pyarrow")
    files = sounds("in/c.wav", "in/a.wav", "in/out.wav", "in/broken.wav", "in/sub/d.flac")
    out = tmp_path / f"r.{ending}"
    assert run(str(tmp_path / "in"), files[0], "missing.wav", "--out", str(out)) == 0
    rows = rows_of(out)
    assert [Path(row.file).name for row in rows] == ["a.wav", "broken.wav", "c.wav", "out.wav", "d.flac", "missing.wav"]
    assert [row.number for row in rows] == [1, 2, 3, 4, 5, 6]
    told = capsys.readouterr()
    assert f"6 rows in {out}: within 3, out 1, undecided 0, unreadable 2" in told.out
    assert "missing.wav does not exist" in told.out
    assert "6 files" in told.err


@pytest.mark.usefixtures("deaf")
def test_a_second_run_reads_only_what_is_new_or_changed(sounds: Callable[..., list[str]], tmp_path: Path) -> None:
    sounds("in/a.wav", "in/b.wav", "in/broken.wav", "in/bug.wav")
    folder, out = str(tmp_path / "in"), tmp_path / "r.csv"
    fake.CALLS.clear()
    run(folder, "--out", str(out))
    assert len(fake.CALLS) == 4
    first = rows_of(out)
    run(folder, "--out", str(out))
    assert [Path(str(call["sound"])).name for call in fake.CALLS[4:]] == ["bug.wav"]
    assert rows_of(out) == first
    fake.CALLS.clear()
    (tmp_path / "in" / "b.wav").write_bytes(b"recorded again")
    sounds("in/aa.wav")
    run(folder, "--out", str(out))
    assert sorted(Path(str(call["sound"])).name for call in fake.CALLS) == ["aa.wav", "b.wav", "bug.wav"]
    assert [row.number for row in rows_of(out)] == [1, 2, 3, 4, 5]
    fake.CALLS.clear()
    shutil.copy(WHEEL, tmp_path / "in" / "a.toml")
    (tmp_path / "in" / "a.toml").write_text(
        WHEEL.read_text("utf-8").replace("evenness_percent = 5", "evenness_percent = 4")
    )
    run(folder, "--out", str(out))
    assert sorted(Path(str(call["sound"])).name for call in fake.CALLS) == ["a.wav", "bug.wav"]


@pytest.mark.usefixtures("deaf")
def test_rows_of_files_no_longer_given_are_set_by(
    sounds: Callable[..., list[str]], tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    first, second = sounds("a.wav", "b.wav")
    out = tmp_path / "r.jsonl"
    run(first, "--out", str(out))
    run(second, "--out", str(out))
    assert [row.file for row in rows_of(out)] == [second]
    assert str(tmp_path / "r.before.jsonl") in capsys.readouterr().err
    assert [row.file for row in rows_of(tmp_path / "r.before.jsonl")] == [first, second]


@pytest.mark.usefixtures("deaf")
def test_attempts_are_linked_and_counted_once(
    sounds: Callable[..., list[str]], tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    sounds("out.wav", "good.wav", "broken.wav")
    table = tmp_path / "map.csv"
    table.write_text("file,serial,attempt\nout.wav,S1,1\ngood.wav,S1,2\nbroken.wav,S1,3\n")
    out = tmp_path / "r.jsonl"
    assert run("--map", str(table), "--out", str(out), "--strict") == 1
    bad, good, broken = rows_of(out)
    assert bad.superseded_by == good.file
    assert good.supersedes == bad.file
    assert (good.superseded_by, broken.supersedes) == ("", "")
    assert "within 1, out 0, undecided 0, unreadable 1, superseded 1" in capsys.readouterr().out
    (tmp_path / "map.csv").write_text("file,serial,attempt\nout.wav,S1,1\ngood.wav,S1,2\n")
    assert run("--map", str(table), "--out", str(out), "--strict") == 0


@pytest.mark.usefixtures("deaf")
@pytest.mark.parametrize(
    ("given", "told"),
    [
        (["a.wav"], "Missing option '--out'"),
        (["a.wav", "--out", "r.xlsx"], ".jsonl, .csv or .parquet"),
        (["--out", "r.csv"], "no sounds given"),
        (["a.wav", "--out", "r.csv", "--wheels", "w"], "both given"),
        (["a.wav", "--out", "r.csv", "--report", "r.pdf"], "ends in .html"),
        (["a.wav", "--out", "r.csv", "--watch"], "no folder on this machine"),
        (["--out", "r.csv", "--watch"], "name the folders"),
        ([".", "--out", "r.csv", "--watch", "--cluster", "local:2"], "leave out --cluster"),
        (["a.wav", "--out", "r.csv", "--cluster", "local:2"], "leave out"),
        (["a.wav", "--out", "r.csv", "--on-result", "no-such-program"], "no such program"),
        (["a.wav", "--out", "r.csv", "--on-result", "'open"], "close the quotes"),
    ],
)
def test_what_a_user_can_do_wrong_is_one_line(
    given: list[str], told: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.chdir(tmp_path)
    if told == "leave out":
        told = "is for this machine"
    assert run(*given) == 2
    said = capsys.readouterr().err
    assert told in said
    assert said.count("\n") == 1
    assert not (tmp_path / "r.csv").exists()


def test_files_none_of_which_has_a_wheel(
    sounds: Callable[..., list[str]], tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Most likely the option was forgotten: nothing is begun."""
    sounds("a.wav", "b.wav")
    assert main(["batch", str(tmp_path), "--out", str(tmp_path / "r.csv")]) == 2
    assert "a.wav has no wheel; looked for a.toml beside it; give --wheel FILE" in capsys.readouterr().err
    assert not (tmp_path / "r.csv").exists()


@pytest.mark.usefixtures("deaf")
def test_a_run_in_which_no_file_could_be_read_says_so(
    sounds: Callable[..., list[str]], tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    given = ["batch", "--wheel", str(WHEEL), "--workers", "0", "--out", str(tmp_path / "r.csv")]
    assert main([*given, *sounds("broken.wav", "bug.wav")]) == 2
    assert "tensionear: no file could be read; " in capsys.readouterr().err
    assert main([*given, *sounds("broken.wav", "bug.wav", "a.wav")]) == 0


@pytest.mark.usefixtures("deaf")
def test_a_command_is_run_at_each_new_result(sounds: Callable[..., list[str]], tmp_path: Path) -> None:
    files = sounds("a.wav", "broken.wav", "out $(touch x); `y`.wav")
    script = tmp_path / "lamp"
    script.write_text('#!/bin/sh\necho "$1|$2|$TENSIONEAR_VERDICT|$TENSIONEAR_FILE" >> "$0.log"\ncat >> "$0.json"\n')
    script.chmod(0o755)
    for _ in range(2):
        assert run(*files, "--out", str(tmp_path / "r.csv"), "--on-result", f"'{script}'") == 0
    words = ["within", "unreadable", "out"]
    lines = (tmp_path / "lamp.log").read_text().splitlines()
    assert lines == [f"{word}|{file}|{word}|{file}" for word, file in zip(words, files, strict=True)]
    documents = [json.loads(line) for line in (tmp_path / "lamp.json").read_text().splitlines()]
    assert [document["file"] for document in documents] == files
    assert not (tmp_path / "x").exists()


@pytest.mark.usefixtures("deaf")
def test_a_command_that_fails_is_told_and_stops_nothing(
    sounds: Callable[..., list[str]], tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    files = sounds("a.wav", "b.wav")
    assert run(*files, "--out", str(tmp_path / "r.csv"), "--on-result", "false") == 0
    assert capsys.readouterr().err.count("--on-result: false ended with 1") == 2


def started(folder: Path, out: Path, *given: str, wheel: bool = True) -> subprocess.Popen[str]:
    """The command as a process of its own, with workers that hear nothing."""
    code = (
        "import sys; from tensionear.batch import pool; from tests.batch.fake_worker import COMMAND; "
        "import tensionear.cli.batch as b; "
        "b._reader = lambda workers, limit, cluster: pool.Pool(2, limit, COMMAND); "
        "from tensionear.cli import main; sys.exit(main(sys.argv[1:]))"
    )
    arguments = ["batch", str(folder), *(["--wheel", str(WHEEL)] if wheel else []), "--out", str(out), *given]
    return subprocess.Popen(
        [sys.executable, "-c", code, *arguments], cwd=ROOT, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True,
        env={**os.environ, "PYTHONPATH": str(ROOT)},
    )  # fmt: skip


def lines_in(out: Path, count: int, seconds: float = 20.0) -> None:
    """Wait until the result has so many lines."""
    end = time.monotonic() + seconds
    while not out.exists() or out.read_bytes().count(b"\n") < count:
        assert time.monotonic() < end, "no rows came"
        time.sleep(0.05)


@pytest.mark.parametrize("number", [signal.SIGINT, signal.SIGTERM])
def test_ctrl_c_finishes_cleanly_and_the_next_run_goes_on(
    sounds: Callable[..., list[str]], tmp_path: Path, number: signal.Signals
) -> None:
    sounds(*(f"in/slow-{each:02}.wav" for each in range(20)))
    out = tmp_path / "r.jsonl"
    process = started(tmp_path / "in", out)
    lines_in(out, 4)
    process.send_signal(number)
    said, error = process.communicate(timeout=20)
    assert process.returncode == 130, error
    assert "run the same command again to go on" in error
    names = [row.file for row in rows_of(out)]
    assert 4 <= len(names) < 20
    assert names == sorted(names)
    process = started(tmp_path / "in", out)
    said, error = process.communicate(timeout=30)
    assert process.returncode == 0, error
    assert "20 rows" in said
    rows = rows_of(out)
    assert [row.number for row in rows] == list(range(1, 21))
    assert all(row.status == "read" for row in rows)


def test_a_run_that_is_killed_leaves_its_rows(sounds: Callable[..., list[str]], tmp_path: Path) -> None:
    sounds(*(f"in/slow-{each:02}.wav" for each in range(16)))
    out = tmp_path / "r.csv"
    process = started(tmp_path / "in", out)
    lines_in(out, 4)
    process.kill()
    process.communicate(timeout=10)
    there = out.read_bytes().count(b"\n") - 1
    assert there >= 3
    process = started(tmp_path / "in", out, "--on-result", f"sh -c 'echo $2 >> {tmp_path}/new' -")
    said, error = process.communicate(timeout=30)
    assert process.returncode == 0, error
    assert "16 rows" in said
    assert len((tmp_path / "new").read_text().splitlines()) <= 16 - there
    assert len({row.file for row in rows_of(out)}) == len(rows_of(out)) == 16


class Terminal(io.StringIO):
    def isatty(self) -> bool:
        return True


def test_progress_on_a_terminal_and_elsewhere(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("COLUMNS", "160")
    row = Row(1, "a.wav", "read", verdict="within")
    now = [0.0]
    for stream in (Terminal(), io.StringIO()):
        progress = Progress(200, stream, lambda: now[0])
        progress.begin()
        for _ in range(100):
            now[0] += 0.5
            progress.count(row, kept=False)
        progress.aside("said")
        progress.end()
        lines = stream.getvalue().replace("\x1b[K", "").replace("\r", "\n").splitlines()
        last = [line for line in lines if line.startswith("[")][-1]
        assert "2.0/s" in last
        assert "within" in last
        assert "said" in lines
        if stream.isatty():
            assert "[##########----------] 100 of 200, 2.0/s, 0:50 left: within 100, out 0" in last
        else:
            assert "\x1b" not in stream.getvalue()
            assert len(lines) == 3


def test_progress_keeps_its_counts_in_a_narrow_terminal() -> None:
    progress = Progress(200, Terminal(), lambda: 0.0)
    progress.begin()
    for verdict in ("within", "out", "undecided"):
        progress.tally.count(Row(1, "a.wav", "read", verdict=verdict))
    counts = "within 1, out 1, undecided 1, unreadable 0"
    assert progress.fitting(60.0, 120).startswith("[")
    assert progress.fitting(60.0, 85) == f"3 of 200, 3.0/min, 1:05:40 left: {counts}"
    assert progress.fitting(60.0, 60) == f"3 of 200: {counts}"


def test_progress_fits_the_terminal(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("COLUMNS", "40")
    stream, now = Terminal(), [0.0]
    progress = Progress(10, stream, lambda: now[0])
    progress.begin()
    now[0] = 1.0
    progress.count(Row(1, "a", "failed"), kept=False)
    assert max(map(len, stream.getvalue().replace("\x1b[K", "").split("\r"))) <= 39


def test_times_are_told_shortly() -> None:
    assert [duration_told(each) for each in (0.4, 65, 3723)] == ["0:00", "1:05", "1:02:03"]
