"""Hold the files of an sdist and a wheel against the checkout: `contents.py CHECKOUT SDIST WHEEL`."""

import sys
import tarfile
import zipfile
from pathlib import Path

PACKAGED = ("calibration", "recordings_demo")
WITH_SOURCE = ("tensionear", *PACKAGED, "tests", "benchmarks", "docs")
TOP_LEVEL = {"README.md", "DEVELOPERS.md", "CHANGELOG.md", "LICENSE", "pyproject.toml", "requirements-dev.lock"}


def files_below(checkout: Path, folder: str) -> set[str]:
    """Files a fresh checkout has in a folder; what running it leaves behind (caches, benchmark output) is not meant."""
    found = {path.relative_to(checkout).as_posix() for path in (checkout / folder).rglob("*") if path.is_file()}
    return {name for name in found if "__pycache__" not in name and not name.startswith("benchmarks/out/")}


def compare(what: str, found: set[str], expected: set[str]) -> bool:
    """Print what is missing and what is too much."""
    for name in sorted(expected - found):
        print(f"{what}: missing {name}")
    for name in sorted(found - expected):
        print(f"{what}: not expected {name}")
    print(f"{what}: {len(found)} files")
    return found == expected


def main(checkout: Path, sdist: Path, wheel: Path) -> int:
    """Return 0 if both hold exactly what they should."""
    with tarfile.open(sdist) as archive:
        packed = {name.split("/", 1)[1] for name in archive.getnames() if "/" in name}
    source = set().union(*(files_below(checkout, folder) for folder in WITH_SOURCE)) | TOP_LEVEL
    with zipfile.ZipFile(wheel) as archive:
        built = {name for name in archive.namelist() if ".dist-info/" not in name}
    package = files_below(checkout, "tensionear")
    for folder in PACKAGED:
        package |= {f"tensionear/_data/{name}" for name in files_below(checkout, folder)}
    good = [compare("sdist", packed - {"PKG-INFO", ".gitignore"}, source), compare("wheel", built, package)]
    return 0 if all(good) else 1


if __name__ == "__main__":
    sys.exit(main(*map(Path, sys.argv[1:])))
