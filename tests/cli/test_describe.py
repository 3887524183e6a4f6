"""``describe``: the questions, the file written, what follows from it, and what is refused."""

import os
from pathlib import Path

import pytest
import typer
from typer.testing import CliRunner

from tensionear.cli.describe import describe
from tensionear.errors import InputError, UsageError, WheelFileError
from tensionear.loading import load_wheel

ANSWERS = {
    "name": "Mast lift wheel",
    "spokes": "32",
    "sides": "rl",
    "seat": "560,5",
    "offset": "",
    "class": "alloy-box",
    "max": "1250",
    "right": "steel-butted-2.0-1.8|elbow||58|18|3|clockwise|touching|1100",
    "left": "||262|||0|500",
    "tyre": "",
}


def keys(**changes: str) -> str:
    return "\n".join({**ANSWERS, **changes}.values()).replace("|", "\n") + "\n"


def run(*arguments: str, typed: str = ""):
    app = typer.Typer()
    app.command()(describe)
    return CliRunner().invoke(app, list(arguments), input=typed)


def test_asks_and_writes(tmp_path):
    file = tmp_path / "mast.toml"
    result = run(str(file), typed=keys())
    assert result.exit_code == 0, result.output
    wheel = load_wheel(file)
    assert (wheel.name, wheel.spokes, wheel.rim.seat_diameter_m) == ("Mast lift wheel", 32, pytest.approx(0.5605))
    assert (wheel.limits.max_tension_n, wheel.sides["right"].target_n, wheel.sides["left"].target_n) == (
        1250,
        1100,
        500,
    )
    assert wheel.sides["left"].spoke.name == "steel-butted-2.0-1.8"  # offered from the other side
    assert wheel.sides["left"].hub_circle_diameter_m == pytest.approx(0.058)
    assert wheel.place(2).free_length_m == pytest.approx(0.262)
    assert [path.name for path in tmp_path.iterdir()] == ["mast.toml"]
    assert "32 spokes" in result.output


def test_asks_again_until_the_answer_is_allowed(tmp_path):
    typed = keys(
        name="\nMast",
        spokes="many\n0\n32",
        sides="X\nRLR\nRL",
        seat="0.56\n560",
        right="?\nsteel-round\nsteel-round-2.0|hook|elbow||58|18|9|3|cw|clockwise|touching|1100",
    )
    result = run(str(tmp_path / "w.toml"), typed=typed)
    assert result.exit_code == 0, result.output
    for remedy in (
        "an empty text given",
        "'many' given; write a whole number",
        "allowed: from 1 to 200",
        "'X' given; allowed: R and L",
        "RLR does not divide 32 spokes",
        "0.56 given; allowed: from 100 to 1700",
        "steel-round-1.6, steel-round-1.8",
        "no 'steel-round'; nearest: steel-round-",
        "'hook' given; allowed: 'elbow' or 'straight'",
        "9 given; allowed: from 0 to 4",
        "'cw' given",
    ):
        assert remedy in result.output


def test_one_sided_wheel_without_geometry(tmp_path):
    typed = keys(sides="R", seat="", right="steel-round-2.0||270||||800", left="").replace("800\n\n", "800\n", 1)
    file = tmp_path / "w.toml"
    result = run(str(file), typed=typed)
    assert result.exit_code == 0, result.output
    assert list(load_wheel(file).sides) == ["right"]
    assert "bracing" not in result.output


@pytest.mark.parametrize("typed", ["", "Mast\n32\n"])
def test_questions_not_answered_write_nothing(tmp_path, typed):
    result = run(str(tmp_path / "w.toml"), typed=typed)
    assert isinstance(result.exception, UsageError)
    assert "nothing was written" in str(result.exception)
    assert list(tmp_path.iterdir()) == []


def test_answers_that_contradict_write_nothing(tmp_path):
    typed = keys(right="steel-round-2.0|elbow|270|58|18|4|clockwise|touching|1100", spokes="28")
    result = run(str(tmp_path / "w.toml"), typed=typed)
    assert isinstance(result.exception, WheelFileError)
    assert "cannot be laced so" in str(result.exception)
    assert list(tmp_path.iterdir()) == []


def test_an_existing_file_is_kept_unless_forced(tmp_path):
    file = tmp_path / "w.toml"
    file.write_text("mine", "utf-8")
    result = run(str(file), typed=keys())
    assert isinstance(result.exception, UsageError)
    assert "--force" in str(result.exception)
    assert file.read_text("utf-8") == "mine"
    assert run(str(file), "--force", typed=keys()).exit_code == 0
    assert load_wheel(file).spokes == 32


def test_places_that_cannot_be_written(tmp_path):
    assert "is a directory" in str(run(str(tmp_path)).exception)
    missing = run(str(tmp_path / "no" / "w.toml"))
    assert isinstance(missing.exception, InputError)
    assert "there is no folder" in str(missing.exception)


def test_a_failing_disk_leaves_nothing_behind(tmp_path, monkeypatch):
    def full(handle):
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(os, "fsync", full)
    result = run(str(tmp_path / "w.toml"), typed=keys())
    assert isinstance(result.exception, InputError)
    assert "cannot be written: No space left on device" in str(result.exception)
    assert list(tmp_path.iterdir()) == []


SHOWN = """\
format = 1
name = "Mast lift wheel"
[lacing]
spokes = 32
sides = "RL"
[rim]
seat_diameter_mm = 560
max_tension_n = 1250
[right]
spoke = "steel-round-2.0"
hub_circle_diameter_mm = 58
flange_offset_mm = 18
crosses = 3
first_runs = "clockwise"
target_n = 1100
[left]
spoke = "steel-round-1.8"
hub_circle_diameter_mm = 58
flange_offset_mm = 36
crosses = 0
free_length_mm = 250
"""


def test_show_tells_what_follows(tmp_path):
    file = tmp_path / "w.toml"
    file.write_text(SHOWN, "utf-8")
    assert (
        run(str(file), "--show").output
        == """\
Mast lift wheel: 32 spokes
right: 16 x steel-round-2.0
  free length 260.8 mm
  bracing angle 3.8 degrees
  outermost crossing 82.9 mm from the hub, at 34 degrees, touching or apart not stated
  expected pitch 408 .. 448 Hz (hinged .. clamped ends) at 1100 N, its target
left: 16 x steel-round-1.8
  free length 250.0 mm
  bracing angle 8.2 degrees
  radial: no crossing
  expected pitch 450 .. 489 Hz (hinged .. clamped ends) at 1000 N, no target stated
sides in balance at: left = 0.47 x right tension
highest tension any maker allows: 1250 N
warning (length-disagrees): left: free_length_mm is stated as 250.0, rim, hub and lacing give 243.6; \
the stated one is used; measure again
"""
    )


def test_show_of_a_wheel_that_cannot_balance(tmp_path):
    file = tmp_path / "w.toml"
    file.write_text(SHOWN.replace("seat_diameter_mm = 560", "seat_diameter_mm = 560\nseat_offset_mm = 20"), "utf-8")
    assert "sides in balance at: never" in run(str(file), "--show").output


def test_show_of_a_missing_file_writes_nothing(tmp_path):
    result = run(str(tmp_path / "w.toml"), "--show")
    assert isinstance(result.exception, WheelFileError)
    assert not Path(tmp_path / "w.toml").exists()
