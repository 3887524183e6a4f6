"""Worker processes: every file is answered once, whatever becomes of its worker."""

from __future__ import annotations

import os
import re
import signal
import sys
import time
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest

from tensionear.batch.isolated import Isolated
from tensionear.batch.pool import Pool, Serial, Stop
from tensionear.batch.values import Job, Row, Task, Work, failed
from tensionear.errors import InputError
from tests.batch.conftest import WHEEL
from tests.batch.fake_worker import COMMAND

TEXT = WHEEL.read_text("utf-8")


def tasks(files: list[str]) -> list[Task]:
    return [Task(Job(number, file, str(WHEEL)), TEXT) for number, file in enumerate(files, 1)]


def answers(pool: Pool | Serial, works: list[Task] | Iterator[Work], stop: Stop | None = None) -> list[Row]:
    found = list(pool.answers(iter(works), stop or Stop()))
    assert all(isinstance(each, Row) for each in found)
    return sorted((each for each in found if isinstance(each, Row)), key=lambda row: row.number)


def test_a_crash_and_a_hang_are_set_aside_and_the_rest_goes_on(sounds: Callable[..., list[str]]) -> None:
    names = [f"{number}.wav" for number in range(20)]
    names[3], names[7], names[11], names[15] = "crash.wav", "hang.wav", "exit.wav", "noise.wav"
    started = time.monotonic()
    rows = answers(Pool(2, 1.5, COMMAND), tasks(sounds(*names)))
    assert time.monotonic() - started < 30
    assert [row.number for row in rows] == list(range(1, 21))
    wrong = {row.file.rsplit("/", 1)[-1]: row for row in rows if row.status == "failed"}
    assert {name: row.reason_code for name, row in wrong.items()} == {
        "crash.wav": "crash", "hang.wav": "time-limit", "exit.wav": "crash",
    }  # fmt: skip
    assert "time limit of 1.5 s; raise --time-limit" in wrong["hang.wav"].reason
    assert "2 times (exit code 7)" in wrong["exit.wav"].reason
    assert rows[15].right_mean_n is not None


def test_a_worker_killed_from_outside_costs_no_file(sounds: Callable[..., list[str]]) -> None:
    """Killed while it reads, and while it waits: the file is read by the next worker."""
    isolated = Isolated(10.0, COMMAND)
    plain, slow = tasks(sounds("a.wav", "slow.wav"))
    try:
        first = isolated.read(plain)
        before = isolated.pid
        assert before is not None
        os.kill(before, signal.SIGKILL)
        time.sleep(0.1)
        again = isolated.read(slow)
        assert isolated.pid != before
    finally:
        isolated.close()
    assert isinstance(first, Row)
    assert isinstance(again, Row)
    assert first.status == again.status == "read"
    assert isolated.read(plain) is None


def test_workers_killed_mid_run_leave_every_file_read_once(sounds: Callable[..., list[str]]) -> None:
    files = sounds(*(f"slow-{number}.wav" for number in range(24)))
    stop, killed, found = Stop(), [], []
    for answer in Pool(2, 30.0, COMMAND).answers(iter(tasks(files)), stop):
        found.append(answer)
        if len(found) in (4, 9):
            children = [int(pid) for pid in children_of(os.getpid())]
            killed.append(children[0])
            os.kill(children[0], signal.SIGKILL)
    assert len(set(killed)) == 2
    assert sorted(answer.number for answer in found) == list(range(1, 25))
    assert all(isinstance(answer, Row) and answer.status == "read" for answer in found)


def children_of(pid: int) -> list[str]:
    """Processes that this one started and that have not ended."""
    found = []
    for folder in Path("/proc").iterdir():
        if folder.name.isdecimal():
            try:
                state, parent = (folder / "stat").read_text().rsplit(")", 1)[1].split()[:2]
            except OSError:
                continue
            if int(parent) == pid and state != "Z":
                found.append(folder.name)
    return sorted(found, key=int)


def test_stopping_finishes_what_is_begun_and_begins_no_more(sounds: Callable[..., list[str]]) -> None:
    files = sounds(*(f"slow-{number}.wav" for number in range(30)))
    stop, found = Stop(), []
    for answer in Pool(2, 30.0, COMMAND).answers(iter(tasks(files)), stop):
        found.append(answer.number)
        stop.set()
    assert 1 <= len(found) <= 4
    assert children_of(os.getpid()) == []


@pytest.mark.parametrize(
    ("code", "told"),
    [
        ("raise SystemExit('no module of that name')", "worker processes end as they start: exit code 1, no module of that"),
        ("import os; os._exit(7)", "exit code 7; reinstall tensionear, or read without them: --workers 0"),
        ("import os; os.kill(os.getpid(), 9)", "exit code -9;"),
        ("print('no word of a worker')", "exit code 0;"),
    ],
)  # fmt: skip
def test_workers_that_do_not_start_end_the_run(sounds: Callable[..., list[str]], code: str, told: str) -> None:
    """Else every file would be set aside as if it were its own fault."""
    with pytest.raises(InputError, match=re.escape(told)):
        answers(Pool(2, 30.0, (sys.executable, "-c", code)), tasks(sounds("a.wav", "b.wav", "c.wav")))


def test_a_worker_that_does_not_start_at_once_is_tried_again(sounds: Callable[..., list[str]], tmp_path: Path) -> None:
    once = (
        f"import pathlib, sys; p = pathlib.Path({str(tmp_path / 'once')!r}); p.exists() or sys.exit(p.touch() or 3); "
    )
    rows = answers(Pool(1, 30.0, (*COMMAND[:2], once + COMMAND[2])), tasks(sounds("a.wav")))
    assert (tmp_path / "once").exists()
    assert [row.status for row in rows] == ["read"]


def test_a_worker_runs_the_code_of_this_package(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Not one that happens to lie where the program was started."""
    (tmp_path / "tensionear").mkdir()
    (tmp_path / "tensionear" / "__init__.py").write_text("raise SystemExit('another package')")
    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv("PYTHONPATH", str(tmp_path))
    rows = answers(Pool(1, 60.0), tasks([str(tmp_path / "none.wav")]))
    assert [row.reason_code for row in rows] == ["sound"]


def test_leaving_early_ends_the_workers(sounds: Callable[..., list[str]]) -> None:
    running = Pool(2, 30.0, COMMAND).answers(iter(tasks(sounds("a.wav", "hang.wav", "hang2.wav"))), Stop())
    assert next(running).number == 1
    running.close()  # type: ignore[attr-defined]
    assert children_of(os.getpid()) == []


def test_what_goes_wrong_in_making_tasks_comes_out(sounds: Callable[..., list[str]]) -> None:
    def broken() -> Iterator[Work]:
        yield from tasks(sounds("a.wav"))
        raise ValueError("no more")

    with pytest.raises(ValueError, match="no more"):
        answers(Pool(2, 30.0, COMMAND), broken())


@pytest.mark.usefixtures("deaf")
def test_one_process_and_many_give_the_same_rows(sounds: Callable[..., list[str]]) -> None:
    works: list[Work] = [*tasks(sounds("a.wav", "out.wav", "broken.wav", "bug.wav"))]
    works.append(failed(Job(5, "x.wav", ""), "no-wheel", "no wheel"))
    serial = answers(Serial(), iter(works))
    assert serial == answers(Pool(2, 30.0, COMMAND), iter(works))
    assert [row.reason_code for row in serial] == [None, None, "sound", "error", "no-wheel"]
    assert serial[1].verdict == "out"
