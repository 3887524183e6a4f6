"""A Dask cluster: a real scheduler and two real worker processes, over TCP on this machine; and one started by the program."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest

pytest.importorskip("distributed")

from tensionear.batch import cluster as module
from tensionear.batch.cluster import Cluster
from tensionear.batch.pool import Serial, Stop
from tensionear.batch.results import read_rows
from tensionear.batch.values import Answer, Job, Row, Task, Work, failed
from tensionear.cli import main
from tensionear.errors import UsageError
from tests.batch.conftest import WHEEL

ROOT = Path(__file__).resolve().parents[2]
TEXT = WHEEL.read_text("utf-8")


@contextmanager
def process(*given: str, folder: Path) -> Iterator[subprocess.Popen[bytes]]:
    """A part of a cluster, ended at the end."""
    command = [sys.executable, "-m", *given]
    environment = {**os.environ, "PYTHONPATH": str(ROOT), "OPENBLAS_NUM_THREADS": "1"}
    quiet = subprocess.DEVNULL
    with subprocess.Popen(command, cwd=folder, env=environment, stdout=quiet, stderr=quiet) as started:
        try:
            yield started
        finally:
            started.kill()


@contextmanager
def worker(address: str, folder: Path) -> Iterator[subprocess.Popen[bytes]]:
    """A worker process with one thread, that nothing starts again when it is killed."""
    flags = ("--nthreads", "1", "--no-nanny", "--no-dashboard", "--local-directory", str(folder))
    with process("distributed.cli.dask_worker", address, *flags, folder=folder) as started:
        yield started


@pytest.fixture(scope="module")
def scheduler(tmp_path_factory: pytest.TempPathFactory) -> Iterator[str]:
    """The address of a scheduler without workers."""
    folder = tmp_path_factory.mktemp("scheduler")
    file = folder / "scheduler.json"
    flags = ("--host", "127.0.0.1", "--port", "0", "--no-dashboard", "--scheduler-file", str(file))
    with process("distributed.cli.dask_scheduler", *flags, folder=folder):
        end = time.monotonic() + 30
        while not file.exists() or "tcp://" not in file.read_text():
            assert time.monotonic() < end, "no scheduler came up"
            time.sleep(0.05)
        yield "tcp://" + file.read_text().split("tcp://")[1].split('"')[0]


@pytest.fixture
def workers(scheduler: str, tmp_path: Path) -> Iterator[tuple[str, list[subprocess.Popen[bytes]]]]:
    """The scheduler's address and two workers of it."""
    from distributed import Client

    with worker(scheduler, tmp_path) as first, worker(scheduler, tmp_path) as second:
        with Client(scheduler) as client:
            client.wait_for_workers(2, timeout=30)
        yield scheduler, [first, second]


def folder_of(tmp_path: Path, clip: Path, count: int) -> Path:
    """One short sound under many names."""
    folder = tmp_path / "in"
    folder.mkdir()
    for number in range(count):
        (folder / f"{number:03}.wav").hardlink_to(clip)
    return folder


def test_fifty_rounds_give_the_same_rows_as_one_process(
    workers: tuple[str, list[subprocess.Popen[bytes]]], tmp_path: Path, clip: Path
) -> None:
    """And no process is left behind. Once more with one of the two workers killed: the other reads the rest, no row twice."""
    address, processes = workers
    folder = folder_of(tmp_path, clip, 48)
    (folder / "text.wav").write_text("no sound")
    (folder / "empty.wav").touch()
    given = ["batch", str(folder), "--wheel", str(WHEEL)]
    assert main([*given, "--out", str(tmp_path / "serial.csv"), "--workers", "0"]) == 0
    assert main([*given, "--out", str(tmp_path / "cluster.csv"), "--cluster", address]) == 0
    assert (tmp_path / "cluster.csv").read_bytes() == (tmp_path / "serial.csv").read_bytes()
    assert all(children_ended(each.pid) for each in processes)

    out = tmp_path / "lost.jsonl"
    killer = threading.Thread(target=kill_after, args=(processes[0], out, 6))
    killer.start()
    assert main([*given, "--out", str(out), "--cluster", address]) == 0
    killer.join()
    assert processes[0].poll() == -signal.SIGKILL
    assert list(read_rows(out)) == list(read_rows(tmp_path / "serial.csv"))


def kill_after(victim: subprocess.Popen[bytes], out: Path, rows: int) -> None:
    """Kill a process once so many rows are there."""
    end = time.monotonic() + 60
    while (not out.exists() or out.read_bytes().count(b"\n") < rows) and time.monotonic() < end:
        time.sleep(0.01)
    victim.kill()
    victim.wait()


