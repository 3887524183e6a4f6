"""Whole programs where something of the environment is missing: home, locale, terminal, streams, room on the disk."""

from __future__ import annotations

import os
import pty
import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[2]
WHEEL = ROOT / "recordings_demo" / "wheel.toml"
#: The program with a pipeline that hears nothing; `bash` connects its streams.
PROGRAM = (
    f"import sys; sys.path.insert(0, {str(ROOT)!r}); from tests.cli import fake; fake.install(); "
    "from tensionear.cli import main; sys.exit(main(sys.argv[1:]))"
)
READ = ("read", "a.wav", "--spokes", "36")
FULL = Path("/dev/full")


def program(
    folder: Path, *given: str, streams: str = "", unset: tuple[str, ...] = (), **environment: str
) -> subprocess.CompletedProcess[bytes]:
    """Run it in a folder; ``streams`` is what a shell would be told of them."""
    kept = {name: value for name, value in os.environ.items() if name not in unset}
    command = ["bash", "-c", f'exec "$@" {streams}', "bash", sys.executable, "-c", PROGRAM, *given]
    return subprocess.run(
        command, cwd=folder, env={**kept, **environment}, capture_output=True, timeout=60, check=False
    )  # fmt: skip


def one_line(done: subprocess.CompletedProcess[bytes], code: int, *told: str) -> None:
    """It ended with this code and one line on standard error that says all of this."""
    said = done.stderr.decode("utf-8", "replace")
    assert (done.returncode, said.count("\n")) == (code, 1), said
    assert said.startswith("tensionear: ")
    assert all(word in said for word in told), said


@pytest.mark.parametrize("closed", ["<&-", ">&-", "2>&-", "<&- >&- 2>&-"])
def test_closed_streams(tmp_path: Path, closed: str) -> None:
    done = program(tmp_path, *READ, streams=closed)
    assert (done.returncode, done.stderr) == (0, b"")
    assert (b"evenness alone" in done.stdout) == (" >&-" not in f" {closed}")
    assert program(tmp_path, "read", "broken.wav", "--spokes", "36", streams=closed).returncode == 2


def test_questions_with_nobody_to_answer(tmp_path: Path) -> None:
    for asked in (("describe", "new.toml"), ("sheet", str(WHEEL), "--out", "new.toml")):
        for nobody in ("<&-", "</dev/null"):
            done = program(tmp_path, *asked, streams=nobody)
            assert done.returncode in (0, 2, 130), done.stderr
            assert b"Traceback" not in done.stderr
            assert b"should not happen" not in done.stderr
    assert not (tmp_path / "new.toml").exists()


@pytest.mark.skipif(not FULL.exists(), reason="there is no /dev/full")
@pytest.mark.parametrize("given", [READ, (*READ, "--json"), ("--help",)])
def test_output_to_a_full_disk(tmp_path: Path, given: tuple[str, ...]) -> None:
    one_line(program(tmp_path, *given, streams=">/dev/full"), 2, "the output: No space left")


@pytest.mark.skipif(not FULL.exists(), reason="there is no /dev/full")
def test_errors_to_a_full_disk(tmp_path: Path) -> None:
    assert program(tmp_path, "read", "broken.wav", "--spokes", "36", streams="2>/dev/full").returncode == 2


@pytest.mark.parametrize("given", [READ, ("read", "--help")])
def test_a_pipe_closed_at_once(tmp_path: Path, given: tuple[str, ...]) -> None:
    done = program(tmp_path, *given, streams="| true")
    assert (done.returncode, done.stderr) == (0, b"")


@pytest.mark.parametrize("home", ["/dev/null"])
def test_a_home_that_cannot_be_written(tmp_path: Path, home: str) -> None:
    """Reading needs none; keeping says where it wanted to, and the reading is shown all the same."""
    places = {"HOME": home}
    unset = ("XDG_DATA_HOME", "TENSIONEAR_LOG", "TENSIONEAR_CALIBRATIONS")
    assert program(tmp_path, *READ, unset=unset, **places).returncode == 0
    done = program(tmp_path, *READ, "--keep", unset=unset, **places)
    one_line(done, 2, f"{home}/.local/share/tensionear/")
    assert b"evenness alone" in done.stdout
    one_line(program(tmp_path, "log", "list", unset=unset, **places), 2, home)


