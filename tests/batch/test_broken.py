"""A folder in which one file in twenty is broken, each in another way: all are told by name, none stops the run."""

from __future__ import annotations

import struct
from pathlib import Path

import numpy as np
import pytest
import soundfile

from tensionear.batch.results import read_rows
from tensionear.cli import main
from tests.batch.conftest import WHEEL


def broken(folder: Path, clip: Path) -> dict[str, str]:
    """Ten broken files, and a word of what is to be said of each."""
    whole = clip.read_bytes()
    samples, rate_hz = soundfile.read(clip)
    (folder / "empty.wav").touch()
    (folder / "text.wav").write_text("this is no sound\n" * 40)
    (folder / "header.wav").write_bytes(whole[:30])
    (folder / "unfinished.wav").write_bytes(whole[:40] + struct.pack("<I", 0) + whole[44:])
    soundfile.write(folder / "silent.wav", np.zeros(rate_hz), rate_hz)
    soundfile.write(folder / "nan.wav", np.full(rate_hz, np.nan), rate_hz, subtype="FLOAT")
    soundfile.write(folder / "slow.wav", samples[::6], rate_hz // 6)
    (folder / "cut.m4a").write_bytes(b"\0\0\0\x20ftypM4A \0\0\0\0M4A mp42isom\0\0\0\0" + whole[:2000])
    (folder / "garbled.flac").write_bytes(b"fLaC" + whole[:3000])
    (folder / "dangling.wav").symlink_to(folder / "gone")
    return {
        "empty.wav": "empty", "text.wav": "not a sound file", "header.wav": "broken", "unfinished.wav": "never finished",
        "silent.wav": "silent", "nan.wav": "NaN", "slow.wav": "7350 Hz", "cut.m4a": "never finished", "garbled.flac": "broken",
        "dangling.wav": "does not exist",
    }  # fmt: skip


def test_five_percent_broken_in_ten_ways(tmp_path: Path, clip: Path, capsys: pytest.CaptureFixture[str]) -> None:
    folder, out = tmp_path / "in", tmp_path / "r.csv"
    folder.mkdir()
    samples, rate_hz = soundfile.read(clip)
    soundfile.write(tmp_path / "short.wav", samples[: int(0.8 * rate_hz)], rate_hz)  # before the pluck, cheap to read
    for number in range(190):
        (folder / f"{number:03}.wav").hardlink_to(tmp_path / "short.wav" if number % 10 else clip)
    ways = broken(folder, clip)
    assert len(ways) == 10
    assert main(["batch", str(folder), "--wheel", str(WHEEL), "--out", str(out), "--workers", "2"]) == 0
    rows = list(read_rows(out))
    assert [row.number for row in rows] == list(range(1, 201))
    wrong = {Path(row.file).name: row for row in rows if row.status == "failed"}
    assert set(wrong) == set(ways)
    for name, word in ways.items():
        assert wrong[name].reason_code == "sound"
        assert word in wrong[name].reason, wrong[name].reason
        assert name in wrong[name].reason
    assert [row.plucks for row in rows[:190]] == [int(number % 10 == 0) for number in range(190)]
    assert len({row.tension_n for row in rows[:190:10]}) == 1
    assert "unreadable 10" in capsys.readouterr().out
