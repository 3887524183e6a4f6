"""``tensionear sheet``: questions and options, what is kept, what is judged, what is refused."""

from __future__ import annotations

import io
import json
import tomllib
from pathlib import Path
from typing import Any

import pytest

from tensionear.cli import main
from tests.wheel.sitting import WHEEL, balanced, wheel


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    text = WHEEL.format(
        name="Millrace barrow", spokes=36, sides="RL", right=20.0, left=34.0, crosses=3, offset=0.0, seat=600.0
    )
    (tmp_path / "wheel.toml").write_text(text, "utf-8")
    rows = [f"{number},{value:.1f},0.8" for number, value in balanced(wheel()).items()]
    (tmp_path / "even.csv").write_text("spoke,tension_n,u_percent\n" + "\n".join(rows) + "\n", "utf-8")
    (tmp_path / "runout.csv").write_text("spoke,lateral_mm\n1,0.4\n10,-0.3\n19,0.1\n", "utf-8")
    return tmp_path


def run(capsys: pytest.CaptureFixture[str], folder: Path, *arguments: str) -> tuple[int, str, str]:
    """Exit code, output and errors; names of files are those of the folder."""
    given = [str(folder / each) if each.endswith((".toml", ".csv")) else each for each in arguments]
    code = main(["sheet", *given])
    out, err = capsys.readouterr()
    return code, out, err


def kept(folder: Path) -> dict[str, Any]:
    return tomllib.loads((folder / "wheel.sheet.toml").read_text("utf-8"))


def test_options_are_kept_and_added_to(capsys: pytest.CaptureFixture[str], folder: Path) -> None:
    code, out, err = run(capsys, folder, "wheel.toml", "--lateral-range", "0.2", "--flip", "0.3", "--notes", "by hand")
    assert (code, err) == (0, "")
    assert "Now read the tensions" in out
    assert kept(folder) == {
        "format": 1,
        "wheel": "Millrace barrow",
        "lateral_range_mm": 0.2,
        "dish_mm": 0.15,
        "notes": "by hand",
    }
    run(capsys, folder, "wheel.toml", "--radial-range", "0.4", "--lateral-range", "0.3", "--runout", "runout.csv")
    assert kept(folder)["lateral_range_mm"] == 0.3
    assert kept(folder)["radial_range_mm"] == 0.4
    assert kept(folder)["dish_mm"] == 0.15
    assert kept(folder)["spoke"]["10"] == {"lateral_mm": -0.3}


def test_tensions_are_judged_with_the_sheet(capsys: pytest.CaptureFixture[str], folder: Path) -> None:
    def verdict(*more: str) -> tuple[str, list[str]]:
        code, out, _ = run(capsys, folder, "wheel.toml", "--tensions", "even.csv", "--json", *more)
        assert code == 0
        (reading,) = json.loads(out)["recordings"]
        return reading["verdict"], [each["code"] for each in reading["findings"]]

    assert verdict("--lateral-range", "0.2") == ("within", [])
    assert verdict("--lateral-range", "1.2") == ("out", ["lateral-out", "bent-rim"])
    assert verdict("--lateral-range", "0.2", "--dish", "-1.1")[1][0] == "dish-out"


def test_the_questions_with_quick_keys(
    capsys: pytest.CaptureFixture[str], folder: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    answers = "i\n2,5\n300\nb\nx\nu\n\nn\nr\n0,25\n\nf\nfar\n-0.4\n\nq\n"
    monkeypatch.setattr("sys.stdin", io.StringIO(answers))
    code, out, err = run(capsys, folder, "wheel.toml", "--plain")
    assert (code, err) == (0, "")
    assert "'x' is none of n, r, u; Enter skips" in out
    assert "'far' is no number" in out
    assert "2.5 given; allowed: 20 to 2000" in out
    found = kept(folder)
    assert found["state"] == {"tyre": "inflated", "held": "bike", "pressure_kpa": 300.0, "age": "ridden"}
    assert (found["lateral_range_mm"], found["dish_mm"]) == (0.25, -0.2)
    assert "mass_g" not in found


def test_answers_that_end_early_write_nothing(
    capsys: pytest.CaptureFixture[str], folder: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("sys.stdin", io.StringIO("n\n"))
    code, _, err = run(capsys, folder, "wheel.toml")
    assert code == 2
    assert "nothing was written" in err
    assert not (folder / "wheel.sheet.toml").exists()


@pytest.mark.parametrize(
    ("arguments", "message"),
    [
        (("--dish", "1", "--flip", "2"), "--dish 1 and --flip 2 given; give one"),
        (("--dish", "90"), "dish_mm: 90.0 given"),
        (("--runout", "nowhere.csv"), "nowhere.csv cannot be read"),
        (("--tensions", "runout.csv"), "needed are spoke and one of tension_n"),
        (("--mass", "0"), "mass_g: 0.0 given"),
    ],
)
def test_mistakes(capsys: pytest.CaptureFixture[str], folder: Path, arguments: tuple[str, ...], message: str) -> None:
    code, _, err = run(capsys, folder, "wheel.toml", *arguments)
    assert code == 2
    assert message in err
    assert err.count("\n") == 1


def test_all_pictures(capsys: pytest.CaptureFixture[str], folder: Path) -> None:
    _, out, _ = run(capsys, folder, "wheel.toml", "--tensions", "even.csv", "--view", "all")
    for words in (
        "Right side   mean",
        "From the right side, valve at the top",
        "Right side, % of its mean",
        "no recording",
    ):
        assert words in out
