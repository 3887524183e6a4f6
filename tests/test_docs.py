"""The documentation held against the code: codes of findings, the commands it shows, the JSON keys, links, the picture."""

from __future__ import annotations

import ast
import json
import re
import shlex
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path
from typing import Any, get_args

import pytest
import typer

import tensionear as te
from tensionear.cli import main
from tensionear.cli.app import app
from tensionear.data import data_file
from tensionear.options import Crossing
from tensionear.readings.plucks import ADVICE
from tensionear.wheel.schema import (
    DifferenceTable,
    HubTable,
    Lacing,
    LimitsTable,
    NippleTable,
    RimTable,
    SideTable,
    SpokeTable,
    StateTable,
    WheelTable,
)

ROOT = Path(__file__).resolve().parents[1]
DOCS = [
    *(ROOT / name for name in ("README.md", "DEVELOPERS.md", "CHANGELOG.md", "benchmarks/README.md")),
    *(ROOT / name for name in ("recordings_demo/README.md", "calibration/README.md")),
    *sorted((ROOT / "docs").glob("*.md")),
]
FENCE = re.compile(r"^```(\w*)\n(.*?)^```$", re.MULTILINE | re.DOTALL)
COMMAND = re.compile(r"`(tensionear [^`]+)`")
CODE_CELL = re.compile(r"^\| `([a-z-]+)` \|", re.MULTILINE)


def text_of(path: Path) -> str:
    return path.read_text("utf-8")


def prose_of(path: Path) -> str:
    """The text without its fenced blocks."""
    return FENCE.sub("", text_of(path))


def section(path: str, heading: str) -> str:
    """The text under a second-level heading."""
    found = re.search(rf"^## {re.escape(heading)}\n(.*?)(?=^## |\Z)", text_of(ROOT / path), re.MULTILINE | re.DOTALL)
    assert found, heading
    return found[1]


def emitted_codes() -> Iterator[str]:
    """Codes of all findings that the package can make; ``crossing-{state}`` stands for each way to meet but apart."""
    for path in (ROOT / "tensionear").rglob("*.py"):
        for node in ast.walk(ast.parse(text_of(path))):
            if isinstance(node, ast.Call) and getattr(node.func, "id", "") == "Finding":
                code = node.args[0]
                if isinstance(code, ast.Constant):
                    yield str(code.value)
                else:
                    assert ast.unparse(code).startswith("f'crossing-{"), f"{path}: {ast.unparse(code)}"
                    yield from (f"crossing-{state}" for state in get_args(Crossing) if state != "apart")


def test_every_finding_is_documented_and_no_other() -> None:
    headings = re.findall(r"^## (Findings .*)$", text_of(ROOT / "docs/findings.md"), re.MULTILINE)
    listed = [code for heading in headings for code in CODE_CELL.findall(section("docs/findings.md", heading))]
    assert len(listed) == len(set(listed))
    assert set(listed) == set(emitted_codes())


def test_every_rejection_is_documented_and_no_other() -> None:
    listed = CODE_CELL.findall(section("docs/findings.md", "Rejected plucks"))
    assert sorted(listed) == sorted(ADVICE)


def test_the_warnings_quoted_are_those_of_the_code() -> None:
    source = "\n".join(text_of(path) for path in (ROOT / "tensionear").rglob("*.py"))
    quoted = re.findall(r"^\| (`.*?`) \|", section("docs/findings.md", "Warnings"), re.MULTILINE)
    assert len(quoted) >= 7
    for words in re.findall(r"`([^`]+)`", " ".join(quoted)):
        assert words in source, words


def bash_of(path: Path) -> list[str]:
    return [block for kind, block in FENCE.findall(text_of(path)) if kind in ("bash", "sh", "console")]


def fenced(path: Path) -> list[str]:
    return [block.strip() for _, block in FENCE.findall(text_of(path))]


def test_the_readme_has_two_commands() -> None:
    """Each is one line that makes its own environment: the demo's, and the tests' as ``.ci/run`` takes it."""
    first, second = fenced(ROOT / "README.md")
    start = "python3 -m venv .venv && .venv/bin/pip install "
    assert first == f"{start}. && .venv/bin/tensionear demo"
    assert second == f"{start}-e '.[test]' && .venv/bin/python -m pytest"


