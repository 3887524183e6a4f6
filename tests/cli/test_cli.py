"""The command line from outside: what it imports, prints and returns, with a pipeline that hears nothing."""

from __future__ import annotations

import io
import json
import os
import re
import subprocess
import sys
from collections.abc import Callable, Collection
from pathlib import Path
from typing import NamedTuple

import pytest

from tensionear import __version__
from tensionear.cli import main
from tensionear.reading import Reading
from tensionear.wheel.sheet import Sheet
from tests.cli import fake

ROOT = Path(__file__).resolve().parents[2]
WHEEL = """
format = 1
name = "Mill Lane tricycle, rear"
[lacing]
spokes = 36
sides = "RL"
[right]
spoke = "steel-round-2.0"
free_length_mm = 253.5
[left]
spoke = "steel-round-2.0"
free_length_mm = 255.0
"""


class Ran(NamedTuple):
    code: int
    out: str
    err: str


Run = Callable[..., Ran]


@pytest.fixture
def run(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> Run:
    """Run the command line in this process, in an empty folder with a wheel file, on streams of a chosen encoding."""
    monkeypatch.setitem(sys.modules, "tensionear.pipeline", None)
    fake.install()
    monkeypatch.setattr(fake, "CALLS", [])
    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv("COLUMNS", "80")
    (tmp_path / "wheel.toml").write_text(WHEEL)

    def running(*arguments: str, encoding: str = "utf-8") -> Ran:
        streams = [io.TextIOWrapper(io.BytesIO(), encoding=encoding, newline="") for _ in range(2)]
        with monkeypatch.context() as here:
            here.setattr(sys, "stdout", streams[0])
            here.setattr(sys, "stderr", streams[1])
            code = main(arguments)
        texts = []
        for stream in streams:
            stream.flush()
            texts.append(stream.buffer.getvalue().decode(encoding))  # type: ignore[attr-defined]
        return Ran(code, *texts)

    return running


def in_a_process(code: str, **environment: str) -> subprocess.CompletedProcess[str]:
    """Run Python code in a process of its own, from the checkout."""
    return subprocess.run(
        [sys.executable, "-c", code],
        cwd=ROOT,
        env={**os.environ, "PYTHONPATH": str(ROOT), "OPENBLAS_NUM_THREADS": "1", **environment},
        capture_output=True,
        text=True,
        encoding="utf-8",
        timeout=60,
        check=False,
    )


@pytest.mark.parametrize("arguments", [["--help"], ["--version"], ["read", "--help"], []])
def test_help_imports_nothing_heavy(arguments: list[str]) -> None:
    heavy = "{'numpy', 'scipy', 'librosa', 'textual', 'sounddevice', 'soundfile', 'av', 'rich', 'numba'}"
    done = in_a_process(
        f"import sys; from tensionear.cli import main; code = main({arguments!r}); "
        f"found = sorted({heavy} & set(sys.modules)); sys.exit(f'imported {{found}}' if found else code)"
    )
    assert (done.returncode, done.stderr) == (0, "")
    assert done.stdout


def test_python_dash_m() -> None:
    done = subprocess.run(
        [sys.executable, "-m", "tensionear", "--version"],
        cwd=ROOT,
        capture_output=True,
        text=True,
        timeout=60,
        check=True,
    )
    assert done.stdout == f"tensionear {__version__}\n"


def test_without_a_command_the_help_is_shown(run: Run) -> None:
    for command in ("demo", "read", "describe"):
        assert f"\n  {command} " in run().out


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        (["sing"], "No such command 'sing'"),
        (["read"], "Missing argument"),
        (["read", "a.wav", "--colour"], "No such option: --colour"),
        (["read", "a.wav", "--wheel"], "requires an argument"),
        (["read", "a.wav", "--wheel", "wheel.toml", "--first", "one"], "one"),
        (["read", "a.wav", "--wheel", "wheel.toml", "--order", "zigzag"], "zigzag"),
        (["read", "a.wav", "--wheel", "wheel.toml", "--crossing", "knotted"], "knotted"),
        (["read", "a.wav"], "none of them given; give one of --wheel FILE, --kind ID with --length MM, or --spokes N"),
        (["read", "a.wav", "--wheel", "wheel.toml", "--spokes", "36"], "--wheel and --spokes given; give one of"),
        (["read", "a.wav", "--spokes", "36", "--first", "2"], "--first 2 without a wheel file"),
        (["read", "a.wav", "--kind", "steel-round-2.0"], "--kind alone gives no tension"),
        (["read", "a.wav", "--length", "290"], "--length alone gives no tension"),
        (["read", "a.wav", "--kind", "string", "--length", "290"], "string"),
        (["read", "a.wav", "--wheel", "nowhere.toml"], "nowhere.toml: no such file"),
        (["read", "a.wav", "--spokes", "36", "--assign", "7"], "--assign 7 is not PLUCK=SPOKE"),
        (["read", "a.wav", "--spokes", "36", "--assign", "7=8", "--assign", "7=9"], "--assign gives pluck 7 twice"),
        (["read", "a.wav", "--spokes", "36", "--missing", "0"], "spoke or pluck 0 does not exist"),
        (["read", "a.wav", "--spokes", "36", "--against", "nowhere.csv"], "nowhere.csv cannot be read"),
        (["read", "a.wav", "--spokes", "36", "--against", "wheel.toml"], "needed are spoke and one of"),
        (["read", "broken.wav", "--spokes", "36"], "broken.wav is not a sound file; convert it to WAV"),
    ],
)
def test_bad_usage_is_one_line_and_code_2(run: Run, arguments: list[str], said: str) -> None:
    ran = run(*arguments)
    assert (ran.code, ran.out) == (2, "")
    assert said in ran.err
    assert ran.err.startswith("tensionear: ")
    assert ran.err.count("\n") == 1


