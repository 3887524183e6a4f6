"""Turns planned straight from a reading: its JSON, or a round of the log, with the sheet kept with it."""

from __future__ import annotations

import dataclasses
import json
from pathlib import Path

import pytest

from tensionear.cli import main
from tensionear.reading import Finding
from tensionear.records.log import Log
from tensionear.records.values import Asked
from tests.dashboard.invented import evenness, wheel
from tests.wheel.turning import text

SHEET = {"dish_mm": 0.15, "spoke": {"3": {"lateral_mm": 0.4}, "11": {"lateral_mm": -0.2}}}


@pytest.fixture
def folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.setenv("TENSIONEAR_LOG", str(tmp_path / "rounds.sqlite"))
    monkeypatch.delenv("TENSIONEAR_UNITS", raising=False)
    monkeypatch.chdir(tmp_path)
    reading = wheel({7: 800.0, 4: None}, count=20)
    log = Log()
    log.save(reading, Asked())
    log.save(dataclasses.replace(reading, sheet=SHEET), Asked())
    log.save(evenness({7: -9.0}, count=20), Asked(spokes=20))
    log.open_round(Asked(), "Handcart")
    (tmp_path / "wheel.toml").write_text(text(), "utf-8")
    rows = [
        f"{each.spoke},{each.tension_n:.6f},{100 * (each.u_individual_n or 0.0) / each.tension_n:.6f}"
        for each in reading.spokes
        if each.tension_n is not None
    ]
    (tmp_path / "table.csv").write_text("\n".join(["spoke,tension_n,u_percent", *rows]) + "\n", "utf-8")
    members = {"format": "tensionear.read/1", "recordings": [reading.to_member()]}
    (tmp_path / "read.json").write_text(json.dumps(members), "utf-8")
    (tmp_path / "one.json").write_text(json.dumps({**reading.to_dict(), "format": "tensionear.read/1"}), "utf-8")
    (tmp_path / "two.json").write_text(json.dumps({**members, "recordings": [reading.to_member()] * 2}), "utf-8")
    (tmp_path / "other.json").write_text('{"format": "tensionear.plan/1"}', "utf-8")
    return tmp_path


def planned(capsys: pytest.CaptureFixture[str], *arguments: str) -> dict[str, object]:
    assert main(["plan", "wheel.toml", *arguments, "--json"]) == 0
    return json.loads(capsys.readouterr().out)


def expected(document: dict[str, object]) -> dict[int, float]:
    return {
        each["spoke"]: each["tension_n"] for each in document["predicted"]["spokes"] if each["tension_n"] is not None
    }


def test_json_round_and_table_give_one_plan(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    table = planned(capsys, "--tensions", "table.csv")
    assert len(table["turns"]) > 5
    assert main(["log", "show", "1", "--json"]) == 0
    (folder / "shown.json").write_text(capsys.readouterr().out, "utf-8")
    for source in ("read.json", "one.json", "shown.json", "1"):
        found = planned(capsys, "--tensions", source)
        assert found["turns"] == table["turns"]
        assert expected(found) == pytest.approx(expected(table), rel=1e-6)
        assert found["readings"]["u_tensions_n"]["7"] == pytest.approx(0.006 * 800)
        assert "4" not in found["readings"]["tensions_n"]


def test_the_sheet_of_the_sitting_counts_unless_another_is_given(
    folder: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    kept = planned(capsys, "--tensions", "2")
    assert kept["readings"]["lateral_mm"] == {"3": pytest.approx(0.4), "11": pytest.approx(-0.2)}
    assert kept["readings"]["dish_mm"] == pytest.approx(0.15)
    assert kept["notes"][0] == "run-out and dish are those of the sheet kept with round 2"
    (folder / "other.csv").write_text("spoke,lateral_mm\n5,0.1\n", "utf-8")
    given = planned(capsys, "--tensions", "2", "--runout", "other.csv")
    assert given["readings"]["lateral_mm"] == {"5": pytest.approx(0.1)}
    assert given["readings"]["dish_mm"] is None
    assert not any("sheet" in note for note in given["notes"])
    (folder / "my.sheet.toml").write_text("format = 1\ndish_mm = -0.2\n[spoke.6]\nradial_mm = 0.3\n", "utf-8")
    sheet = planned(capsys, "--tensions", "1", "--runout", "my.sheet.toml")
    assert (sheet["readings"]["radial_mm"], sheet["readings"]["dish_mm"]) == ({"6": pytest.approx(0.3)}, -0.2)


@pytest.mark.parametrize(
    ("source", "told"),
    [
        ("3", "has no tensions of a wheel's spokes"),
        ("4", "is unfinished"),
        ("9", "round 9 is not in"),
        ("two.json", "holds 2 readings; give the JSON of one recording"),
        ("other.json", "is no reading; give the JSON of tensionear read --json"),
    ],
)
def test_what_is_refused(folder: Path, capsys: pytest.CaptureFixture[str], source: str, told: str) -> None:
    assert main(["plan", "wheel.toml", "--tensions", source]) == 2
    err = capsys.readouterr().err
    assert told in err
    assert err.count("\n") == 1


@pytest.mark.parametrize("code", ["something-on-spoke", "pluck-again", "overtones-do-not-fit", "buzzing"])
def test_a_spoke_of_which_more_is_said_is_not_turned(
    folder: Path, capsys: pytest.CaptureFixture[str], code: str
) -> None:
    """A loaded, cracked or misheard spoke reads slack; tightening it would be the wrong answer."""
    reading = wheel({7: 600.0}, count=20)
    Log().save(reading, Asked())
    assert 7 in {each["spoke"] for each in planned(capsys, "--tensions", "5")["turns"]}
    Log().save(dataclasses.replace(reading, findings=(Finding(code, "look at it", (7,)),)), Asked())
    found = planned(capsys, "--tensions", "6")
    assert 7 not in {each["spoke"] for each in found["turns"]}
    assert found["notes"][0].startswith("left alone")
    assert "R4" in found["notes"][0]


@pytest.mark.parametrize("code", ["other-spoke", "sides-exchanged", "lacing-disagrees"])
def test_no_plan_is_made_of_a_reading_that_says_turn_nothing(
    folder: Path, capsys: pytest.CaptureFixture[str], code: str
) -> None:
    Log().save(dataclasses.replace(wheel(count=20), findings=(Finding(code, "it is another"),)), Asked())
    assert main(["plan", "wheel.toml", "--tensions", "5"]) == 2
    assert "round 5 is no ground for turning anything: it is another" in capsys.readouterr().err


def test_a_reading_of_another_number_of_spokes_is_refused(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    (folder / "wheel.toml").write_text(text(24), "utf-8")
    assert main(["plan", "wheel.toml", "--tensions", "1"]) == 2
    assert "round 1 is of 20 spokes, the wheel file of 24" in capsys.readouterr().err
