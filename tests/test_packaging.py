"""What pyproject.toml promises holds: dependencies declared, entry point there, version the same."""

from __future__ import annotations

import ast
import importlib
import re
import sys
import tomllib
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[1]
PROJECT = tomllib.loads((ROOT / "pyproject.toml").read_text("utf-8"))

#: Names of modules where they differ from that of the distribution.
DISTRIBUTION = {"distributed": "dask", "pydantic_core": "pydantic", "pil": "pillow"}


def declared() -> set[str]:
    extras = PROJECT["project"]["optional-dependencies"]
    lines = [*PROJECT["project"]["dependencies"], *extras["cluster"], *extras["parquet"]]
    return {re.split(r"[\[<>=~ ]", line)[0].lower() for line in lines}


def imported(path: Path) -> set[str]:
    names: set[str] = set()
    for node in ast.walk(ast.parse(path.read_text("utf-8"))):
        if isinstance(node, ast.Import):
            names |= {alias.name.split(".")[0] for alias in node.names}
        elif isinstance(node, ast.ImportFrom) and node.level == 0 and node.module:
            names.add(node.module.split(".")[0])
    return names


def test_all_that_the_package_imports_is_declared() -> None:
    names = set().union(*(imported(path) for path in (ROOT / "tensionear").rglob("*.py")))
    outside = names - sys.stdlib_module_names - {"tensionear", "__future__"}
    assert {"numpy", "soundfile", "av"} <= outside
    assert {DISTRIBUTION.get(name.lower(), name.lower()) for name in outside} <= declared()


def test_every_dependency_has_a_lower_bound_and_no_upper() -> None:
    extras = PROJECT["project"]["optional-dependencies"].values()
    lines = [*PROJECT["project"]["dependencies"], *(line for extra in extras for line in extra)]
    assert all(re.fullmatch(r"[\w-]+(\[\w+\])?>=[\d.]+|tensionear\[\w+\]", line) for line in lines)


def test_the_command_is_there() -> None:
    module, function = PROJECT["project"]["scripts"]["tensionear"].split(":")
    assert callable(getattr(importlib.import_module(module), function))


@pytest.mark.parametrize("folder", ["calibration", "recordings_demo"])
def test_data_goes_where_the_accessor_looks(folder: str) -> None:
    wheel = PROJECT["tool"]["hatch"]["build"]["targets"]["wheel"]
    assert wheel["sources"][folder] == f"tensionear/_data/{folder}"
    assert folder in wheel["only-include"]
    assert folder in PROJECT["tool"]["hatch"]["build"]["targets"]["sdist"]["only-include"]
