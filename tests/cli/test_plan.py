"""``tensionear plan``: tables in, instructions out; what would happen; what is refused."""

from __future__ import annotations

import json

import pytest

from tensionear.cli import main
from tests.wheel.turning import cart, spoilt, text

SPOILING = {1: 0.375, 4: -0.25, 7: -0.5, 8: 0.25}


@pytest.fixture
def files(tmp_path):
    read = spoilt(cart(), SPOILING)
    (tmp_path / "wheel.toml").write_text(text(), "utf-8")
    rows = [f"{spoke},{value:.2f}" for spoke, value in read.tensions_n.items()]
    (tmp_path / "tensions.csv").write_text("\n".join(["spoke,tension_n", *rows]) + "\n", "utf-8")
    rows = [f"{spoke},{1e3 * value:.4f},{1e3 * read.radial_m[spoke]:.4f}" for spoke, value in read.lateral_m.items()]
    (tmp_path / "runout.csv").write_text("\n".join(["spoke,lateral_mm,radial_mm", *rows]) + "\n", "utf-8")
    after = spoilt(cart(), {})
    rows = [f"{spoke},{value:.2f}" for spoke, value in after.tensions_n.items()]
    (tmp_path / "after.csv").write_text("\n".join(["spoke,tension_n", *rows]) + "\n", "utf-8")
    return tmp_path


def run(capsys, files, *arguments: str) -> tuple[int, str, str]:
    """Exit code, output and errors; names of files are those of the folder."""
    given = [str(files / each) if each.endswith((".toml", ".csv", ".json")) else each for each in arguments]
    code = main(["plan", *given])
    out, err = capsys.readouterr()
    return code, out, err


def test_instructions(capsys, files):
    code, out, err = run(capsys, files, "wheel.toml", "--tensions", "tensions.csv", "--runout", "runout.csv")
    assert (code, err) == (0, "")
    assert "R4: 1/2 tighter (clockwise, seen from the tyre side)" in out
    assert "R1: 3/8 looser (counterclockwise, seen from the tyre side)" in out
    assert out.index("glasses") < out.index("R1: 3/8")
    assert "lateral run-out" in out


def test_plain_and_json_agree(capsys, files):
    given = ("wheel.toml", "--tensions", "tensions.csv", "--runout", "runout.csv")
    _, plain, _ = run(capsys, files, *given, "--plain")
    code, told, err = run(capsys, files, *given, "--json")
    assert (code, err) == (0, "")
    document = json.loads(told)
    assert document["format"] == "tensionear.plan/1"
    assert {turn["spoke"]: turn["turns"] for turn in document["turns"]} == {
        spoke: -size for spoke, size in SPOILING.items()
    }
    for turn in document["turns"]:
        assert f"\n{turn['label']}: " in plain


def test_a_page_to_print(capsys, files):
    given = ("wheel.toml", "--tensions", "tensions.csv", "--runout", "runout.csv")
    code, out, err = run(capsys, files, *given, "--page", str(files / "turns.html"), "--plain")
    assert (code, err) == (0, "")
    page = (files / "turns.html").read_text("utf-8")
    turns = [line.split(" (")[0] for line in out.splitlines() if " (clockwise" in line or " (counterclockwise" in line]
    places = []
    for line in turns:
        label, what = line.split(": ")
        row = f'<th scope="row">{label}</th><td>{what}</td>'
        assert row in page
        places.append(page.index(row))
    assert turns
    assert places == sorted(places)
    assert (
        page.index("glasses")
        < places[0]
        < page.index("lateral run-out")
        < page.index("read tensions and run-out again")
    )
    assert "<script" not in page
    assert "http:" not in page


def test_a_name_on_the_page_is_text(capsys, files):
    (files / "wheel.toml").write_text(text().replace("Pump cart", "<b>Pump & cart"), "utf-8")
    run(capsys, files, "wheel.toml", "--tensions", "tensions.csv", "--page", str(files / "turns.html"))
    assert "&lt;b&gt;Pump &amp; cart" in (files / "turns.html").read_text("utf-8")


def test_seized_nipples_go_by_label_too(capsys, files):
    given = ("wheel.toml", "--tensions", "tensions.csv", "--json", "--leave")
    assert run(capsys, files, *given, "R4") == run(capsys, files, *given, "7")


def test_what_would_happen(capsys, files):
    code, out, _ = run(
        capsys, files, "wheel.toml", "--tensions", "tensions.csv", "--turn", "R4=+1/4", "--turn", "2=-1/8", "--json"
    )
    document = json.loads(out)
    assert code == 0
    assert [(turn["spoke"], turn["turns"]) for turn in document["turns"]] == [(7, 0.25), (2, -0.125)]
    before, after = (
        {one["spoke"]: one["tension_n"] for one in document[when]["spokes"]} for when in ("present", "predicted")
    )
    assert after[7] > before[7] + 30
    assert after[8] < before[8]