def test_a_device_error_is_code_3(run: Run) -> None:
    assert run("read", "device.wav", "--spokes", "36").code == 3


def test_a_bug_of_ours_is_one_line_too_and_debug_shows_where(run: Run) -> None:
    ran = run("read", "bug.wav", "--spokes", "36")
    assert ran.code == 2
    assert ran.err == (
        "tensionear: ZeroDivisionError: division by zero; this should not happen: run again with --debug to see where\n"
    )
    for arguments in (
        ("--debug", "read", "bug.wav", "--spokes", "36"),
        ("read", "bug.wav", "--spokes", "36", "--debug"),
    ):
        with pytest.raises(ZeroDivisionError):
            run(*arguments)


def test_the_good_ones_are_printed_and_the_highest_code_wins(run: Run) -> None:
    ran = run("read", "one.wav", "device.wav", "broken.wav", "two-out.wav", "--wheel", "wheel.toml", "--strict")
    assert ran.code == 3
    assert ran.err.splitlines() == [
        "tensionear: device.wav has no microphone; plug one in",
        "tensionear: broken.wav is not a sound file; convert it to WAV",
    ]
    assert "wheel of one.wav" in ran.out
    assert "wheel of two-out.wav" in ran.out


@pytest.mark.parametrize(
    ("arguments", "code"),
    [
        (["one.wav", "--wheel", "wheel.toml"], 0),
        (["one.wav", "out.wav", "--wheel", "wheel.toml"], 1),
        (["one.wav", "broken.wav", "out.wav", "--wheel", "wheel.toml"], 2),
        (["one.wav", "--kind", "steel-round-2.0", "--length", "290"], 1),
    ],
)
def test_strict(run: Run, arguments: list[str], code: int) -> None:
    assert run("read", *arguments, "--strict").code == code
    assert run("read", *arguments).code == (code if code == 2 else 0)


def test_json_is_all_there_is_on_standard_output(run: Run) -> None:
    ran = run("read", "one.wav", "broken.wav", "out.wav", "--wheel", "wheel.toml", "--json", encoding="ascii")
    document = json.loads(ran.out)
    assert document["format"] == "tensionear.read/1"
    assert [member["file"] for member in document["recordings"]] == ["one.wav", "out.wav"]
    assert document["recordings"][0]["spokes"][0]["label"] == "R1"
    assert ran.code == 2


def test_json_with_nothing_read_is_still_json(run: Run) -> None:
    assert json.loads(run("read", "broken.wav", "--spokes", "36", "--json").out)["recordings"] == []


def test_what_is_asked_arrives(run: Run) -> None:
    run(
        *("read", "a.wav", "--wheel", "wheel.toml", "--first", "5", "--order", "right-then-left", "--direction", "ccw"),
        *("--missing", "3", "--missing", "4", "--assign", "12=7", "--skip", "2", "--crossing", "touching"),
    )
    (call,) = fake.CALLS
    options = call["options"]
    assert call["sound"] == "a.wav"
    assert call["first"] == 5
    assert call["wheel"].name == "Mill Lane tricycle, rear"  # type: ignore[attr-defined]
    assert (options.order, options.direction, options.missing) == ("right-then-left", "ccw", (3, 4))  # type: ignore[attr-defined]
    assert (options.assign, options.skip, options.crossing) == ({12: 7}, (2,), "touching")  # type: ignore[attr-defined]


