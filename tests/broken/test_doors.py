"""Broken inputs at every door that reads, 2,000 in all: read, or refused in one sentence; never a traceback, never a hang.

A case that fails is read again by ``python -m benchmarks.fuzz --again DOOR NUMBER``.
"""

from __future__ import annotations

import signal
from collections.abc import Iterator
from contextlib import contextmanager
from itertools import count
from pathlib import Path
from types import FrameType

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from benchmarks.fuzz import MOST_S, outcome_of
from benchmarks.fuzzing.doors import DOORS, Door
from benchmarks.fuzzing.taken import FaultError, command, taken
from tensionear.errors import InputError

COUNT = 2000
SHARES = sum(door.share for door in DOORS)


@contextmanager
def processor_time(seconds: float) -> Iterator[None]:
    """Stop what takes longer."""

    def stop(number: int, frame: FrameType | None) -> None:
        raise FaultError(f"took more than {seconds} s of processor time")

    before = signal.signal(signal.SIGVTALRM, stop)
    signal.setitimer(signal.ITIMER_VIRTUAL, seconds)
    try:
        yield
    finally:
        signal.setitimer(signal.ITIMER_VIRTUAL, 0)
        signal.signal(signal.SIGVTALRM, before)


@pytest.mark.parametrize("door", DOORS, ids=lambda door: door.name)
def test_broken_inputs_are_taken_well(door: Door, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("XDG_DATA_HOME", str(tmp_path))
    monkeypatch.setenv("HOME", str(tmp_path))
    monkeypatch.setenv("TENSIONEAR_CALIBRATIONS", str(tmp_path / "none"))
    outcome_of(door, 0, tmp_path / "a" / "b" / "case")  # what is imported once is not counted

    @settings(
        max_examples=max(1, round(COUNT * door.share / SHARES)),
        derandomize=True,
        database=None,
        deadline=None,
        suppress_health_check=list(HealthCheck),
    )
    @given(number=st.integers(0, 1 << 40))
    def holds(number: int) -> None:
        with processor_time(MOST_S):
            outcome = outcome_of(door, number, tmp_path / "a" / "b" / "case")
        assert outcome in ("read", "refused"), f"--again {door.name} {number}"

    holds()


def test_what_is_not_taken_well_is_seen() -> None:
    with pytest.raises(FaultError, match="ZeroDivisionError"):
        taken(lambda: 1 / 0)

    def refuse() -> None:
        raise InputError("no")

    with pytest.raises(FaultError, match="no sentence"):
        taken(refuse)
    with pytest.raises(FaultError, match="more than 0"), processor_time(0.1):
        sum(1 for _ in count())  # never ends by itself
    assert taken(lambda: command(["--version"])) == "read"
    assert taken(lambda: command(["read", "nothing.wav"])) == "refused"
