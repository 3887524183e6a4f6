"""Imports run down the data path only, what is heavy is imported late, and the core touches nothing outside itself."""

from __future__ import annotations

import ast
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[1]
PACKAGE = ROOT / "tensionear"

#: The data path: a module may import what stands at its own place or before it.
PLACE = {
    "capture": 0,
    "pitch": 1,
    "listening": 2,
    "physics": 2,
    "wheel": 3,
    "readings": 4,
    "pipeline": 5,
    "live": 6,
    "dashboard": 6,
    "records": 6,
    "calibration": 6,
    "batch": 6,
    "cli": 7,
    "__main__": 8,
}
#: Values and words that everybody may use.
ANYWHERE = {"reading", "errors", "options", "units", "texts", "textfiles"}
#: What reads the shipped data and wheel files: above physics, below the readings.
LIBRARY = {"data": 2, "catalogue": 3, "loading": 4}
#: ``tensionear`` itself only names what is public.
OUTSIDE = {"__init__"}

HEAVY = (
    *("scipy", "librosa", "textual", "sounddevice", "numba", "matplotlib", "av"),
    *("dask", "distributed", "fsspec", "pyarrow"),
)


def modules() -> list[Path]:
    return sorted(PACKAGE.rglob("*.py"))


def part_of(path: Path) -> str:
    """The folder, or the module at the top, that a file belongs to."""
    return path.relative_to(PACKAGE).parts[0].removesuffix(".py")


def imported(path: Path) -> Iterator[str]:
    """Full names of the package's own modules that a file imports, anywhere in it."""
    package = ("tensionear", *path.relative_to(PACKAGE).parts[:-1])
    for node in ast.walk(ast.parse(path.read_text("utf-8"))):
        if isinstance(node, ast.Import):
            yield from (alias.name for alias in node.names if alias.name.startswith("tensionear"))
        elif isinstance(node, ast.ImportFrom):
            base = package[: len(package) - node.level + 1] if node.level else ()
            whole = ".".join((*base, *([node.module] if node.module else [])))
            if whole.startswith("tensionear"):
                yield whole
                yield from (f"{whole}.{alias.name}" for alias in node.names)


def imported_parts(path: Path) -> set[str]:
    found = {name.split(".")[1] for name in imported(path) if "." in name}
    return {part for part in found if (PACKAGE / part).is_dir() or (PACKAGE / f"{part}.py").is_file()}


@pytest.mark.parametrize("path", modules(), ids=lambda path: str(path.relative_to(PACKAGE)))
def test_imports_run_down_the_data_path(path: Path) -> None:
    part = part_of(path)
    if part in OUTSIDE:
        return
    parts = imported_parts(path) - {part}
    if part in ANYWHERE:
        assert parts <= ANYWHERE
        return
    place = {**PLACE, **LIBRARY}
    assert part in place, f"{part} has no place on the data path: give it one here"
    above = {other for other in parts - ANYWHERE if place[other] > place[part]}
    assert above == set()


def test_every_part_has_a_place() -> None:
    assert {part_of(path) for path in modules()} <= {*PLACE, *LIBRARY, *ANYWHERE, *OUTSIDE}


def test_capture_and_pitch_know_nothing_of_spokes() -> None:
    for path in modules():
        if part_of(path) in ("capture", "pitch"):
            assert imported_parts(path) <= {"capture", "pitch", "errors"}


@pytest.mark.parametrize("part", ["physics", "wheel", "pitch", "readings"])
def test_the_core_opens_no_file_and_prints_nothing(part: str) -> None:
    for path in (PACKAGE / part).rglob("*.py"):
        tree = ast.parse(path.read_text("utf-8"))
        called = {
            node.func.id for node in ast.walk(tree) if isinstance(node, ast.Call) and isinstance(node.func, ast.Name)
        }
        assert not called & {"open", "print", "input", "exec", "eval"}, path
        attributes = {node.attr for node in ast.walk(tree) if isinstance(node, ast.Attribute)}
        assert not attributes & {"read_text", "read_bytes", "write_text", "write_bytes", "stdout", "stderr"}, path
        names = {alias.name for node in ast.walk(tree) if isinstance(node, ast.Import) for alias in node.names}
        froms = {node.module for node in ast.walk(tree) if isinstance(node, ast.ImportFrom) and node.module}
        outside = {"os", "sys", "pathlib", "subprocess", "socket", "logging", "time", "random", "datetime", "threading"}
        assert not (names | froms) & outside, path


def test_only_the_microphone_may_know_sounddevice() -> None:
    users = [path for path in modules() if "sounddevice" in path.read_text("utf-8")]
    assert all(part_of(path) == "capture" for path in users)


def test_the_simulator_shares_nothing_with_what_it_tests() -> None:
    files = sorted((ROOT / "benchmarks" / "simulator").rglob("*.py"))
    assert len(files) > 5
    for path in files:
        names = {
            name
            for node in ast.walk(ast.parse(path.read_text("utf-8")))
            for name in (
                [alias.name for alias in node.names]
                if isinstance(node, ast.Import)
                else [node.module or ""]
                if isinstance(node, ast.ImportFrom)
                else []
            )
        }
        assert not any(name.split(".")[0] == "tensionear" for name in names), path


@pytest.mark.parametrize(
    "path", [path for path in modules() if path.stat().st_size], ids=lambda path: str(path.relative_to(PACKAGE))
)
def test_every_module_says_what_it_is_for(path: Path) -> None:
    first = ast.get_docstring(ast.parse(path.read_text("utf-8")))
    assert first
    assert first.splitlines()[0].endswith(".")


def loaded(code: str) -> set[str]:
    """Top names of all modules loaded once this code has run in a fresh interpreter."""
    program = f"import sys\n{code}\nprint('\\n'.join(sorted({{name.split('.')[0] for name in sys.modules}})))"
    done = subprocess.run(
        [sys.executable, "-c", program], cwd=ROOT, capture_output=True, text=True, timeout=60, check=True
    )
    return set(done.stdout.split())


def test_importing_the_package_loads_nothing_heavy() -> None:
    found = loaded("import tensionear; tensionear.__version__")
    assert "tensionear" in found
    assert not found & {*HEAVY, "numpy"}


HELP = """
import contextlib, io
from tensionear.cli import main
sys.argv = ["tensionear", {arguments}]
with contextlib.redirect_stdout(io.StringIO()) as out:
    try:
        code = main()
    except SystemExit as end:
        code = end.code
assert not code, code
assert {expected!r} in out.getvalue(), out.getvalue()
"""


@pytest.mark.parametrize(
    ("arguments", "expected"),
    [
        ('"--help"', "read"),
        ('"read", "--help"', "--spokes"),
        ('"batch", "--help"', "--cluster"),
        ('"study", "--help"', "--check"),
        ('"--version"', "0."),
    ],
)
def test_help_loads_nothing_heavy(arguments: str, expected: str) -> None:
    found = loaded(HELP.format(arguments=arguments, expected=expected))
    assert "typer" in found
    assert not found & set(HEAVY)


def test_reading_loads_neither_librosa_nor_the_live_screen() -> None:
    found = loaded("import numpy, tensionear\ntensionear.read\ntensionear.load_wheel")
    assert "numpy" in found
    assert not found & {"librosa", "textual", "sounddevice", "matplotlib", "numba"}