def test_kind_and_length(run: Run) -> None:
    ran = run("read", "a.wav", "--kind", "steel-round-2.0", "--length", "290")
    (call,) = fake.CALLS
    assert call["free_length_m"] == pytest.approx(0.290)
    assert call["spoke"].name == "steel-round-2.0"  # type: ignore[attr-defined]
    assert "1040" in ran.out


@pytest.mark.parametrize("name", ["[red]x[/red].wav", "[/dev/snd].wav", "a [bold.wav", "{x}%s.wav"])
def test_hostile_names_are_shown_as_they_are(run: Run, name: str) -> None:
    assert f"wheel of {name}" in run("read", name, "--wheel", "wheel.toml").out
    assert f"wheel of {name}" in run("read", name, "--wheel", "wheel.toml", "--plain").out


def test_control_signs_in_a_name_cannot_break_the_line(run: Run) -> None:
    ran = run("read", "broken\n\x1b[31mred.wav", "--spokes", "36")
    assert ran.err.count("\n") == 1
    assert "\x1b" not in ran.err


@pytest.mark.parametrize("encoding", ["cp1252", "ascii", "utf-8"])
def test_every_encoding_works(run: Run, encoding: str) -> None:
    ran = run("read", "Rad ünd Œuvre 車.wav", "--wheel", "wheel.toml", encoding=encoding)
    assert (ran.code, ran.err) == (0, "")
    assert "wheel of Rad" in ran.out
    assert ("●" in ran.out) == (encoding == "utf-8")


def test_plain_is_ascii_lines(run: Run) -> None:
    ran = run("read", "out.wav", "--wheel", "wheel.toml", "--plain")
    assert ran.out.isascii()
    assert "To do: Tighten R5 towards the mean of the side" in ran.out


def test_against(run: Run, tmp_path: Path) -> None:
    (tmp_path / "known.csv").write_text("spoke,tension_kgf,u_percent\n1,106.3,1\n2,65.26,1\n3,120,1\n")
    arguments = ("read", "a.wav", "--wheel", "wheel.toml", "--against", "known.csv")
    ran = run(*arguments)
    assert (
        ran.out.splitlines()[-1] == "Bias -1.5 %, scatter 4.4 %; off by 6.4 % at most, 95 % interval held for 2 of 3."
    )
    plain = run(*arguments, "--plain")
    assert plain.out.splitlines()[-1] == ran.out.splitlines()[-1]
    assert (
        "R2 (spoke 3): read 1100 +/- 40 N, known 1177 N, apart -6.4 %, interval not held, differs from the rest."
        in plain.out
    )


def test_against_nothing_in_common_is_an_error_after_the_picture(run: Run, tmp_path: Path) -> None:
    (tmp_path / "known.csv").write_text("spoke,tension_n\n99,1000\n")
    ran = run("read", "a.wav", "--wheel", "wheel.toml", "--against", "known.csv")
    assert ran.code == 2
    assert "none of the 1 known spokes was read" in ran.err


DRIVER = "import sys; from tests.cli import fake; fake.install(); from tensionear.cli import main; "


def test_a_closed_pipe_is_quiet() -> None:
    code = DRIVER + "sys.exit(main(['read', *['a.wav'] * 200, '--spokes', '36', '--plain']))"
    with subprocess.Popen(
        [sys.executable, "-c", code], cwd=ROOT, env={**os.environ, "PYTHONPATH": str(ROOT)}, stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
    ) as process:  # fmt: skip
        assert process.stdout is not None
        assert process.stderr is not None
        process.stdout.readline()
        process.stdout.close()
        assert process.stderr.read() == b""
        assert process.wait(60) == 0


@pytest.mark.parametrize("environment", [{"TERM": "dumb"}, {"NO_COLOR": "1"}, {"PYTHONIOENCODING": "cp1252"}, {}])
def test_terminals_of_little_skill(environment: dict[str, str]) -> None:
    code = DRIVER + "sys.exit(main(['read', 'a.wav', '--spokes', '36']))"
    done = subprocess.run(
        [sys.executable, "-c", code], cwd=ROOT, env={**os.environ, "PYTHONPATH": str(ROOT), "COLUMNS": "72", **environment},
        capture_output=True, timeout=60, check=True,
    )  # fmt: skip
    assert done.stderr == b""
    assert b"\x1b" not in done.stdout
    assert max(len(line) for line in done.stdout.decode("utf-8", "replace").splitlines()) == 72


