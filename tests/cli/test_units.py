"""Newtons as the user set them, on every screen that shows some; JSON stays in newtons."""

from __future__ import annotations

import json
import re
from pathlib import Path

import pytest

from tensionear.cli import main
from tensionear.data import data_file
from tensionear.units import in_words
from tensionear.wheel.comparison import compare, known_tensions
from tests.dashboard.comparing import console, shown
from tests.dashboard.invented import wheel
from tests.dashboard.live.test_screen import SNAPSHOT, SUBJECT, lines
from tests.wheel.turning import cart, spoilt, text

NEWTONS = re.compile(r"\d N\b(?! m)")


@pytest.fixture
def folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.setenv("TENSIONEAR_UNITS", "kgf")
    read = spoilt(cart(), {1: 0.375, 4: -0.25})
    rows = [f"{spoke},{value:.2f}" for spoke, value in read.tensions_n.items()]
    (tmp_path / "tensions.csv").write_text("\n".join(["spoke,tension_n", *rows]) + "\n", "utf-8")
    (tmp_path / "wheel.toml").write_text(text(), "utf-8")
    monkeypatch.chdir(tmp_path)
    return tmp_path


def said(capsys: pytest.CaptureFixture[str], *arguments: str) -> str:
    assert main(arguments) == 0
    return capsys.readouterr().out


@pytest.mark.parametrize("form", [(), ("--plain",)])
def test_a_plan(folder: Path, capsys: pytest.CaptureFixture[str], form: tuple[str, ...]) -> None:
    plan = ("plan", "wheel.toml", "--tensions", "tensions.csv")
    out = said(capsys, *plan, *form)
    assert " kgf" in out
    assert not NEWTONS.search(out)
    document = json.loads(said(capsys, *plan, "--json"))
    assert 500 < document["predicted"]["spokes"][0]["tension_n"] < 2000
    assert document["predicted"]["spokes"][0]["tension_n"] == pytest.approx(
        10 * cart().sides["right"].target_n / 10, rel=0.2
    )


def test_the_wheel_file_sets_it_where_the_environment_does_not(
    folder: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.delenv("TENSIONEAR_UNITS")
    (folder / "own.toml").write_text(text().replace("format = 1", 'format = 1\nunits = "lbf"', 1), "utf-8")
    out = said(capsys, "plan", "own.toml", "--tensions", "tensions.csv", "--plain")
    assert " lbf" in out
    assert not NEWTONS.search(out)


def test_a_comparison() -> None:
    from tensionear.dashboard.comparison import comparison_lines, draw_comparison

    known = known_tensions("spoke,tension_n,u_percent\n1,1140,2\n2,686.5,2\n9,1000,2\n", "known.csv")
    found = compare(wheel().spokes, known)
    (first, *_) = comparison_lines(found, units="kgf")
    assert first.startswith("R1 (spoke 1): read 108 +/- 4 kgf, known 116 kgf, apart ")
    screen = console(80)
    draw_comparison(found, screen, units="daN")
    drawn = shown(screen)
    assert "read daN" in drawn
    assert "known daN" in drawn
    assert " 100 " in drawn


def test_a_description_and_a_tone(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    file = data_file("recordings_demo", "wheel.toml")
    out = said(capsys, "describe", str(file), "--show")
    assert " kgf" in out
    assert not NEWTONS.search(out)
    out = said(capsys, "tone", str(file), "--spoke", "1", "--target", "1000", "--quiet")
    assert out.startswith("R1 at 102 kgf: ")


def test_a_live_round() -> None:
    drawn = "\n".join(lines(SNAPSHOT, units="kgf"))
    assert re.search(r"59(\.\d)? ± 1(\.\d)? kgf", drawn)
    assert not NEWTONS.search(drawn)
    turning = "\n".join(lines(turned(), units="kgf"))
    assert " kgf" in turning
    assert not NEWTONS.search(turning)


def turned():
    """A spoke being turned, at its second pluck."""
    from dataclasses import replace

    from tensionear.live.events import Lines, Plucked, Value
    from tensionear.live.turning import step, turning_of

    state = turning_of(SUBJECT.wheel, 5, dict.fromkeys(range(1, 33), 900.0), 1000.0)
    for onset_s, tension_n in ((1.0, 900.0), (3.0, 950.0)):
        state, _ = step(
            state, Plucked(onset_s, onset_s + 0.3, Lines((400.0,), (0.0,)), Value(400.0, tension_n, 9.0), True)
        )
    return replace(SNAPSHOT, turning=state)


def test_plain_lines_of_a_live_round() -> None:
    from tensionear.dashboard.live.lines import PlainLines
    from tensionear.live.events import Value
    from tensionear.live.session import Told

    written: list[str] = []
    PlainLines(written.append, SUBJECT, 1, "daN").tell(Told("accepted", 3, Value(400.0, 1043.0, 15.0), count=1))
    assert "104 +/- 3 daN" in written[0]


def test_an_uncertainty_is_never_told_as_none() -> None:
    assert in_words("1043 +/- 4 N, at most 1250 N", "kgf") == "106.4 +/- 0.4 kgf, at most 127 kgf"
    assert in_words("1000 to 1200 N; 130 N m/rad", "daN") == "100 to 120 daN; 130 N m/rad"
