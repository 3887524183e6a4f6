"""``tensionear calibrate`` and ``tensionear weigh`` as a user types them."""

from __future__ import annotations

import io
import json

import numpy as np
import pytest
import soundfile

from tensionear.cli import main
from tensionear.data import data_file

WHEEL, SOUND = (str(data_file("recordings_demo", name)) for name in ("wheel.toml", "round.flac"))
#: Truth of four spokes of the demo.
TRUTH = {3: 997.2, 4: 570.4, 14: 588.3, 21: 1008.0}


@pytest.fixture(scope="module")
def truth():
    rows = data_file("recordings_demo", "truth.csv").read_text("utf-8").split()[1:]
    return {int(row.split(",")[0]): float(row.split(",")[2]) for row in rows}


def run(capsys, *given):
    code = main(list(given))
    out, err = capsys.readouterr()
    return code, out, err


def table(tmp_path, rows, heading="spoke,tension_n,u_percent"):
    path = tmp_path / "known.csv"
    path.write_text("\n".join([heading, *rows]) + "\n", "utf-8")
    return str(path)


def test_the_demo_tied_and_read_with_it(capsys, tmp_path, truth, no_own_calibrations):
    rows = [f"{n},{truth[n]:.1f},0.5" for n in (3, 4, 14, 21)]
    known = table(tmp_path, rows)
    code, out, err = run(
        capsys, "calibrate", WHEEL, "--known", known, "--sound", SOUND, "--name", "Book trailer", "--by", "Ada"
    )
    assert (code, err) == (0, "")
    assert "Right side, steel-butted-2.0-1.8, elbow heads: 2 of 16 spokes known." in out
    assert "The known values agree among themselves" in out
    assert max(len(line) for line in out.splitlines() if line.startswith("  R")) <= 60
    assert (no_own_calibrations / "book-trailer.v1.toml").is_file()
    code, out, _ = run(capsys, "calibrate", "--again", "book-trailer", "--json")
    record = json.loads(out)
    assert (record["format"], record["measured_by"], record["how"]) == ("tensionear.calibrate/1", "Ada", "known")
    _, out, _ = run(capsys, "read", SOUND, "--wheel", WHEEL, "--json")
    with_it = json.loads(out)["recordings"][0]
    _, out, _ = run(capsys, "read", SOUND, "--wheel", WHEEL, "--json", "--no-calibration")
    without = json.loads(out)["recordings"][0]
    assert "calibrated" in [each["code"] for each in with_it["findings"]]
    assert "calibrated" not in [each["code"] for each in without["findings"]]
    assert {each["how"] for each in with_it["ends"]["right"]} == {"calibrated"}
    for one, plain in zip(with_it["spokes"], without["spokes"], strict=True):
        assert one["u_tension_n"] < plain["u_tension_n"]
    apart = [abs(one["tension_n"] / truth[one["spoke"]] - 1) for one in with_it["spokes"]]
    assert sum(apart) < sum(abs(one["tension_n"] / truth[one["spoke"]] - 1) for one in without["spokes"])


@pytest.mark.parametrize(
    ("heading", "rows", "match"),
    [
        ("spoke,tension_n", ["3,101", "4,58", "21,103"], "kgf under a heading of N"),
        ("spoke,tension_n", ["3,997,2"], "a decimal comma?"),
        ("spoke,tension_n", ["33,997"], "spoke 33 of a wheel of 32"),
        ("spoke,tension_n,tyre", ["3,950,inflated"], "--carry PERCENT"),
    ],
)
def test_slips_end_in_one_line(capsys, tmp_path, no_own_calibrations, heading, rows, match):
    code, out, err = run(capsys, "calibrate", WHEEL, "--known", table(tmp_path, rows, heading), "--sound", SOUND)
    assert (code, out) == (2, "")
    assert match in err
    assert err.count("\n") == 1
    assert not no_own_calibrations.exists()


@pytest.mark.parametrize(
    ("given", "match"),
    [
        (["calibrate", WHEEL], "give one of"),
        (["calibrate", "--known", "k.csv"], "give WHEEL too"),
        (["calibrate", "--hanging", "h.csv", "--kind", "steel-round-2.0"], "--kind ID and --length MM"),
        (["calibrate", "--again", "nothing"], "no calibration 'nothing'"),
        (["weigh", "--name", "x", "--mass", "6", "--whole-length", "270"], "give --kind"),
    ],
)
def test_usage(capsys, given, match):
    code, _, err = run(capsys, *given)
    assert code == 2
    assert match in err


def test_without_a_sound_the_log_is_asked(capsys, tmp_path):
    known = table(tmp_path, ["3,997"])
    code, _, err = run(capsys, "calibrate", WHEEL, "--known", known, "--log", str(tmp_path / "none.sqlite"))
    assert code == 2
    assert "--sound SOUND" in err


def test_hanging_needs_a_table_and_cautions_first(capsys, tmp_path):
    given = ["calibrate", "--kind", "steel-round-2.0", "--length", "280", "--hanging", str(tmp_path / "no.csv")]
    code, _, err = run(capsys, *given)
    assert code == 2
    assert "Wear eye protection" in err
    assert "never" in err.lower()
    assert "does not exist" in err


def test_weigh(capsys, no_own_calibrations):
    given = [
        "weigh",
        "--mass",
        "67.5",
        "--count",
        "10",
        "--whole-length",
        "272",
        "--kind",
        "steel-round-2.0",
        "--name",
        "Shelf 3",
    ]
    code, out, _ = run(capsys, *given)
    assert code == 0
    assert out.startswith("Mass per length 24.82 g/m +/- 0.")
    assert (no_own_calibrations / "shelf-3.v1.toml").is_file()
    code, out, _ = run(capsys, *given[:-2], "--json")
    assert json.loads(out)["mass_per_length_g_m"] == pytest.approx(24.816, abs=1e-3)


class Terminal(io.StringIO):
    """Answers typed at a terminal."""

    def isatty(self):
        return True


def test_the_wizard_refuses_too_much_and_asks_for_the_recording_again(
    capsys, tmp_path, monkeypatch, no_own_calibrations
):
    for name in ("a.wav", "b.wav", "c.wav"):
        soundfile.write(tmp_path / name, np.zeros(48_000), 48_000)
    answers = ["10", "", "gone.wav", "a.wav", "200", "20", "0.05", "b.wav", "30", "", "c.wav", "n"]
    monkeypatch.setattr("sys.stdin", Terminal("\n".join(answers) + "\n"))
    asked = tmp_path / "masses.csv"
    given = ["--kind", "steel-round-2.0", "--length", "280", "--hanging", str(asked)]
    code, _, err = run(capsys, "calibrate", *given)
    assert asked.read_text("utf-8").split() == [
        "sound,mass_kg,u_mass_kg",
        "a.wav,10.0,0.01",
        "b.wav,20.0,0.05",
        "c.wav,30.0,0.03",
    ]
    assert err.index("Wear eye protection") < err.index("Mass 1 with its hook")
    assert "gone.wav is not there" in err
    assert "more than 1037 N; hang less" in err
    assert code == 2
    assert "a.wav is silent" in err
    assert not no_own_calibrations.exists()


def test_what_was_weighed_is_computed_again(capsys, no_own_calibrations):
    run(capsys, "weigh", "--mass", "6.8", "--whole-length", "272", "--kind", "steel-round-2.0", "--name", "shelf")
    code, out, _ = run(capsys, "calibrate", "--again", "shelf")
    assert code == 0
    assert "the same result comes out" in out
    assert [path.name for path in no_own_calibrations.iterdir()] == ["shelf.v1.toml"]
