"""Each file and its wheel: by table, by its neighbour, by name; and which attempt supersedes which."""

from __future__ import annotations

import shutil
from collections.abc import Callable
from pathlib import Path

import pytest

from tensionear.batch.mapping import parse_mapping
from tensionear.batch.matching import Inputs, jobs_of, matcher_of, superseded, unmatched, work_of
from tensionear.batch.values import Job, Row, Tags, Task
from tensionear.errors import InputError, TensionearError, UsageError
from tests.batch.conftest import WHEEL


def wheels(folder: Path, *names: str) -> str:
    folder.mkdir(exist_ok=True)
    for name in names:
        shutil.copy(WHEEL, folder / f"{name}.toml")
    return str(folder)


def matched(inputs: Inputs) -> dict[str, str]:
    """Name of each sound to that of its wheel file."""
    return {Path(job.file).name: Path(job.wheel_file).name for job in jobs_of(inputs, matcher_of(inputs))}


def test_what_is_said_most_closely_wins(sounds: Callable[..., list[str]], tmp_path: Path) -> None:
    sounds(
        "in/mill-07.wav",
        "in/Mill rear 3.wav",
        "in/millet.wav",
        "in/cart/1.wav",
        "in/own.wav",
        "in/told.wav",
        "in/x.wav",
    )
    shutil.copy(WHEEL, tmp_path / "in" / "own.toml")
    folder = wheels(tmp_path / "w", "mill", "mill rear", "cart", "own")
    (tmp_path / "map.csv").write_text("file,wheel\nin/told.wav,cart\nin/x.wav,\n")
    shutil.copy(WHEEL, tmp_path / "all.toml")
    found = matched(Inputs((str(tmp_path / "in"),), None, folder, str(tmp_path / "map.csv")))
    assert found == {
        "mill-07.wav": "mill.toml", "Mill rear 3.wav": "mill rear.toml", "millet.wav": "", "1.wav": "cart.toml",
        "own.wav": "own.toml", "told.wav": "cart.toml", "x.wav": "",
    }  # fmt: skip
    found = matched(Inputs((str(tmp_path / "in"),), str(tmp_path / "all.toml")))
    assert found["own.wav"] == "own.toml"
    assert found["x.wav"] == "all.toml"


def test_a_file_without_a_wheel_says_what_was_looked_for(sounds: Callable[..., list[str]], tmp_path: Path) -> None:
    (file,) = sounds("lost.wav")
    inputs = Inputs((file,), None, wheels(tmp_path / "w", "mill"))
    row = work_of(jobs_of(inputs, matcher_of(inputs))[0], ())
    assert isinstance(row, Row)
    assert row.reason_code == "no-wheel"
    assert "looked for lost.toml beside it, a wheel file in" in row.reason


def test_a_broken_wheel_file_is_the_fault_of_its_files_alone(sounds: Callable[..., list[str]], tmp_path: Path) -> None:
    (file,) = sounds("a.wav")
    (tmp_path / "a.toml").write_bytes(b"\xff\xfe")
    row = work_of(matcher_of(Inputs(())).job(1, file), ())
    assert isinstance(row, Row)
    assert row.reason_code == "wheel-file"


def test_a_wheel_file_that_changes_is_read_anew(sounds: Callable[..., list[str]], tmp_path: Path) -> None:
    (file,) = sounds("a.wav")
    shutil.copy(WHEEL, tmp_path / "a.toml")
    job = matcher_of(Inputs(())).job(1, file)
    first = work_of(job, ())
    (tmp_path / "a.toml").write_text("format = 1\n")
    second = work_of(job, ())
    assert isinstance(first, Task)
    assert isinstance(second, Task)
    assert second.wheel_text == "format = 1\n" != first.wheel_text


def test_a_table_alone_names_the_files(sounds: Callable[..., list[str]], tmp_path: Path) -> None:
    sounds("a.wav", "b.wav")
    shutil.copy(WHEEL, tmp_path / "w.toml")
    (tmp_path / "map.csv").write_text(
        "\ufefffile, wheel, first, order, direction, state, serial, station, operator, attempt, recorded\n"
        "b.wav, w.toml, 5, right-then-left, ccw, inflated, S1, press, Ada, 2, 2026-11-25T08:00\n"
        "a.wav, w.toml,,,,,,,,,\n",
        encoding="utf-8",
    )
    inputs = Inputs((), table=str(tmp_path / "map.csv"))
    first, second = jobs_of(inputs, matcher_of(inputs))
    assert first == Job(
        1, str(tmp_path / "b.wav"), str(tmp_path / "w.toml"), 5, "right-then-left", "ccw",
        Tags("S1", "press", "Ada", 2, "inflated", "2026-11-25T08:00"),
    )  # fmt: skip
    assert second == Job(2, str(tmp_path / "a.wav"), str(tmp_path / "w.toml"))


