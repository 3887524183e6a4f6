"""What pyproject.toml promises holds: dependencies declared, entry point there, version the same."""

from __future__ import annotations

import ast
import importlib
import importlib.util
import re
import sys
import tarfile
import tomllib
import zipfile
from pathlib import Path
from typing import Any

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


def script(name: str) -> Any:
    """A script of .ci as a module."""
    spec = importlib.util.spec_from_file_location(name, ROOT / ".ci" / f"{name}.py")
    assert spec
    assert spec.loader
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


@pytest.mark.skipif(not (ROOT / ".ci").is_dir(), reason="the scripts of CI are in a checkout only")
def test_all_that_an_install_brings_is_listed_with_its_licence() -> None:
    page = (ROOT / "docs" / "licences.md").read_text("utf-8")
    listed = dict(re.findall(r"^\| ([\w-]+) \| (.+) \|$", page, re.MULTILINE))
    direct = {re.split(r"[\[<>=~ ]", line)[0].lower() for line in PROJECT["project"]["dependencies"]}
    assert direct <= set(listed)
    found = script("licences").reached()
    assert direct <= set(found)
    assert set(found) <= set(listed)
    assert "not stated" not in listed.values()


@pytest.mark.skipif(not (ROOT / ".ci").is_dir(), reason="the scripts of CI are in a checkout only")
def test_what_is_packed_is_held_against_the_checkout(tmp_path: Path) -> None:
    contents = script("contents")
    sdist, wheel = tmp_path / "a.tar.gz", tmp_path / "a.whl"
    source = set().union(*(contents.files_below(ROOT, folder) for folder in contents.WITH_SOURCE)) | contents.TOP_LEVEL
    assert all((ROOT / name).is_file() for name in source)
    data = {f"tensionear/_data/{name}" for folder in contents.PACKAGED for name in contents.files_below(ROOT, folder)}
    package = contents.files_below(ROOT, "tensionear") | data

    def packed(names: set[str], built: set[str]) -> int:
        with tarfile.open(sdist, "w:gz") as archive:
            for name in names:
                archive.addfile(tarfile.TarInfo(f"tensionear-0/{name}"))
        with zipfile.ZipFile(wheel, "w") as archive:
            for name in built:
                archive.writestr(name, "")
        return int(contents.main(ROOT, sdist, wheel))

    assert packed(source, package) == 0
    assert packed(source | {"secret.txt"}, package) == 1
    assert packed(source, package - {"tensionear/cli/app.py"}) == 1


def test_the_lock_pins_every_dependency_with_hashes_and_names_no_host() -> None:
    lock = (ROOT / "requirements-dev.lock").read_text("utf-8")
    assert "://" not in lock
    pins = re.findall(r"^([\w.-]+)==[\w.+!]+(?: ; [^\\]+)? \\\n    --hash=sha256:[0-9a-f]{64}", lock, re.MULTILINE)
    assert len(pins) == len(re.findall(r"^\w", lock, re.MULTILINE))
    assert declared() - {"tensionear"} <= {name.lower() for name in pins}


def test_the_command_is_there() -> None:
    module, function = PROJECT["project"]["scripts"]["tensionear"].split(":")
    assert callable(getattr(importlib.import_module(module), function))


@pytest.mark.parametrize("folder", ["calibration", "recordings_demo"])
def test_data_goes_where_the_accessor_looks(folder: str) -> None:
    wheel = PROJECT["tool"]["hatch"]["build"]["targets"]["wheel"]
    assert wheel["sources"][folder] == f"tensionear/_data/{folder}"
    assert folder in wheel["only-include"]
    assert folder in PROJECT["tool"]["hatch"]["build"]["targets"]["sdist"]["only-include"]
