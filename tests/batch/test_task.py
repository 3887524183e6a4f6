"""One file: what its row depends on, and that nothing that goes wrong with it is an exception."""

from __future__ import annotations

import sys
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import pytest

import tensionear as te
from tensionear.batch.task import key_of, read_task
from tensionear.batch.values import Job, Row, Tags, Task, Unchanged
from tests.batch.conftest import WHEEL
from tests.cli import fake

TEXT = WHEEL.read_text("utf-8")


def test_a_row_is_the_reading_in_short(clip: Path) -> None:
    row = read_task(Task(Job(3, str(clip), str(WHEEL), tags=Tags("S1", "press")), TEXT))
    reading = te.read(clip, wheel=te.load_wheel(WHEEL))
    assert isinstance(row, Row)
    assert (row.number, row.status, row.serial, row.station, row.wheel_file) == (3, "read", "S1", "press", str(WHEEL))
    assert row.wheel == te.load_wheel(WHEEL).name
    assert row.verdict == reading.verdict
    assert row.spokes == len(row.tension_n) == 32
    assert row.spokes_read == 1
    first = reading.spokes[0]
    assert first.tension_n is not None
    assert row.tension_n[0] == pytest.approx(first.tension_n, abs=0.005)
    assert row.tension_n[1] is None
    assert row.right_target_n == 1000
    assert row.recorded.endswith("+00:00")
    assert len(row.sound_sha256) == len(row.wheel_sha256) == 64
    assert read_task(Task(Job(3, str(clip), str(WHEEL)), TEXT, (row.key,))) == Unchanged(3, str(clip), row.key)


def test_the_key_follows_all_that_a_row_depends_on(monkeypatch: pytest.MonkeyPatch) -> None:
    job = Job(1, "a.wav", "w.toml")
    task = Task(job, TEXT)
    keys = [key_of(task, "aa"), key_of(task, "bb"), key_of(replace(task, wheel_text="x"), "aa")]
    for changed in (replace(job, first=2), replace(job, order="right-then-left"), replace(job, direction="ccw")):
        keys.append(key_of(replace(task, job=changed), "aa"))
    keys.append(key_of(replace(task, job=replace(job, tags=Tags(state="inflated"))), "aa"))
    monkeypatch.setattr("tensionear.records.versions.model_version", lambda: "another")
    keys.append(key_of(task, "aa"))
    assert len(set(keys)) == len(keys)


def test_the_key_does_not_follow_what_changes_no_number() -> None:
    told = Job(2, "b.wav", "v.toml", tags=Tags("S1", "press", "Ada", 2))
    assert key_of(Task(Job(1, "a.wav", "w.toml"), TEXT), "aa") == key_of(Task(told, TEXT, ("k",)), "aa")


@pytest.mark.usefixtures("deaf")
@pytest.mark.parametrize(
    ("state", "tyre", "age"), [("inflated", "inflated", None), ("ridden", "none", "ridden"), ("x", "none", None)]
)
def test_the_state_in_the_table_is_that_of_the_wheel(
    sounds: Callable[..., list[str]], state: str, tyre: str, age: str | None
) -> None:
    read_task(Task(Job(1, sounds("a.wav")[0], "w.toml", 4, "rim", "ccw", Tags(state=state)), TEXT))
    asked = fake.CALLS[-1]
    assert asked["first"] == 4
    assert asked["options"] == te.RoundOptions("rim", "ccw")
    wheel = asked["wheel"]
    assert isinstance(wheel, type(te.load_wheel(WHEEL)))
    assert (wheel.state.tyre, wheel.state.age) == (tyre, age)


@pytest.mark.usefixtures("deaf")
@pytest.mark.parametrize(
    ("name", "text", "code"),
    [
        ("broken.wav", TEXT, "sound"),
        ("device.wav", TEXT, "device"),
        ("bug.wav", TEXT, "error"),
        ("a.wav", "format = 1\n", "wheel-file"),
        ("missing/a.wav", TEXT, "sound"),
    ],
)
def test_what_goes_wrong_is_a_row(sounds: Callable[..., list[str]], name: str, text: str, code: str) -> None:
    file = sounds(name)[0]
    if "missing" in name:
        Path(file).unlink()
    row = read_task(Task(Job(1, file, "w.toml"), text))
    assert isinstance(row, Row)
    assert (row.status, row.reason_code) == ("failed", code)
    assert row.reason
    assert "\n" not in row.reason


@pytest.mark.usefixtures("deaf")
def test_a_file_that_changes_while_it_is_read_is_told(
    sounds: Callable[..., list[str]], monkeypatch: pytest.MonkeyPatch
) -> None:
    file = sounds("a.wav")[0]

    def read(sound: Path, **asked: object) -> te.Reading:
        sound.write_bytes(b"more sound than before")
        return fake.read(sound, **asked)

    monkeypatch.setattr(sys.modules["tensionear.pipeline"], "read", read)
    row = read_task(Task(Job(1, file, "w.toml"), TEXT))
    assert isinstance(row, Row)
    assert row.reason_code == "changed"