def test_a_bare_name_in_a_table_is_that_file_in_any_folder(sounds: Callable[..., list[str]], tmp_path: Path) -> None:
    sounds("in/a.wav")
    (tmp_path / "map.csv").write_text("file,serial\na.wav,S9\n")
    inputs = Inputs((str(tmp_path / "in"),), str(WHEEL), None, str(tmp_path / "map.csv"))
    assert [job.tags.serial for job in jobs_of(inputs, matcher_of(inputs))] == ["S9"]


def test_lines_of_a_table_that_match_no_file_are_named(sounds: Callable[..., list[str]], tmp_path: Path) -> None:
    sounds("in/a.wav", "in/deep/b.wav")
    (tmp_path / "map.csv").write_text("file,first\nb.wav,2\nin/a.wav,1\nc.wav,1\nin/d.wav,3\n")
    inputs = Inputs((str(tmp_path / "in"),), wheel=str(WHEEL), table=str(tmp_path / "map.csv"))
    matcher = matcher_of(inputs)
    jobs = jobs_of(inputs, matcher)
    assert [job.first for job in jobs] == [1, 2]
    assert unmatched(matcher, jobs) == ["c.wav", str(tmp_path / "in" / "d.wav")]


def test_no_file_is_read_twice(sounds: Callable[..., list[str]], tmp_path: Path) -> None:
    (file,) = sounds("a.wav")
    inputs = Inputs((file, str(tmp_path), f"{tmp_path}/./a.wav"), str(WHEEL))
    assert len(jobs_of(inputs, matcher_of(inputs))) == 1


@pytest.mark.parametrize(
    ("table", "told"),
    [
        ("name,wheel\n", "needed is file"),
        ("", "the columns are none"),
        ("file,whel\n", "did you mean wheel"),
        ("file,file\n", "doubled"),
        ("file,first\na.wav,0\n", "line 2: first is '0'"),
        ("file,first\na.wav,1.5\n", "whole number from 1"),
        ("file,order\na.wav,round\n", "allowed are rim, right-then-left"),
        ("file,direction\na.wav,left\n", "allowed are cw, ccw"),
        ("file,state\na.wav,Inflatet\n", "did you mean inflated"),
        ("file,attempt\na.wav,second\n", "attempt is 'second'"),
        ("file,recorded\na.wav,25.11.2026\n", "2026-11-25T14:30"),
        ("file\na.wav\na.wav\n", "line 3: a.wav is there twice"),
        ("file,serial\n,S1\n", "no file"),
        ("file\na,b.wav\n", "into quotes"),
    ],
)
def test_a_table_that_is_wrong_is_told(table: str, told: str) -> None:
    with pytest.raises(InputError, match=told):
        parse_mapping(table, "map.csv")


def test_other_states_are_kept_as_they_are() -> None:
    (entry,) = parse_mapping("file,state\na.wav,before stress relief\n", "map.csv")
    assert entry.tags.state == "before stress relief"


@pytest.mark.parametrize(
    ("inputs", "told"),
    [
        (Inputs(()), "no sounds given"),
        (Inputs(("a.wav",), "a.toml", "b"), "both given"),
        (Inputs(("a.wav",), "missing.toml"), "no such file"),
        (Inputs(("a.wav",), None, "nowhere"), "is no folder"),
        (Inputs(("a.wav",), None, None, "map.csv"), "cannot be read"),
    ],
)
def test_what_is_wrong_for_all_files_is_told_at_once(inputs: Inputs, told: str) -> None:
    with pytest.raises(TensionearError, match=told):
        jobs_of(inputs, matcher_of(inputs))


def test_folders_without_sounds_or_wheels(tmp_path: Path) -> None:
    with pytest.raises(UsageError, match="no sound file there"):
        jobs_of(Inputs((str(tmp_path),)), matcher_of(Inputs((str(tmp_path),))))
    with pytest.raises(UsageError, match="holds no wheel file"):
        matcher_of(Inputs((), None, str(tmp_path)))


def job(number: int, attempt: int | None, serial: str = "S1", state: str = "") -> Job:
    return Job(number, f"{number}.wav", "w.toml", tags=Tags(serial, attempt=attempt, state=state))


def test_a_later_attempt_supersedes_the_earlier_ones() -> None:
    jobs = [job(1, 2), job(2, 1), job(3, 3), job(4, 1, "S2"), job(5, 2, state="inflated"), job(6, None), job(7, 3)]
    after, before = superseded(jobs, set(range(1, 8)))
    assert after == {2: "1.wav", 1: "3.wav"}
    assert before == {1: "2.wav", 3: "1.wav", 7: "1.wav"}


def test_an_attempt_that_could_not_be_read_supersedes_nothing() -> None:
    after, before = superseded([job(1, 1), job(2, 2)], {1})
    assert after == {}
    assert before == {}


def test_repeats_without_numbers_are_repeats() -> None:
    assert superseded([job(1, None), job(2, None), job(3, 1, ""), job(4, 2, "")], {1, 2, 3, 4}) == ({}, {})
