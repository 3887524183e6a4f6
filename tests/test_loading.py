"""Opening wheel files: each kind of broken path is told in one line."""

import os

import pytest

from tensionear.errors import WheelFileError
from tensionear.loading import MAX_BYTES, load_wheel

TEXT = """\
format = 1
name = "Loft find"
[lacing]
spokes = 20
sides = "R"
[right]
spoke = "steel-round-2.0"
free_length_mm = 270
"""


def told(path) -> str:
    with pytest.raises(WheelFileError) as caught:
        load_wheel(path)
    assert len(str(caught.value).splitlines()) == 1
    return str(caught.value)


@pytest.mark.parametrize("head", [b"", b"\xef\xbb\xbf"])
def test_a_good_file_with_and_without_byte_order_mark(tmp_path, head):
    path = tmp_path / "wheel.toml"
    path.write_bytes(head + TEXT.replace("\n", "\r\n").encode())
    assert load_wheel(path).name == load_wheel(str(path)).name == "Loft find"


def test_a_rule_broken_names_the_file(tmp_path):
    path = tmp_path / "wheel.toml"
    path.write_text(TEXT.replace("270", "-1"), "utf-8")
    assert told(path).startswith(f"{path}, line 8: [right] free_length_mm: -1 given")


def test_missing(tmp_path):
    assert "no such file; write one with: tensionear describe" in told(tmp_path / "none.toml")


def test_directory(tmp_path):
    assert "is a directory" in told(tmp_path)


def test_pipe(tmp_path):
    os.mkfifo(tmp_path / "pipe")
    assert "is no regular file" in told(tmp_path / "pipe")


def test_not_text(tmp_path):
    path = tmp_path / "wheel.toml"
    path.write_bytes(b"name = '\xff'")
    assert "no UTF-8 text at byte 8" in told(path)


def test_too_large(tmp_path):
    path = tmp_path / "wheel.toml"
    path.write_bytes(b"#" * (MAX_BYTES + 1))
    assert f"{MAX_BYTES + 1} bytes given" in told(path)


def test_unreadable(tmp_path, monkeypatch):
    path = tmp_path / "wheel.toml"
    path.write_text(TEXT, "utf-8")

    def refuse(self):
        raise PermissionError(13, "Permission denied")

    monkeypatch.setattr(type(path), "read_bytes", refuse)
    assert "cannot be read: Permission denied" in told(path)


def test_impossible_names():
    assert "cannot be read" in told("a\x00b")
    assert "cannot be read" in told("x" * 5000)
