"""Files that arrive: read once complete, told within seconds, in the result when it is stopped."""

from __future__ import annotations

import os
import shutil
import signal
import subprocess
import time
from collections.abc import Callable
from pathlib import Path

import pytest

from tensionear.batch.results import read_rows
from tensionear.batch.watch import SETTLED_S, Watched
from tests.batch.conftest import WHEEL
from tests.batch.test_run import started


class Clock:
    """Time that passes when told."""

    def __init__(self) -> None:
        self.now = 100.0

    def __call__(self) -> float:
        return self.now


def test_a_file_is_complete_when_it_has_not_changed_for_a_while(tmp_path: Path) -> None:
    clock = Clock()
    watched = Watched((str(tmp_path),), clock=clock)
    path = tmp_path / "a.wav"
    path.write_bytes(b"be")
    assert watched.complete() == []
    for _ in range(4):  # it grows
        clock.now += SETTLED_S - 0.1
        path.write_bytes(path.read_bytes() + b"gun")
        assert watched.complete() == []
    clock.now += SETTLED_S - 0.1
    assert watched.complete() == []
    clock.now += 0.2
    assert watched.complete() == [str(path)]
    clock.now += 100
    assert watched.complete() == []
    path.write_bytes(b"recorded once more")
    assert watched.complete() == []
    clock.now += SETTLED_S + 0.1
    assert watched.complete() == [str(path)]


def test_a_file_moved_here_whole_is_complete_at_once(tmp_path: Path) -> None:
    (tmp_path / "in").mkdir()
    part = tmp_path / "a.part"
    part.write_bytes(b"whole")
    os.utime(part, (time.time() - 60, time.time() - 60))
    watched = Watched((str(tmp_path / "in"),), clock=Clock())
    assert watched.complete() == []
    part.rename(tmp_path / "in" / "a.wav")
    assert watched.complete() == [str(tmp_path / "in" / "a.wav")]


@pytest.mark.parametrize("name", [".a.wav", "a.wav.part", "a.tmp", "notes.txt"])
def test_unfinished_and_other_files_are_passed_over(tmp_path: Path, name: str) -> None:
    (tmp_path / name).write_bytes(b"x")
    os.utime(tmp_path / name, (0, 0))
    assert Watched((str(tmp_path),)).complete() == []


def test_an_empty_file_is_not_begun_yet(tmp_path: Path) -> None:
    (tmp_path / "a.wav").touch()
    os.utime(tmp_path / "a.wav", (0, 0))
    assert Watched((str(tmp_path),)).complete() == []


def wait_for(condition: Callable[[], bool], seconds: float = 15.0) -> None:
    end = time.monotonic() + seconds
    while not condition():
        assert time.monotonic() < end, "it did not come"
        time.sleep(0.05)


def test_files_are_read_as_they_arrive(tmp_path: Path) -> None:
    """One written slowly, one moved, one broken, one whose line in the table comes late; an earlier result is added to."""
    folder, out, new = tmp_path / "in", tmp_path / "r.jsonl", tmp_path / "new"
    folder.mkdir()
    (tmp_path / "map.csv").write_text("file,wheel,serial\n")
    (folder / "before.wav").write_bytes(b"before")
    shutil.copy(WHEEL, folder / "before.toml")
    for _ in range(2):  # the second run finds the row of the first one
        process = started_watching(folder, out, new, tmp_path / "map.csv")
        assert process.stdout is not None
        first = process.stdout.readline()
        process.send_signal(signal.SIGINT)
        said, error = process.communicate(timeout=20)
        assert process.returncode == 0, error
    assert new.read_text().splitlines() == [f"within {folder}/before.wav"]
    assert first.startswith(f"within  {folder}/before.wav")
    assert first.endswith("as before\n")

    process = started_watching(folder, out, new, tmp_path / "map.csv")
    for name in ("out", "broken"):
        shutil.copy(WHEEL, folder / f"{name}.toml")
    with (folder / "out.wav").open("wb") as file:
        for _ in range(6):
            file.write(b"sound")
            file.flush()
            time.sleep(0.3)
    written = time.monotonic()
    (tmp_path / "x.part").write_bytes(b"moved")
    (tmp_path / "x.part").rename(folder / "broken.wav")
    (folder / "late.wav").write_bytes(b"late")
    wait_for(lambda: f"out {folder}/out.wav" in new.read_text())
    assert time.monotonic() - written < 8
    wait_for(lambda: f"unreadable {folder}/late.wav" in new.read_text())
    shutil.copy(WHEEL, tmp_path / "w.toml")
    (tmp_path / "map.csv").write_text(f"file,wheel,serial\n{folder}/late.wav,w.toml,S7\n")
    wait_for(lambda: f"within {folder}/late.wav" in new.read_text())
    process.send_signal(signal.SIGTERM)
    said, error = process.communicate(timeout=20)
    assert process.returncode == 0, error
    rows = {Path(row.file).name: row for row in read_rows(out)}
    assert {name: row.verdict for name, row in rows.items()} == {
        "before.wav": "within", "out.wav": "out", "broken.wav": None, "late.wav": "within",
    }  # fmt: skip
    assert rows["late.wav"].serial == "S7"
    assert [row.number for row in rows.values()] == [1, 2, 3, 4]
    assert new.read_text().count(f"out {folder}/out.wav") == 1
    assert "right 1098 N, spread" in said


def started_watching(folder: Path, out: Path, new: Path, table: Path) -> subprocess.Popen[str]:
    script = new.with_name("lamp")
    script.write_text(f'#!/bin/sh\necho "$1 $2" >> {new}\n')
    script.chmod(0o755)
    return started(folder, out, "--watch", "--map", str(table), "--on-result", str(script), wheel=False)
