"""``tensionear listen``, ``inputs`` and ``tone`` as typed."""

from __future__ import annotations

import json
import os
import signal
import sqlite3
import subprocess
import sys
import time
from pathlib import Path

import pytest
import soundfile

from tensionear.capture import microphone
from tensionear.capture.levels import Examined
from tensionear.cli import main
from tensionear.cli.inputs import check_lines
from tensionear.data import data_file
from tensionear.live.keeping import restored
from tensionear.records.log import Log
from tests.capture.fake_audio import FakeSystem, PortAudioError, device
from tests.live.stand import drawn

ROOT = str(Path(__file__).resolve().parents[2])
DEMO = str(data_file("recordings_demo", "wheel.toml"))


@pytest.fixture(autouse=True)
def _log(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("TENSIONEAR_LOG", str(tmp_path / "log.sqlite"))


@pytest.fixture
def take(tmp_path: Path) -> tuple[str, str]:
    """A short round at the stand: its wheel file and its sound."""
    wheel, sound = tmp_path / "stand.toml", tmp_path / "stand.wav"
    wheel.write_text(drawn().wheel_toml)
    soundfile.write(sound, drawn().samples, drawn().sample_rate_hz, subtype="PCM_24")
    return str(wheel), str(sound)


def test_json_is_the_same_object_as_read_gives(take: tuple[str, str], capsys: pytest.CaptureFixture[str]) -> None:
    wheel, sound = take
    assert main(["listen", wheel, "--from", sound, "--fast", "--json"]) == 0
    listened = capsys.readouterr().out
    assert main(["read", sound, "--wheel", wheel, "--json"]) == 0
    assert json.loads(listened) == json.loads(capsys.readouterr().out)


def test_plain_lines_one_a_pluck_and_the_round_is_in_the_log(
    take: tuple[str, str], capsys: pytest.CaptureFixture[str]
) -> None:
    wheel, sound = take
    assert main(["listen", wheel, "--from", sound, "--fast", "--plain", "--plucks", "2"]) == 0
    lines = capsys.readouterr().out.splitlines()
    assert sum("accepted from 2 plucks" in line for line in lines) == 4
    assert "R1, 1st clockwise from the valve, seen from the right: " in lines[0]
    assert "the first spoke again: the count is proven" in lines
    (row,) = Log().rounds()
    assert row.finished is not None
    kept = Log().load(row.id)
    assert {pluck.reading.spoke for pluck in kept.plucks} == {1, 2, 3, 4}


def test_one_spoke_while_turning(take: tuple[str, str], capsys: pytest.CaptureFixture[str]) -> None:
    wheel, sound = take
    assert main(["listen", wheel, "--from", sound, "--fast", "--plain", "--spoke", "1", "--target", "1100"]) == 0
    out = capsys.readouterr().out
    assert "never pluck a moving wheel" in out
    assert "to 1100 N" in out
    assert Log().unfinished() == ()


@pytest.mark.parametrize(
    ("arguments", "code", "said"),
    [
        (["listen"], 2, "give one of the two"),
        (["listen", DEMO, "--spokes", "28"], 2, "give one of the two"),
        (["listen", DEMO, "--plucks", "9", "--from", "x.wav"], 2, "--plucks 9 is not 1 to 5"),
        (["listen", DEMO, "--fast"], 2, "--fast is for recordings"),
        (["listen", DEMO, "--spoke", "99"], 2, "--spoke 99 is no spoke of this wheel; give 1 to 32"),
        (["listen", "--spokes", "28", "--spoke", "1"], 2, "needs a wheel file"),
        (["listen", DEMO, "--from", "none.wav"], 2, "none.wav does not exist"),
        (["listen", DEMO, "--resume", "--from", "none.wav"], 2, "no unfinished round of Quayside"),
        (["listen", DEMO, "--target", "900"], 2, "say which with --spoke"),
        (["listen", DEMO, "--from", "a.wav", "--input", "x"], 2, "keep one of them"),
        (["tone", DEMO, "--spoke", "99"], 2, "give 1 to 32"),
        (["tone", DEMO, "--spoke", "1", "--save", "x.mp3"], 2, "must end in .wav"),
        (["inputs", "--seconds", "0"], 2, "--seconds 0 is not 1 to 60"),
    ],
)
def test_mistakes_are_one_line(arguments: list[str], code: int, said: str, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(arguments) == code
    captured = capsys.readouterr()
    assert said in captured.err
    assert len(captured.err.strip().splitlines()) == 1


def test_a_missing_sound_library_is_a_device_error(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setitem(sys.modules, "sounddevice", None)
    for arguments in (["inputs"], ["listen", DEMO], ["tone", DEMO, "--spoke", "1"]):
        assert main(arguments) == 3
        assert "libportaudio2" in capsys.readouterr().err


def test_inputs_marks_the_one_that_is_taken(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    system = FakeSystem([device("USB [front]", 2), device("pulse", 32)])
    monkeypatch.setattr(microphone, "sound_system", lambda: system)
    assert main(["inputs"]) == 0
    lines = capsys.readouterr().out.splitlines()
    assert lines[0].startswith("    0  USB [front]")
    assert lines[1].startswith("*   1  pulse")


def test_tone_says_pitch_and_note_and_plays_it(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str], tmp_path: Path
) -> None:
    assert main(["tone", DEMO, "--spoke", "1", "--quiet"]) == 0
    out = capsys.readouterr().out
    assert out.startswith("R1 at 1000 N: 442.6 Hz, A4 +10 cents")
    assert main(["tone", DEMO, "--spoke", "2", "--save", str(tmp_path / "t.wav")]) == 0
    assert soundfile.info(str(tmp_path / "t.wav")).samplerate == 48_000
    monkeypatch.setattr(microphone, "sound_system", lambda: FakeSystem([], refuses=PortAudioError("none", -9996)))
    assert main(["tone", DEMO, "--spoke", "1"]) == 3
    assert "no loudspeaker" in capsys.readouterr().err


def test_the_check_says_what_to_do() -> None:
    lines = check_lines(Examined(5.0, -6.0, -60.0, 50.0, 20.0, True, 8000.0, False, ("exact silence: a gate",)), 0.02)
    text = "\n".join(lines)
    for said in ("CLIPPED", "plucks stand 54 dB", "50 Hz, 20 dB", "8000 Hz", "20 ms", "voice filter suspected"):
        assert said in text


def test_what_was_said_to_be_accepted_outlives_a_kill_and_is_gone_on_with(
    take: tuple[str, str], tmp_path: Path
) -> None:
    wheel, sound = take
    options = ["--from", sound, "--fast", "--plain", "--plucks", "2"]
    command = [sys.executable, "-m", "tensionear", "listen", wheel, *options]
    environment = {**os.environ, "PYTHONPATH": ROOT, "TENSIONEAR_LOG": str(tmp_path / "log.sqlite")}
    with subprocess.Popen(command, stdout=subprocess.PIPE, text=True, env=environment) as process:
        assert process.stdout is not None
        said = 0
        while said < 2:
            said += "accepted" in process.stdout.readline()
        process.kill()
        said += process.stdout.read().count("accepted")
        assert process.wait(20) == -signal.SIGKILL
    log = Log(tmp_path / "log.sqlite")
    (row,) = log.unfinished()
    assert len({each.spoke for each in restored(log.resume(row.id))}) >= said
    started = time.monotonic()
    assert main(["listen", wheel, "--from", sound, "--fast", "--json", "--plucks", "2", "--resume"]) == 0
    assert log.unfinished() == ()
    assert time.monotonic() - started < 20


def test_a_live_round_is_read_again_with_a_corrected_wheel_file(
    take: tuple[str, str], tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    wheel, sound = take
    assert main(["listen", wheel, "--from", sound, "--fast", "--plain", "--plucks", "2"]) == 0
    with sqlite3.connect(Log().path) as connection:  # as a microphone's round, of which only the plucks are kept
        connection.execute("UPDATE rounds SET sound = NULL, sound_sha256 = NULL")
    connection.close()
    corrected = tmp_path / "corrected.toml"
    corrected.write_text(drawn().wheel_toml.replace('name = "', 'name = "The corrected '), "utf-8")
    capsys.readouterr()
    assert main(["log", "reread", "1", "--wheel", str(corrected), "--keep", "--json"]) == 0
    document = json.loads(capsys.readouterr().out)
    assert document["format"] == "tensionear.changes/1"
    assert len(document["spokes"]) == 4
    assert all(abs(each["change"]) < 2 * each["u_change"] for each in document["spokes"])
    kept = Log().load(1)
    assert kept.asked.wheel_text == corrected.read_text("utf-8")
    assert kept.row.title.startswith("The corrected ")
    other = tmp_path / "other.toml"
    other.write_bytes(data_file("recordings_demo", "wheel.toml").read_bytes())
    assert main(["log", "reread", "1", "--wheel", str(other)]) == 2
    assert "the wheel file has 32 spokes, round 1 is of 4" in capsys.readouterr().err


def test_twenty_kills_at_random_times_lose_nothing(tmp_path: Path) -> None:
    out = tmp_path / "kills.jsonl"
    command = [sys.executable, "-m", "benchmarks.kills", "--count", "20", "--spokes", "4", "--out", str(out)]
    environment = {**os.environ, "PYTHONPATH": ROOT}
    done = subprocess.run(command, cwd=ROOT, env=environment, capture_output=True, text=True, timeout=300, check=False)
    assert done.returncode == 0, done.stdout + done.stderr
    kills = [json.loads(line) for line in out.read_text().splitlines()]
    assert {each["kind"] for each in kills} == {"SIGKILL", "SIGTERM", "SIGHUP"}
    assert all(each["kept"] >= each["said"] for each in kills)
    assert sum(0 < each["said"] < 4 for each in kills) >= 3  # some came between two accepted spokes