def test_a_kept_pass_teaches_the_rim(capsys, files):
    given = ("wheel.toml", "--tensions", "tensions.csv", "--runout", "runout.csv")
    code, _, _ = run(capsys, files, *given, "--keep", "first.json", "--plain")
    assert code == 0
    first = json.loads((files / "first.json").read_text("utf-8"))
    code, out, err = run(capsys, files, "wheel.toml", "--tensions", "after.csv", "--after", "first.json", "--json")
    assert (code, err) == (0, "")
    learnt = json.loads(out)["rim"]
    assert learnt["u_log_factors"]["ei_radial_n_m2"] < first["rim"]["u_log_factors"]["ei_radial_n_m2"]


def test_what_was_learnt_of_the_rim_is_used_next_time(capsys, files):
    """After a pass the plan is kept; another day, with no pass in between, its rim is still as well known."""
    given = ("wheel.toml", "--tensions", "tensions.csv", "--runout", "runout.csv")
    run(capsys, files, *given, "--keep", "first.json", "--plain")
    again = ("wheel.toml", "--tensions", "after.csv", "--json")
    run(capsys, files, *again, "--after", "first.json", "--keep", "second.json")
    second = json.loads((files / "second.json").read_text("utf-8"))["rim"]
    code, out, err = run(capsys, files, *again, "--rim", "second.json")
    assert (code, err) == (0, "")
    assert json.loads(out)["rim"]["factors"] == pytest.approx(second["factors"])
    assert json.loads(out)["rim"]["u_log_factors"] == pytest.approx(second["u_log_factors"])
    code, _, err = run(capsys, files, *again, "--rim", "second.json", "--after", "first.json")
    assert code == 2
    assert "give one of them" in err


def test_steps_limits_and_left_out_nipples(capsys, files):
    code, out, _ = run(
        capsys, files, "wheel.toml", "--tensions", "tensions.csv", "--step", "1/16", "--most", "1/4", "--leave", "7",
        "--joint", "10", "--hidden", "--dish", "0.1", "--json",
    )  # fmt: skip
    document = json.loads(out)
    assert code == 0
    assert 7 not in {turn["spoke"] for turn in document["turns"]}
    assert all(abs(turn["turns"]) <= 0.25 for turn in document["turns"])
    assert document["predicted"]["dish_mm"] is not None


@pytest.mark.parametrize(
    ("arguments", "told"),
    [
        ((), "no readings given; give --tensions with the JSON"),
        (("--tensions", "missing.csv"), "cannot be read"),
        (("--tensions", "runout.csv"), "needed are spoke and one of tension_n"),
        (("--runout", "tensions.csv"), "needed are spoke and at least one of lateral_mm, radial_mm"),
        (("--tensions", "tensions.csv", "--step", "0"), "a step of 0 turns is given"),
        (("--tensions", "tensions.csv", "--step", "x"), "--step x is no size of turn"),
        (("--tensions", "tensions.csv", "--most", "1/0"), "--most 1/0 is no size of turn"),
        (("--tensions", "tensions.csv", "--turn", "R7"), "--turn R7 is not N=+1/4"),
        (
            ("--tensions", "tensions.csv", "--turn", "R99=1/4"),
            "there is no spoke R99; the wheel has 1 to 20, R1 to R10",
        ),
        (("--tensions", "tensions.csv", "--turn", "7=1/4", "--turn", "R4=1/8"), "gives spoke R4 twice"),
        (("--tensions", "tensions.csv", "--turn", "7=9"), "by 9 turns; allowed"),
        (("--tensions", "tensions.csv", "--leave", "77"), "--leave there is no spoke 77; the wheel has 1 to 20"),
        (("--tensions", "tensions.csv", "--joint", "Q1"), "--joint there is no spoke Q1; the wheel has 1 to 20"),
        (("--tensions", "tensions.csv", "--page", "no/where.html"), "cannot be written"),
        (("--tensions", "tensions.csv", "--after", "tensions.csv"), "is no JSON file"),
        (("--tensions", "tensions.csv", "--keep", "no/where.json"), "cannot be written"),
    ],
)
def test_what_is_refused_in_one_line(capsys, files, arguments, told):
    code, out, err = run(capsys, files, "wheel.toml", *arguments)
    assert code == 2
    assert out == ""
    assert told in err
    assert err.count("\n") == 1


def test_a_plan_of_another_wheel_teaches_nothing(capsys, files):
    run(capsys, files, "wheel.toml", "--tensions", "tensions.csv", "--keep", "first.json", "--plain")
    (files / "other.toml").write_text(text().replace("Pump cart, rear", "Pump cart, front"), "utf-8")
    code, _, err = run(capsys, files, "other.toml", "--tensions", "after.csv", "--after", "first.json")
    assert code == 2
    assert "is a plan of 'Pump cart, rear', not of 'Pump cart, front'" in err
