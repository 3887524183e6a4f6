"""Write docs/licences.md: what a plain install brings with it, under which licence, as each package states it itself."""

import re
import sys
import tomllib
from importlib.metadata import Distribution, PackageNotFoundError, distribution
from pathlib import Path

ROOT = Path(__file__).parents[1]
PAGE = ROOT / "docs" / "licences.md"
HEAD = """# Licences

tensionear itself is under the MIT licence. A plain install brings these packages with it; the licence is the one that
each states in its metadata. Wheels may carry libraries of their own: `av` brings FFmpeg (LGPL), `soundfile` brings
libsndfile (LGPL), `numpy` and `scipy` bring OpenBLAS (BSD). Written by `python .ci/licences.py`; a test holds it true.

| package | licence |
| --- | --- |
"""
_CONDITION = re.compile(r"extra\s*==|(sys_platform|platform_system)\s*==\s*.([Ww]in|[Dd]arwin)|os_name\s*==\s*.nt")


def plain(name: str) -> str:
    """A name as it is compared (PEP 503)."""
    return re.sub(r"[-_.]+", "-", name).lower()


def reached() -> dict[str, Distribution]:
    """All distributions that a plain install brings here, by name."""
    found: dict[str, Distribution] = {}
    project = tomllib.loads((ROOT / "pyproject.toml").read_text("utf-8"))["project"]
    wanted = [name_in(line) for line in project["dependencies"]]
    while wanted:
        name = plain(wanted.pop())
        if name in found:
            continue
        try:
            found[name] = distribution(name)
        except PackageNotFoundError:
            continue  # a marker keeps it from this system
        for line in found[name].requires or ():
            need, _, marker = line.partition(";")
            if not _CONDITION.search(marker):
                wanted.append(name_in(need))
    return found


def name_in(requirement: str) -> str:
    """The name a requirement begins with."""
    return re.split(r"[\s\[<>=!~(]", requirement.strip())[0]


def licence_of(package: Distribution) -> str:
    """The licence as the metadata states it: the expression, else the classifiers, else the first line of the text."""
    told = package.metadata
    classified = [
        line.rpartition(" :: ")[2] for line in told.get_all("Classifier") or () if line.startswith("License ::")
    ]
    text = (told.get("License") or "").strip().splitlines()
    return told.get("License-Expression") or ", ".join(classified) or (text[0] if text else "not stated")


def page() -> str:
    """The page's text."""
    rows = [f"| {name} | {licence_of(package)} |" for name, package in sorted(reached().items())]
    return HEAD + "\n".join(rows) + "\n"


if __name__ == "__main__":
    PAGE.write_text(page(), "utf-8")
    sys.stdout.write(f"{PAGE}\n")