def test_ci_runs_the_second_block_word_for_word() -> None:
    awk = re.search(r"command=\$\((awk '.*?' README\.md)\)", text_of(ROOT / ".ci/run"))
    assert awk
    done = subprocess.run(["bash", "-c", awk[1]], cwd=ROOT, capture_output=True, text=True, check=True)
    assert done.stdout.strip() == fenced(ROOT / "README.md")[1]


def shown_commands() -> list[tuple[str, str]]:
    return sorted({(path.name, command) for path in DOCS for command in COMMAND.findall(prose_of(path))})


@pytest.mark.parametrize(("page", "command"), shown_commands())
def test_every_command_shown_is_one(page: str, command: str) -> None:
    """What stands in code is parsed by the real options, nothing is run; a command's name alone names the command."""
    name, *given = shlex.split(command)[1:]
    if name.startswith("--"):
        assert name in ("--help", "--version")
        return
    commands: Any = typer.main.get_command(app)
    assert name in commands.commands, f"{page}: {command}"
    if given and given != ["--help"]:
        commands.commands[name].make_context(name, given)


@pytest.mark.parametrize("option", sorted(set(re.findall(r"`(--[a-z]+ [^`]+)`", prose_of(ROOT / "README.md")))))
def test_every_option_shown_with_its_value_is_one_of_those_that_hear(option: str) -> None:
    """Of ``read``, or else of ``listen``."""
    commands: Any = typer.main.get_command(app)
    of_read = {each for param in commands.commands["read"].params for each in param.opts}
    name = "read" if option.split()[0] in of_read else "listen"
    commands.commands[name].make_context(name, ["round.wav", *shlex.split(option)])


def options_shown() -> set[str]:
    """Options named in code anywhere in the README and the pages about findings and JSON."""
    pages = ("README.md", "docs/findings.md", "docs/json.md")
    code = " ".join(re.findall(r"`([^`]+)`", " ".join(prose_of(ROOT / page) for page in pages)))
    return set(re.findall(r"(?<!\S)--[a-z-]+", code))


def test_every_option_named_exists_and_every_option_of_read_is_named() -> None:
    commands: Any = typer.main.get_command(app)
    groups = [each for each in commands.commands.values() if hasattr(each, "commands")]
    every = [*commands.commands.values(), *(each for group in groups for each in group.commands.values())]
    known = {option for each in every for param in each.params for option in param.opts}
    shown = options_shown()
    assert shown - known - {"--help"} == set()
    reading = {option for param in commands.commands["read"].params for option in param.opts if option[:2] == "--"}
    assert reading - shown == set()


@pytest.fixture(scope="module")
def demo() -> dict[str, Any]:
    """The demo's JSON, as the command prints it."""
    done = subprocess.run(
        [sys.executable, "-m", "tensionear", "demo", "--json"], cwd=ROOT, capture_output=True, text=True, check=True
    )
    document = json.loads(done.stdout)
    assert document["format"] == "tensionear.read/1"
    (recording,) = document["recordings"]
    return dict(recording)


def keys_of(heading: str) -> set[str]:
    rows = re.findall(r"^\| (`.*?`) \|", section("docs/json.md", heading), re.MULTILINE)
    return set(re.findall(r"`(\w+)`", " ".join(rows)))


def test_the_keys_of_the_json_page_are_those_of_a_reading(demo: dict[str, Any]) -> None:
    assert keys_of("A recording") == set(demo)
    assert keys_of("A pluck") == set(demo["plucks"][0])
    assert keys_of("A spoke") == set(demo["spokes"][0])
    page = text_of(ROOT / "docs/json.md")
    below = [demo["plucks"][0]["partials"][0], demo["findings"][0], demo["limits"]]
    for each in (*below, demo["sides"]["right"], demo["ends"]["right"][0]):
        assert all(f"`{key}`" in page for key in each)