def test_the_time_limit_holds_on_the_cluster(workers: tuple[str, list[object]], tmp_path: Path, clip: Path) -> None:
    address, _ = workers
    files = [str(path) for path in sorted(folder_of(tmp_path, clip, 3).iterdir())]
    works: list[Work] = [Task(Job(number, file, "w.toml"), TEXT) for number, file in enumerate(files, 1)]
    works.append(failed(Job(4, "x.wav", ""), "no-wheel", "no wheel"))
    rows = sorted(Cluster(address, 0.01).answers(iter(works), Stop()), key=lambda row: row.number)
    assert [getattr(row, "reason_code", None) for row in rows] == ["time-limit"] * 3 + ["no-wheel"]


def children_ended(pid: int) -> bool:
    """Whether no child of a process is left, after a moment."""
    from tests.batch.test_pool import children_of

    end = time.monotonic() + 5
    while children_of(pid) and time.monotonic() < end:
        time.sleep(0.05)
    return not children_of(pid)


def test_stopping_on_a_cluster(workers: tuple[str, list[object]], tmp_path: Path, clip: Path) -> None:
    files = [str(path) for path in sorted(folder_of(tmp_path, clip, 30).iterdir())]
    works: list[Work] = [Task(Job(number, file, "w.toml"), TEXT) for number, file in enumerate(files, 1)]
    stop, found = Stop(), []
    for answer in Cluster(workers[0], 60.0).answers(iter(works), stop):
        found.append(answer.number)
        stop.set()
    assert 1 <= len(found) <= 5
    assert len(set(found)) == len(found)


def test_a_scheduler_without_workers_and_workers_of_another_version(
    scheduler: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    with pytest.raises(UsageError, match=f"has no workers; start some with: dask worker {scheduler}"):
        list(Cluster(scheduler).answers(iter(()), Stop()))
    monkeypatch.setattr("tensionear.records.versions.model_version", lambda: "another")
    from distributed import Client

    with worker(scheduler, tmp_path):
        with Client(scheduler) as client:
            client.wait_for_workers(1, timeout=30)
        with pytest.raises(UsageError, match=r"reads with model \w{12}, this program with another"):
            list(Cluster(scheduler).answers(iter(()), Stop()))


def deadly(task: Task, limit_s: float | None) -> Answer:
    """Stands for `read_there`: one file takes its Dask worker with it."""
    if "deadly" in task.job.file:
        os.kill(os.getpid(), signal.SIGKILL)
    time.sleep(0.02)
    return Row(task.job.number, task.job.file, "read")


def test_a_file_that_takes_dask_workers_with_it_is_set_aside(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(module, "read_there", deadly)
    names = [f"{number}.wav" for number in range(12)]
    names[4] = "deadly.wav"
    works: list[Work] = [Task(Job(number, name, "w.toml"), TEXT) for number, name in enumerate(names)]
    rows = {row.number: row for row in Cluster("local:2").answers(iter(works), Stop()) if isinstance(row, Row)}
    assert sorted(rows) == list(range(12))
    assert [number for number, row in rows.items() if row.status == "failed"] == [4]
    assert rows[4].reason_code == "crash"
    assert "again and again" in rows[4].reason


def test_a_cluster_started_here_reads_as_this_process(tmp_path: Path, clip: Path) -> None:
    files = [str(path) for path in sorted(folder_of(tmp_path, clip, 4).iterdir())]
    works: list[Work] = [Task(Job(number, file, "w.toml"), TEXT) for number, file in enumerate(files, 1)]
    there = sorted(Cluster("local:2", 60.0).answers(iter(works), Stop()), key=lambda row: row.number)
    assert there == list(Serial().answers(iter(works), Stop()))


@pytest.mark.parametrize(
    ("address", "told"),
    [
        ("local:", "such as local:4"),
        ("local:0", "such as local:4"),
        ("local:x", "such as local:4"),
        ("tcp://127.0.0.1:9", "no scheduler answers"),
        ("nosuch://x", "no scheduler answers"),
    ],
)
def test_an_address_without_a_cluster_is_told(address: str, told: str, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(module, "_CONNECT_S", 0.5)
    with pytest.raises(UsageError, match=told):
        list(Cluster(address).answers(iter(()), Stop()))


def test_without_dask_the_remedy_is_told(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setitem(sys.modules, "distributed", None)
    with pytest.raises(UsageError, match=r"pip install 'tensionear\[cluster\]'"):
        list(Cluster("local:2").answers(iter(()), Stop()))
