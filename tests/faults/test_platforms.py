"""What other systems do otherwise, played here by fakes: no test of theirs, but of the code that is for them."""

from __future__ import annotations

import asyncio
import os
import signal
import sys
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from tensionear.batch.hook import _words
from tensionear.capture.devices import silence_explained
from tensionear.capture.recording import Recording
from tensionear.cli import batch as batch_command
from tensionear.cli import main
from tensionear.cli.listen import _hear
from tensionear.dashboard.live.app import LiveScreen
from tensionear.data import data_file, user_folder
from tensionear.records.archive import export_rounds, import_rounds
from tensionear.records.log import Log
from tensionear.records.sounds import sync_folder
from tensionear.records.values import Asked
from tests.cli import fake
from tests.dashboard.invented import wheel
from tests.dashboard.live.test_screen import SUBJECT, StillEngine

WHEEL = data_file("recordings_demo", "wheel.toml")
needs_proc = pytest.mark.skipif(not Path("/proc/self/fd").is_dir(), reason="there is no /proc")


@pytest.fixture
def windows_disk(monkeypatch: pytest.MonkeyPatch) -> list[Path]:
    """As on Windows no file is moved, replaced or removed while it is open; gives the files moved to."""
    moved: list[Path] = []
    replace, unlink = Path.replace, Path.unlink

    def open_files() -> Iterator[str]:
        for handle in Path("/proc/self/fd").iterdir():
            try:
                yield str(handle.readlink())
            except OSError:
                continue

    def check(*paths: Path) -> None:
        for path in paths:
            if str(path.resolve()) in open_files():
                raise PermissionError(13, "The process cannot access the file because it is being used", str(path))

    def careful_replace(self: Path, target: Path) -> Path:
        check(self, Path(target))
        moved.append(Path(target))
        return replace(self, target)

    def careful_unlink(self: Path, missing_ok: bool = False) -> None:
        check(self)
        unlink(self, missing_ok)

    monkeypatch.setattr(Path, "replace", careful_replace)
    monkeypatch.setattr(Path, "unlink", careful_unlink)
    monkeypatch.setitem(sys.modules, "fcntl", None)
    return moved


@needs_proc
def test_the_disk_of_windows_knows_open_files(windows_disk: list[Path], tmp_path: Path) -> None:
    """The fake itself."""
    with (tmp_path / "a").open("w"), pytest.raises(PermissionError):
        (tmp_path / "a").replace(tmp_path / "b")
    (tmp_path / "a").replace(tmp_path / "b")
    assert windows_disk == [tmp_path / "b"]


@needs_proc
@pytest.mark.parametrize("ending", ["csv", "jsonl", "parquet"])
def test_a_batch_on_windows(
    windows_disk: list[Path], tmp_path: Path, ending: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Its result is closed before it is replaced; also where cores cannot be asked for and files not locked."""
    if ending == "parquet":
        pytest.importorskip("pyarrow")
    monkeypatch.setitem(sys.modules, "tensionear.pipeline", None)
    fake.install()
    monkeypatch.delattr(os, "sched_getaffinity", raising=False)
    assert batch_command._cores() >= 1
    (tmp_path / "in").mkdir()
    out = tmp_path / f"r.{ending}"
    for count in (2, 4):
        for number in range(count):
            (tmp_path / "in" / f"{number}.wav").write_bytes(b"%d" % number)
        given = ("batch", str(tmp_path / "in"), "--wheel", str(WHEEL), "--workers", "0", "--out", str(out))
        assert main([*given, "--report", str(tmp_path / "r.html")]) == 0
    assert out in windows_disk
    assert tmp_path / "r.html" in windows_disk
    assert {path.name for path in tmp_path.iterdir()} == {"in", f"r.{ending}", "r.html"}


@needs_proc
def test_the_log_and_its_archive_on_windows(windows_disk: list[Path], tmp_path: Path) -> None:
    log = Log(tmp_path / "rounds.sqlite")
    sound = Recording(0.1 * np.sin(np.arange(4800) / 7.0), 48000.0, "tone")
    number = log.save(wheel(), Asked(), sound)
    assert export_rounds(log, None, tmp_path / "rounds.zip") == (1, ())
    assert import_rounds(Log(tmp_path / "there.sqlite"), tmp_path / "rounds.zip").missing_sounds == ()
    log.forget(number)
    assert log.rounds() == ()
    assert tmp_path / "rounds.zip" in windows_disk


def test_folders_that_cannot_be_opened_need_no_sync(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def refused(*_: object) -> int:
        raise PermissionError(13, "Permission denied")

    monkeypatch.setattr(os, "open", refused)
    sync_folder(tmp_path)


@pytest.mark.parametrize(
    ("command", "system", "words"),
    [
        (r"C:\lamp\lamp.exe --port 3", "nt", (r"C:\lamp\lamp.exe", "--port", "3")),
        (r'"C:\Program Files\lamp.exe" "two words"', "nt", (r"C:\Program Files\lamp.exe", "two words")),
        (r"./lamp\ one 'two words'", "posix", ("./lamp one", "two words")),
    ],
)
def test_a_command_is_taken_apart_as_its_system_does(command: str, system: str, words: tuple[str, ...]) -> None:
    assert _words(command, system) == words


def test_the_live_screen_where_loops_take_no_signals(monkeypatch: pytest.MonkeyPatch) -> None:
    """The event loop of Windows has no signal handlers."""

    def none(*_: object) -> None:
        raise NotImplementedError

    monkeypatch.setattr(asyncio.SelectorEventLoop, "add_signal_handler", none)

    async def press() -> int | None:
        app = LiveScreen(StillEngine(), SUBJECT)  # type: ignore[arg-type]
        async with app.run_test(size=(80, 24)) as pilot:
            await pilot.press("q")
        return app.return_code

    assert asyncio.run(press()) == 0


def test_hearing_where_there_is_no_hangup(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.delattr(signal, "SIGHUP", raising=False)
    ran: list[Any] = []

    class Engine:
        def run(self) -> None:
            ran.append(signal.getsignal(signal.SIGTERM))

    before = signal.getsignal(signal.SIGTERM)
    assert _hear(Engine()) == 0  # type: ignore[arg-type]
    assert ran[0] is not before
    assert signal.getsignal(signal.SIGTERM) is before


@pytest.mark.parametrize(
    ("system", "told"), [("Darwin", "System Settings"), ("Windows", "Privacy, Microphone"), ("Linux", "unmute it")]
)
def test_a_silent_microphone_is_explained_in_the_words_of_its_system(system: str, told: str) -> None:
    assert told in silence_explained(system)


def test_where_the_log_is_on_macos(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    import platformdirs
    from platformdirs.macos import MacOS

    monkeypatch.setenv("HOME", str(tmp_path))
    monkeypatch.delenv("XDG_DATA_HOME", raising=False)
    monkeypatch.setattr(platformdirs, "PlatformDirs", MacOS)
    assert user_folder("TENSIONEAR_LOG") == tmp_path / "Library" / "Application Support" / "tensionear"


@pytest.mark.parametrize("older", [True, False])
def test_without_a_home_every_platformdirs_is_understood(monkeypatch: pytest.MonkeyPatch, older: bool) -> None:
    import platformdirs

    from tensionear.errors import InputError

    def answer(*_: object, **__: object) -> Path:
        if older:
            return Path("~/.local/share/tensionear")
        raise RuntimeError("could not determine the home directory")

    monkeypatch.setattr(platformdirs, "user_data_path", answer)
    with pytest.raises(InputError, match="no home folder is known here; set TENSIONEAR_LOG to where"):
        user_folder("TENSIONEAR_LOG")
