"""``tensionear log``, ``tensionear card`` and ``read --keep`` as a user types them."""

from __future__ import annotations

import json
import shutil
from pathlib import Path

import pytest

from tensionear.cli import main
from tensionear.data import data_file
from tensionear.records.log import Log
from tensionear.records.values import Asked, State
from tests.dashboard.invented import evenness, pluck, wheel


@pytest.fixture
def log(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Log:
    monkeypatch.setenv("TENSIONEAR_LOG", str(tmp_path / "rounds.sqlite"))
    monkeypatch.delenv("TENSIONEAR_UNITS", raising=False)
    monkeypatch.chdir(tmp_path)
    log = Log()
    log.save(wheel(), Asked(), state=State("none"), note="new")
    log.save(wheel({9: 990.0}), Asked(), state=State("none"), note="after the first rides")
    log.save(evenness({7: -9.0}), Asked(spokes=28))
    opened = log.open_round(Asked(), "Handcart")
    opened.append(pluck(1))
    return log


def said(capsys: pytest.CaptureFixture[str], *arguments: str) -> tuple[int, str, str]:
    code = main(arguments)
    out = capsys.readouterr()
    return code, out.out, out.err


def test_list_shows_and_searches(log: Log, capsys: pytest.CaptureFixture[str]) -> None:
    code, out, _ = said(capsys, "log", "list")
    assert code == 0
    for words in ("Mill Lane", "out of its limits", "unfinished", "not even", "rides"):
        assert words in out
    _, out, _ = said(capsys, "log", "list", "--plain", "--wheel", "mill", "--verdict", "out", "--note", "RIDES")
    (line,) = out.splitlines()
    assert line.startswith("Round 2, 20")
    assert "36 plucks, note: after the first rides." in line
    _, out, _ = said(capsys, "log", "list", "--limit", "1", "--plain")
    assert out.splitlines()[1].startswith("3 older ones are not shown")
    _, out, _ = said(capsys, "log", "list", "--json", "--wheel", "mill")
    document = json.loads(out)
    assert document["format"] == "tensionear.log/1"
    assert [row["id"] for row in document["rounds"]] == [2, 1]
    assert said(capsys, "log", "list", "--wheel", "nowhere")[1].startswith("No round in")


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (("log", "list", "--since", "yesterday"), "is no day; give year, month and day"),
        (("log", "list", "--verdict", "good"), "allowed: within, out, undecided, none"),
        (("log", "list", "--log", "nothing.sqlite"), "no such log"),
        (("log", "show", "99"), "round 99 is not in"),
        (("log", "compare", "1", "3"), "compare rounds of one wheel"),
        (("log", "compare", "1", "4"), "unfinished"),
        (("log", "reread", "1"), "without the sound"),
        (("log", "forget", "1"), "add --yes"),
        (("log", "import", "nothing.zip"), "no archive that can be read"),
        (("log", "rescue", "rounds.sqlite"), "exists"),
        (("card", "4"), "unfinished"),
        (("card", "nobody"), "no finished round of 'nobody'"),
        (("card", "1", "--picture", "x.gif"), ".svg or .png"),
        (("card", "1", "--out", "no/such/folder.html"), "cannot be written"),
        (("card", "e"), "part of the names of 2 wheels"),
        (("read", "x.wav", "--spokes", "28", "--note", "lost"), "add --keep"),
    ],
)
def test_mistakes_are_one_line(
    log: Log, capsys: pytest.CaptureFixture[str], arguments: tuple[str, ...], words: str
) -> None:
    code, out, err = said(capsys, *arguments)
    assert code == 2
    assert words in err
    assert len(err.splitlines()) == 1
    assert out == ""


def test_show_and_compare(log: Log, capsys: pytest.CaptureFixture[str]) -> None:
    _, out, _ = said(capsys, "log", "show", "2", "--plain")
    assert "Note: after the first rides" in out
    assert "R5 (spoke 9): 990 +/- 40 N" in out
    assert "no reading yet" in said(capsys, "log", "show", "4")[1]
    document = json.loads(said(capsys, "log", "show", "2", "--json")[1])
    assert (document["format"], document["reading"]["verdict"], document["state"]["tyre"]) == (
        "tensionear.round/1", "out", "none",
    )  # fmt: skip
    _, out, _ = said(capsys, "log", "compare", "1", "2", "--plain")
    assert out.splitlines()[-1].startswith("Moved: R5 -150")
    document = json.loads(said(capsys, "log", "compare", "1", "2", "--json")[1])
    assert [each["label"] for each in document["spokes"] if each["word"] == "moved"] == ["R5"]
    assert "no change seen" in said(capsys, "log", "compare", "1", "2")[1]


def test_compare_tells_the_loss_since_new(log: Log, capsys: pytest.CaptureFixture[str]) -> None:
    later = log.save(wheel(dict.fromkeys(range(1, 36, 2), 1000.0)), Asked(), state=State("none"))
    assert "first kept round" not in said(capsys, "log", "compare", "1", str(later), "--plain")[1]
    line = said(capsys, "log", "compare", "2", str(later), "--plain")[1].splitlines()[-1]
    assert line.startswith("Since the first kept round (1, 20")
    assert line.endswith("right side -8.9 +/- 2.0 %, left side 0.0 +/- 2.0 %.")


