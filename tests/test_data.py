"""The packaged data is found beside the package in a checkout and inside it in a built wheel."""

import pytest

from tensionear import data
from tensionear.errors import InputError


def test_in_a_checkout():
    assert data.data_file("calibration", "spokes.toml").is_file()


def test_in_a_built_wheel(tmp_path, monkeypatch):
    """A folder of the same name that lies beside the installed package is somebody else's."""
    package = tmp_path / "tensionear"
    for folder, text in ((package / "_data" / "calibration", "ours"), (tmp_path / "calibration", "theirs")):
        folder.mkdir(parents=True, exist_ok=True)
        (folder / "rims.toml").write_text(text, "utf-8")
    (tmp_path / "calibration" / "more.toml").write_text("theirs", "utf-8")
    monkeypatch.setattr(data, "_PACKAGE", package)
    assert data.data_file("calibration", "rims.toml").read_text("utf-8") == "ours"
    with pytest.raises(InputError, match=r"calibration/more\.toml is missing from this installation"):
        data.data_file("calibration", "more.toml")


def test_a_broken_installation(tmp_path, monkeypatch):
    monkeypatch.setattr(data, "_PACKAGE", tmp_path / "tensionear")
    with pytest.raises(InputError, match="install it again"):
        data.data_file("calibration", "rims.toml")
