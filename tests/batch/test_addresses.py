"""Sounds in folders, under patterns, in memory and behind a web server."""

from __future__ import annotations

import hashlib
import http.server
import sys
import threading
from collections.abc import Callable, Iterator
from functools import partial
from pathlib import Path

import pytest

from tensionear.batch.addresses import fetched, find_sounds
from tensionear.batch.pool import Serial, Stop
from tensionear.batch.task import read_task
from tensionear.batch.values import Job, Row, Task
from tensionear.errors import SoundError, UsageError
from tests.batch.conftest import WHEEL

TEXT = WHEEL.read_text("utf-8")


def test_folders_patterns_and_names(sounds: Callable[..., list[str]], tmp_path: Path) -> None:
    sounds("b.WAV", "a.flac", "day/c.m4a", "notes.txt", ".hidden.wav", ".git/x.wav", "[1].wav", "half.wav.part")
    names = [Path(each).relative_to(tmp_path).as_posix() for each in find_sounds(str(tmp_path))]
    assert names == ["[1].wav", "a.flac", "b.WAV", "day/c.m4a"]
    assert find_sounds(str(tmp_path / "**" / "*.m4a")) == [str(tmp_path / "day" / "c.m4a")]
    assert find_sounds(str(tmp_path / "[1].wav")) == [str(tmp_path / "[1].wav")]
    assert find_sounds("missing.wav") == ["missing.wav"]
    with pytest.raises(UsageError, match="fits no file"):
        find_sounds(str(tmp_path / "*.ogg"))


@pytest.mark.parametrize("name", ["missing.wav", "."])
def test_what_is_no_file_is_told(name: str) -> None:
    with pytest.raises(SoundError, match=r"does not exist|no regular file"), fetched(name):
        pass


@pytest.fixture
def memory(clip: Path) -> Iterator[str]:
    """An address in memory with two sounds and something else."""
    fsspec = pytest.importorskip("fsspec")
    files = fsspec.filesystem("memory")
    for name in ("line/1.wav", "line/day/2.wav"):
        files.pipe(f"/{name}", clip.read_bytes())
    files.pipe("/line/notes.txt", b"no sound")
    yield "memory://line"
    files.rm("/line", recursive=True)


def test_an_address_in_memory(memory: str, clip: Path) -> None:
    found = find_sounds(memory)
    assert found == ["memory:///line/1.wav", "memory:///line/day/2.wav"]
    assert find_sounds("memory://line/day/*.wav") == found[1:]
    with fetched(found[1]) as sound:
        path = sound.path
        assert sound.sha256 == hashlib.sha256(clip.read_bytes()).hexdigest()
        assert path.suffix == ".wav"
    assert not path.exists()
    with pytest.raises(UsageError, match="no sound file there"):
        find_sounds("memory://nowhere/*.wav")
    with pytest.raises(SoundError, match="nowhere\\.wav does not exist"), fetched("memory://nowhere.wav"):
        pass


def test_a_sound_at_an_address_is_read_as_one_on_the_disk(memory: str, clip: Path) -> None:
    here, there = (read_task(Task(Job(1, file, "w.toml"), TEXT)) for file in (str(clip), f"{memory}/1.wav"))
    assert isinstance(here, Row)
    assert isinstance(there, Row)
    assert there.status == "read"
    assert there.file == f"{memory}/1.wav"
    assert (there.key, there.tension_n, there.sound_sha256) == (here.key, here.tension_n, here.sound_sha256)


@pytest.fixture
def web(tmp_path: Path, clip: Path) -> Iterator[str]:
    """A web server on this machine with a folder of sounds."""
    pytest.importorskip("aiohttp")
    (tmp_path / "1.wav").write_bytes(clip.read_bytes())
    (tmp_path / "2.wav").write_bytes(b"no sound at all")

    class Quiet(http.server.SimpleHTTPRequestHandler):
        def log_message(self, *_: object) -> None:
            pass

    server = http.server.ThreadingHTTPServer(("127.0.0.1", 0), partial(Quiet, directory=str(tmp_path)))
    thread = threading.Thread(target=server.serve_forever, daemon=True)
    thread.start()
    yield f"http://127.0.0.1:{server.server_port}"
    server.shutdown()
    server.server_close()
    thread.join()


def test_sounds_behind_a_web_server(web: str, clip: Path) -> None:
    found = find_sounds(f"{web}/")
    assert found == [f"{web}/1.wav", f"{web}/2.wav"]
    tasks = [Task(Job(number, file, "w.toml"), TEXT) for number, file in enumerate([*found, f"{web}/3.wav"], 1)]
    rows = list(Serial().answers(iter(tasks), Stop()))
    assert isinstance(rows[0], Row)
    assert rows[0].sound_sha256 == hashlib.sha256(clip.read_bytes()).hexdigest()
    assert [getattr(row, "reason_code", "") for row in rows] == [None, "sound", "address"]
    assert all(web in getattr(row, "reason", "") for row in rows[1:])
    assert "tensionear-" not in getattr(rows[1], "reason", "")


def test_a_fetch_that_fails_once_is_tried_again(memory: str, monkeypatch: pytest.MonkeyPatch) -> None:
    import tensionear.batch.addresses as addresses

    copied, failures = addresses._copied, [OSError("connection reset"), OSError("connection reset")]

    def flaky(address: str, path: Path) -> addresses.Fetched:
        if failures:
            raise failures.pop()
        return copied(address, path)

    monkeypatch.setattr(addresses, "_copied", flaky)
    monkeypatch.setattr(addresses, "_PAUSE_S", 0.0)
    with fetched(f"{memory}/1.wav") as sound:
        assert sound.path.exists()
    failures += [OSError("connection reset")] * 3
    with pytest.raises(SoundError, match=r"cannot be fetched \(connection reset\)"), fetched(f"{memory}/1.wav"):
        pass


def test_without_fsspec_an_address_is_refused_with_the_remedy(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setitem(sys.modules, "fsspec", None)
    with pytest.raises(UsageError, match=r"pip install 'tensionear\[cluster\]'"):
        find_sounds("s3://bucket/line")


@pytest.mark.parametrize("address", ["nosuch://x/y.wav", "nosuch://x/"])
def test_an_unknown_kind_of_address(address: str) -> None:
    pytest.importorskip("fsspec")
    with pytest.raises(UsageError, match="no such kind of address"):
        find_sounds(address)