def test_no_home_and_a_user_nobody_knows(tmp_path: Path) -> None:
    """As in a container that runs as a number. No folder called ~ comes to be."""
    unset = ("HOME", "XDG_DATA_HOME", "TENSIONEAR_LOG", "TENSIONEAR_CALIBRATIONS")
    nobody = "import os; os.getuid = lambda: 987654321; " + PROGRAM
    kept = {name: value for name, value in os.environ.items() if name not in unset}
    for given, code in ((READ, 0), ((*READ, "--keep"), 2), (("log", "list"), 2)):
        done = subprocess.run(
            [sys.executable, "-c", nobody, *given], cwd=tmp_path, env=kept, capture_output=True, timeout=60, check=False
        )
        assert done.returncode == code, done.stderr
        assert (b"no home folder is known here" in done.stderr) == bool(code)
        assert b"set TENSIONEAR_LOG" in done.stderr or not code
    assert not any(path.name.startswith("~") for path in tmp_path.iterdir())


@pytest.mark.parametrize("locale", [{}, {"LC_ALL": "C", "PYTHONIOENCODING": "cp1252"}])
def test_without_a_locale(tmp_path: Path, locale: dict[str, str]) -> None:
    unset = ("LANG", "LC_ALL", "LC_CTYPE", "PYTHONIOENCODING")
    for form in ((), ("--json",)):
        given = ("read", "Räd 車.wav", *READ[2:], *form)
        done = program(tmp_path, *given, unset=unset, PYTHONUTF8="0", PYTHONCOERCECLOCALE="0", **locale)
        assert (done.returncode, done.stderr) == (0, b"")
        assert b"Traceback" not in done.stdout
    done = program(tmp_path, "read", "bröken broken.wav", "--spokes", "36", unset=unset, PYTHONUTF8="0", **locale)
    one_line(done, 2, "is not a sound file")


@pytest.mark.parametrize("columns", [1, 40])
@pytest.mark.parametrize("command", [READ, (*READ, "--view", "all"), ("plan", str(WHEEL), "--tensions", "t.csv")])
def test_a_narrow_terminal(tmp_path: Path, columns: int, command: tuple[str, ...]) -> None:
    """Too narrow for a picture there are plain lines, which the terminal may break."""
    (tmp_path / "t.csv").write_text("spoke,tension_n\n" + "".join(f"{n},{1000 + 9 * (n % 5)}\n" for n in range(1, 33)))
    done = program(tmp_path, *command, COLUMNS=str(columns))
    assert (done.returncode, done.stderr) == (0, b"")
    assert len(done.stdout) > 100


@pytest.mark.parametrize("term", ["dumb", "no-such-terminal"])
def test_a_terminal_of_no_skill(tmp_path: Path, term: str) -> None:
    """On a real terminal that calls itself dumb nothing is drawn by escape sequences."""
    (tmp_path / "a.wav").write_bytes(b"a")
    for given in (READ, ("batch", "a.wav", "--wheel", str(WHEEL), "--workers", "0", "--out", "r.csv")):
        ours, theirs = pty.openpty()
        with subprocess.Popen(
            [sys.executable, "-c", PROGRAM, *given], cwd=tmp_path, env={**os.environ, "TERM": term, "NO_COLOR": "1"},
            stdin=theirs, stdout=theirs, stderr=theirs, close_fds=True,
        ) as process:  # fmt: skip
            os.close(theirs)
            said = _all_of(ours)
            assert process.wait(60) == 0, said
        assert b"Traceback" not in said
        assert b"\x1b" not in said or term == "no-such-terminal"


def _all_of(handle: int) -> bytes:
    found = b""
    try:
        while block := os.read(handle, 65536):
            found += block
    except OSError:  # the other end is closed
        pass
    os.close(handle)
    return found