def test_numbers_are_in_the_units_set(
    log: Log, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("TENSIONEAR_UNITS", "kgf")
    assert "R5 (spoke 9): 101 +/- 4 kgf" in said(capsys, "log", "show", "2", "--plain")[1]
    assert "(kgf)." in said(capsys, "log", "compare", "1", "2", "--plain")[1]
    assert "mean 112 +/- 4 kgf" in said(capsys, "log", "trend", "1", "--plain")[1]
    assert json.loads(said(capsys, "log", "show", "2", "--json")[1])["reading"]["spokes"][8]["tension_n"] == 990.0
    monkeypatch.setenv("TENSIONEAR_UNITS", "stone")
    code, _, err = said(capsys, "log", "show", "2")
    assert (code, "allowed: N, kgf, daN, lbf" in err) == (2, True)


def test_trend_is_drawn(log: Log, capsys: pytest.CaptureFixture[str]) -> None:
    _, out, _ = said(capsys, "log", "trend", "mill lane")
    assert out.count("●") == 4
    assert "No spoke keeps losing" in out


def test_rounds_go_out_and_come_in(log: Log, capsys: pytest.CaptureFixture[str]) -> None:
    assert said(capsys, "log", "export", "rounds.zip", "1", "2")[1] == "2 rounds written to rounds.zip.\n"
    assert said(capsys, "log", "import", "rounds.zip", "--log", "other.sqlite")[1].startswith("2 rounds taken in: 1, 2")
    assert said(capsys, "log", "backup", "copy.sqlite")[0] == 0
    assert said(capsys, "log", "check", "--log", "copy.sqlite")[1].endswith("4 rounds, nothing wrong.\n")
    assert said(capsys, "log", "rescue", "saved.sqlite")[1] == "4 rounds saved in saved.sqlite.\n"
    assert said(capsys, "log", "forget", "1", "2", "--yes")[1].count("Forgotten") == 2
    assert len(log.rounds()) == 2


def test_check_says_what_is_wrong(log: Log, capsys: pytest.CaptureFixture[str]) -> None:
    content = log.path.read_bytes()
    log.path.write_bytes(content[: len(content) // 2])
    code, out, err = said(capsys, "log", "check")
    assert code == 2
    assert "damaged" in out + err


def test_card_writes_page_pictures_and_tables(log: Log, capsys: pytest.CaptureFixture[str]) -> None:
    code, out, _ = said(
        capsys, "card", "Mill Lane", "--picture", "wheel.svg", "--csv", "wheel.csv", "--json", "wheel.json"
    )
    assert (code, out.split()) == (0, ["card-2.html", "wheel.svg", "wheel.csv", "wheel.json"])
    assert Path("card-2.html").read_text("utf-8").startswith("<!DOCTYPE html>")
    assert Path("wheel.csv").read_text("utf-8").startswith("spoke,label,side,tension_n,")
    assert json.loads(Path("wheel.json").read_text("utf-8"))["id"] == 2
    assert said(capsys, "card", "1", "--picture", "wheel.png", "--out", "one.html")[0] == 0
    assert Path("wheel.png").read_bytes().startswith(b"\x89PNG")
    assert not list(Path().glob(".*.part"))


def test_a_round_is_read_kept_and_found_by_its_wheel_file(log: Log, capsys: pytest.CaptureFixture[str]) -> None:
    wheel_file, sound = data_file("recordings_demo", "wheel.toml"), data_file("recordings_demo", "round.flac")
    own = Path("own.toml")
    shutil.copyfile(wheel_file, own)
    own.write_text(own.read_text("utf-8").replace("format = 1", 'format = 1\nunits = "daN"'), "utf-8")
    code, out, err = said(
        capsys,
        "read",
        str(sound),
        "--wheel",
        "own.toml",
        "--first",
        "1",
        "--log",
        "new.sqlite",
        "--note",
        "n",
        "--json",
    )
    assert code == 0
    assert json.loads(out)["recordings"][0]["verdict"] == "out"
    assert err == "Kept as round 1 in new.sqlite.\n"
    kept = Log("new.sqlite").load(1)
    assert kept.asked.wheel_text == own.read_text("utf-8")
    assert kept.state == State("none")
    assert kept.sound is not None
    assert Log("new.sqlite").sound_path(kept.sound).read_bytes() == Path(sound).read_bytes()
    assert said(capsys, "card", "own.toml", "--log", "new.sqlite")[0] == 0
    assert '<th scope="col">daN</th>' in Path("card-1.html").read_text("utf-8")


def test_what_cannot_be_kept_is_still_shown(log: Log, capsys: pytest.CaptureFixture[str]) -> None:
    Path("text.sqlite").write_text("no log " * 400)
    sound = data_file("recordings_demo", "round.flac")
    code, out, err = said(capsys, "read", str(sound), "--spokes", "32", "--log", "text.sqlite", "--plain")
    assert code == 2
    assert "damaged or no log" in err
    assert "To do:" in out
