"""A real PortAudio stream on a sound card of software: heard as the file is, in time, and through all that happens to it."""

from __future__ import annotations

import json
import os
import queue
import signal
import subprocess
import sys
import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest
import soundfile

from tests.live.card import SoundCard, is_possible, sound_card
from tests.live.stand import drawn

pytestmark = pytest.mark.skipif(not is_possible(), reason="no sound server here")
ROOT = str(Path(__file__).resolve().parents[2])


@pytest.fixture(scope="module")
def card() -> Iterator[SoundCard]:
    with sound_card() as running:
        yield running


def test_a_round_over_the_card_reads_as_the_file_and_in_time(card: SoundCard) -> None:
    command = [sys.executable, "-m", "benchmarks.stand", "--spokes", "6", "--silence", "1", "--tones"]
    environment = {**card.environment, "PYTHONPATH": ROOT}
    done = subprocess.run(command, env=environment, cwd=ROOT, capture_output=True, text=True, timeout=120, check=True)
    found = json.loads(done.stdout)
    assert found["trouble"] is None
    assert (found["accepted"], found["closed"], found["read_live"]) == (6, True, 6)
    assert (
        found["same_sound_differ_percent"] < 0.1
    )  # live or as a file: the sound that came over the card reads the same
    assert found["differ_percent"] < 0.4  # of tension; where in it a recording begins makes up to 0.3 alone
    assert found["tones_heard"] >= 3  # its own tones were loud, and none was taken for a pluck
    # medians with margin: others may keep this machine busy
    assert found["first_50_s"] < 0.45
    assert found["final_50_s"] < 1.1


def test_it_does_not_hear_its_own_tones(card: SoundCard) -> None:
    command = [sys.executable, "-m", "benchmarks.stand", "--only-tones"]
    environment = {**card.environment, "PYTHONPATH": ROOT}
    done = subprocess.run(command, env=environment, cwd=ROOT, capture_output=True, text=True, timeout=60, check=True)
    found = json.loads(done.stdout)
    assert found["tones_heard"] >= 6  # eleven are played; a busy machine drops some of the card's sound
    assert found["told"] == []


class Lines:
    """Lines of a program as they come."""

    def __init__(self, process: subprocess.Popen[str]) -> None:
        self._lines: queue.Queue[str] = queue.Queue()
        self.seen: list[str] = []
        threading.Thread(target=self._read, args=(process.stdout,), daemon=True).start()

    def _read(self, stream: Iterator[str]) -> None:
        for line in stream:
            self._lines.put(line)

    def until(self, text: str, seconds: float = 20.0) -> None:
        end = time.monotonic() + seconds
        while time.monotonic() < end:
            try:
                self.seen.append(self._lines.get(timeout=0.2))
            except queue.Empty:
                continue
            if text in self.seen[-1]:
                return
        raise AssertionError(f"{text!r} was not said: {self.seen}")


@contextmanager
def listening(card: SoundCard, tmp_path: Path) -> Iterator[tuple[subprocess.Popen[str], Lines]]:
    wheel = tmp_path / "stand.toml"
    wheel.write_text(drawn().wheel_toml)
    environment = {**card.environment, "PYTHONPATH": ROOT, "TENSIONEAR_LOG": str(tmp_path / "log.sqlite")}
    command = [sys.executable, "-m", "tensionear", "listen", str(wheel), "--plain", "--quiet"]
    with subprocess.Popen(
        command, env=environment, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True
    ) as process:
        try:
            yield process, Lines(process)
        finally:
            process.kill()


def test_unplugged_killed_and_stopped_the_round_goes_on(card: SoundCard, tmp_path: Path) -> None:
    sound = tmp_path / "start.wav"
    soundfile.write(sound, drawn().samples[: round(3.0 * 48_000)], 48_000, subtype="PCM_16")
    with listening(card, tmp_path) as (process, lines):
        lines.until("only zeros come")  # it listens to the empty card
        card.play(sound).wait()
        lines.until("R1, 1st clockwise from the valve, seen from the right: ")
        lines.until("accepted from 2 plucks")
        os.kill(process.pid, signal.SIGSTOP)
        time.sleep(1.0)
        os.kill(process.pid, signal.SIGCONT)
        card.play(sound).wait()
        lines.until("L1, 2nd clockwise from the valve")
        lines.until("accepted from 2 plucks")
        card.unplug()
        lines.until("is gone: plug it in again, the round waits")
        card.plug()
        lines.until("is back")
        card.play(sound).wait()
        lines.until("R2, 3rd clockwise from the valve")
        lines.until("accepted from 2 plucks")
        card.kill()
        lines.until("is gone")
        card.start()
        lines.until("is back")
        process.terminate()
        assert process.wait(20) == 128 + signal.SIGTERM
        assert process.stderr is not None
        assert process.stderr.read() == ""