def test_interrupted(run: Run, monkeypatch: pytest.MonkeyPatch) -> None:
    def interrupt(*_: object, **__: object) -> None:
        raise KeyboardInterrupt

    monkeypatch.setattr(sys.modules["tensionear.pipeline"], "read", interrupt)
    assert run("read", "a.wav", "--spokes", "36").code == 130


def test_demo_shows_the_wheel_and_one_line_against_the_truth(run: Run) -> None:
    ran = run("demo")
    assert (ran.code, ran.err) == (0, "")
    assert "round.flac" in ran.out
    last = ran.out.splitlines()[-1]
    assert re.fullmatch(
        r"Against the tensions this recording was made with: "
        r"off by \d+\.\d % at most, 95 % interval held for \d+ of 32",
        last,
    )
    assert run("demo", "--plain").out.splitlines()[-1] == last


def test_demo_as_json(run: Run) -> None:
    (member,) = json.loads(run("demo", "--json").out)["recordings"]
    assert member["file"].endswith("round.flac")


def test_explain_shows_what_was_assumed(run: Run, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(
        "tensionear.cli.second_opinion.hear_again", lambda _, reading, __: (None,) * len(reading.plucks)
    )
    arguments = ("read", "a.wav", "--wheel", "wheel.toml", "--explain")
    assert "Pluck 36   43.20 s · spoke L18" in run(*arguments).out
    assert run(*arguments).out.splitlines()[-1] == "· the tyre is off"
    assert run(*arguments, "--plain").out.splitlines()[-1] == "Assumed or found: the tyre is off."


def test_one_pluck_alone_is_explained(run: Run, monkeypatch: pytest.MonkeyPatch) -> None:
    asked = []

    def hear_again(_: str, reading: Reading, numbers: Collection[int]) -> tuple[None, ...]:
        asked.append(sorted(numbers))
        return (None,) * len(reading.plucks)

    monkeypatch.setattr("tensionear.cli.second_opinion.hear_again", hear_again)
    arguments = ("read", "a.wav", "--wheel", "wheel.toml", "--pluck")
    out = run(*arguments, "3").out
    assert "Pluck 3 " in out
    assert "Pluck 4 " not in out
    assert asked == [[3]]
    run("read", "a.wav", "--wheel", "wheel.toml", "--explain")
    assert len(asked[-1]) == 2  # of 36 plucks
    wrong = run(*arguments, "99")
    assert wrong.code == 2
    assert "--pluck 99: 36 plucks were heard" in wrong.err


def test_a_sheet_goes_to_the_reading_and_needs_a_wheel(run: Run, tmp_path: Path) -> None:
    (tmp_path / "s.toml").write_text("dish_mm = 0.2\n")
    assert run("read", "a.wav", "--wheel", "wheel.toml", "--sheet", "s.toml").code == 0
    sheet = fake.CALLS[-1]["sheet"]
    assert isinstance(sheet, Sheet)
    assert sheet.dish_m == pytest.approx(0.0002)
    alone = run("read", "a.wav", "--spokes", "28", "--sheet", "s.toml")
    assert alone.code == 2
    assert "--sheet s.toml without a wheel file" in alone.err


def test_raw_readings_of_a_gauge_go_through_its_table(run: Run, tmp_path: Path) -> None:
    (tmp_path / "raw.csv").write_text("spoke,reading\n1,22\n2,15\n3,22.5\n")
    (tmp_path / "table.csv").write_text("reading,tension_n\n10,500\n20,1000\n30,1500\n")
    arguments = ("read", "a.wav", "--wheel", "wheel.toml", "--against", "raw.csv", "--gauge-table", "table.csv")
    ran = run(*arguments, "--plain")
    assert ran.code == 0
    assert "known 1100 N" in ran.out
    alone = run("read", "a.wav", "--wheel", "wheel.toml", "--gauge-table", "table.csv")
    assert (alone.code, "give the readings with --against CSV" in alone.err) == (2, True)


@pytest.mark.parametrize(("view", "there"), [("side", "valve at the top"), ("histogram", "% of its mean")])
def test_views(run: Run, view: str, there: str) -> None:
    ran = run("read", "a.wav", "--wheel", "wheel.toml", "--view", view)
    assert there in ran.out
    assert there not in run("read", "a.wav", "--wheel", "wheel.toml").out
    assert run("read", "a.wav", "--wheel", "wheel.toml", "--view", "round").code == 2