def test_the_keys_of_the_wheel_file_page_are_those_of_the_format() -> None:
    page = text_of(ROOT / "docs/wheel-file.md")
    listed: dict[str, set[str]] = {}
    for heading, body in re.findall(r"^## ([^\n]*)\n(.*?)(?=^## |\Z)", page, re.MULTILINE | re.DOTALL):
        rows = re.findall(r"^\| (`.*?`) \|", body, re.MULTILINE)
        listed[heading.split(":")[0]] = set(re.findall(r"`(\w+)`", " ".join(rows)))
    tables = {
        "`[lacing]`": Lacing,
        "`[rim]`": RimTable,
        "`[hub]`": HubTable,
        "`[right]` and `[left]`": SideTable,
        "`[nipple]`": NippleTable,
        "`[limits]`": LimitsTable,
        "`[state]`": StateTable,
        "`[spokes.NAME]`": SpokeTable,
        "`[spoke.17]`": DifferenceTable,
    }
    assert listed.pop("Top of the file") == {"format", "name", "calibration", "units"}
    assert listed == {heading: set(table.model_fields) for heading, table in tables.items()}
    named = {name.strip("`[]").split(".")[0] for heading in tables for name in heading.split(" and ")}
    assert named | {"format", "name", "calibration", "units"} == set(WheelTable.model_fields)


def test_the_demo_finds_the_faults_its_page_tells_of(demo: dict[str, Any]) -> None:
    told = set(re.findall(r"\b[RL]\d+\b", text_of(ROOT / "recordings_demo/README.md")))
    assert {each["label"] for each in demo["spokes"] if each["verdict"] == "out"} == told


def test_the_worked_example_runs_as_it_stands(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """Every line of its fenced blocks, in order, in a folder where the demo lies as in a clone."""
    monkeypatch.chdir(tmp_path)
    (tmp_path / "recordings_demo").symlink_to(data_file("recordings_demo", "wheel.toml").parent)
    lines = [line for block in fenced(ROOT / "docs/example.md") for line in block.splitlines()]
    assert len(lines) >= 4
    for line in lines:
        program, *arguments = shlex.split(line)
        assert program == "tensionear"
        assert main(arguments) == 0, line
    assert (tmp_path / "card.html").is_file()
    shown = capsys.readouterr().out
    told = text_of(ROOT / "docs/example.md")
    assert all(label in shown for label in re.findall(r"\b[RL]\d+\b", told))


def test_every_fenced_command_of_the_docs_is_run() -> None:
    """Blocks of commands stand in the README, in DEVELOPERS and in the worked example only: each is run, there or by CI."""
    holders = {
        path.name for path in DOCS if any("tensionear " in block and "$" not in block for block in bash_of(path))
    }
    assert holders <= {"README.md", "DEVELOPERS.md", "example.md"}


def test_the_readmes_python_runs(monkeypatch: pytest.MonkeyPatch) -> None:
    lines = re.findall(r"^    (\S.*)$", text_of(ROOT / "README.md"), re.MULTILINE)
    code = "\n".join(lines)
    for name, file in (("wheel.toml", "wheel.toml"), ("round.m4a", "round.flac")):
        assert f'"{name}"' in code
        code = code.replace(f'"{name}"', repr(str(data_file("recordings_demo", file))))
    names: dict[str, Any] = {}
    monkeypatch.setitem(names, "print", lambda *shown: names.setdefault("shown", shown))
    exec(code, names)
    verdict, tension_n, u_tension_n = names["shown"]
    assert verdict == "out"
    assert tension_n > u_tension_n > 0


@pytest.mark.parametrize("path", DOCS, ids=lambda path: str(path.relative_to(ROOT)))
def test_links_lead_somewhere(path: Path) -> None:
    for target in re.findall(r"\]\(([^)\s]+)\)", text_of(path)):
        if target.startswith("https://"):
            continue
        file, _, heading = target.partition("#")
        there = path if not file else path.parent / file
        assert there.exists(), target
        if heading:
            titles = re.findall(r"^#+ (.*)$", text_of(there), re.MULTILINE)
            assert heading in {title.lower().replace(" ", "-") for title in titles}, target


def test_public_names_are_in_the_changelog() -> None:
    listed = text_of(ROOT / "CHANGELOG.md")
    errors = {name for name in te.__all__ if name.endswith("Error")}
    assert all(f"`{name}`" in listed for name in set(te.__all__) - errors - {"__version__"})


def test_the_picture_stands_alone() -> None:
    picture = text_of(ROOT / "docs" / "dashboard.svg")
    assert picture.startswith('<svg xml:space="preserve"')
    assert set(re.findall(r"https?://[^\"' )]+", picture)) == {"http://www.w3.org/2000/svg"}
    assert "@font-face" not in picture
    assert all(re.search(rf">(&#160;)*{label}[<&]", picture) for label in ("R6", "L12", "L13"))
