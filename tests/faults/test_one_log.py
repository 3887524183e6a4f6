"""The log among other programs and with a clock that is set back: nothing is lost, nothing is twice."""

from __future__ import annotations

import subprocess
import sys
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest

from tensionear.records import log as log_module
from tensionear.records.changes import compare_rounds
from tensionear.records.log import Log
from tensionear.records.lookover import look_over
from tensionear.records.search import Search
from tensionear.records.trends import trend_of
from tensionear.records.values import Asked
from tests.dashboard.invented import wheel

ROOT = Path(__file__).resolve().parents[2]
EACH = 12
WRITER = """
import sys; sys.path.insert(0, sys.argv[1])
from tensionear.records.log import Log
from tensionear.records.values import Asked
from tests.dashboard.invented import wheel
log, name, count = Log(sys.argv[2]), sys.argv[3], int(sys.argv[4])
print("ready", flush=True); sys.stdin.readline()
for number in range(count):
    kept = log.save(wheel(), Asked(), note=f"{name} {number}")
    assert log.load(kept).row.note == f"{name} {number}"
    print(kept, flush=True)
"""


def test_three_programs_write_one_log(tmp_path: Path) -> None:
    """It does not exist yet when they begin."""
    path = tmp_path / "rounds.sqlite"
    writers = [
        subprocess.Popen(
            [sys.executable, "-c", WRITER, str(ROOT), str(path), name, str(EACH)],
            stdin=subprocess.PIPE, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True,
        )
        for name in "abc"
    ]  # fmt: skip
    for writer in writers:
        assert writer.stdout is not None
        assert writer.stdout.readline() == "ready\n"
    for writer in writers:
        assert writer.stdin is not None
        writer.stdin.write("\n")
        writer.stdin.flush()
    kept = []
    for writer in writers:
        out, said = writer.communicate(timeout=60)
        assert (writer.returncode, said) == (0, "")
        kept += [int(line) for line in out.split()]
    log = Log(path)
    assert sorted(kept) == list(range(1, 3 * EACH + 1))
    assert sorted(row.note for row in log.rounds()) == sorted(f"{name} {n}" for name in "abc" for n in range(EACH))
    assert look_over(log) == ()


@pytest.fixture
def clock(monkeypatch: pytest.MonkeyPatch) -> list[datetime]:
    """The time of day that the log is told; set ``clock[0]``."""
    now = [datetime(2026, 11, 25, 12, tzinfo=UTC)]
    monkeypatch.setattr(log_module, "utc_now", lambda: now[0].strftime("%Y-%m-%dT%H:%M:%SZ"))
    return now


def test_a_clock_set_back_between_rounds(tmp_path: Path, clock: list[datetime]) -> None:
    """Numbers go on, all rounds are found, and comparing goes by what is asked for."""
    log = Log(tmp_path / "rounds.sqlite")
    for number, hours in enumerate((0, -30, 1, -9000), 1):
        clock[0] += timedelta(hours=hours)
        assert log.save(wheel({9: 1000.0 - 60 * number}), Asked(), note=str(number)) == number
    rows = log.rounds()
    assert sorted(row.id for row in rows) == [1, 2, 3, 4]
    assert [row.started for row in rows] == sorted((row.started for row in rows), reverse=True)
    assert [row.id for row in log.rounds(Search(since="2026-11-25"))] == [1]
    for before, after in ((1, 4), (4, 1)):
        found = compare_rounds(log.load(before), log.load(after))
        assert found.spokes
    assert len(trend_of(log, wheel().title).points) == 4
    assert look_over(log) == ()


def test_a_clock_set_back_within_a_round(tmp_path: Path, clock: list[datetime]) -> None:
    """A round that ends before it began is whole all the same."""
    log = Log(tmp_path / "rounds.sqlite")
    begun = log.open_round(Asked(), "Mill Lane")
    clock[0] -= timedelta(days=400)
    begun.finish(wheel())
    kept = log.load(begun.id)
    assert kept.row.finished is not None
    assert kept.row.finished < kept.row.started
    assert kept.reading == wheel()
    assert log.unfinished() == ()
    assert look_over(log) == ()
