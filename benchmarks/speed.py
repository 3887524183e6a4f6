"""How fast many rounds are read, with one worker and with two, and how much memory that takes.

Run ``python -m benchmarks.speed [--rounds N] [--pairs N] [--memory N ...]``; the figures go to the terminal and to
``benchmarks/out/speed.txt``. Whole runs of ``tensionear batch`` are timed, with all that belongs to them: starting the
program and its workers, hashing, reading, writing. Where others use the machine, time of the processor tells more than
time on the wall; both are given.

Rounds are simulated, 30 to 50 s each, a few drawn and repeated under other names. ``--memory`` reads the first seconds of one of
them under so many names and watches the largest resident size of the program and of its workers (``/proc``, Linux).
"""

from __future__ import annotations

import argparse
import os
import statistics
import subprocess
import sys
import tempfile
import threading
import time
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

import soundfile

from benchmarks.simulator.rounds import draw_round

OUT = Path(__file__).parent / "out"
#: Different rounds drawn, first seed; what is cut off for the test of memory, s.
DRAWN, FIRST, SHORT_S = 6, 5000, 3.0
MB = 1024.0


@dataclass(frozen=True, slots=True)
class Timed:
    """One run: files, seconds of sound, on the wall and of the processor, and the largest sizes in MB."""

    files: int
    sound_s: float
    wall_s: float
    processor_s: float
    program_mb: float
    worker_mb: float


def prepare(folder: Path, count: int, seconds: float | None = None) -> float:
    """Put so many rounds with their wheel files into a folder; seconds of sound."""
    folder.mkdir()
    drawn = [draw_round(FIRST + seed, "tidy") for seed in range(min(count, DRAWN if seconds is None else 1))]
    paths, lengths = [], []
    for number, each in enumerate(drawn):
        path = folder.parent / f"{folder.name}-{number}.wav"
        rate_hz = int(each.sample_rate_hz)
        samples = each.samples if seconds is None else each.samples[: int(seconds * rate_hz)]
        soundfile.write(path, samples, rate_hz, subtype="PCM_16")
        paths.append(path)
        lengths.append(len(samples) / rate_hz)
    for number in range(count):
        at = number % len(drawn)
        (folder / f"{number:05}.wav").symlink_to(paths[at])
        (folder / f"{number:05}.toml").write_text(drawn[at].wheel_toml)
    return sum(lengths[number % len(drawn)] for number in range(count))


def run(folder: Path, out: Path, workers: int, sound_s: float) -> Timed:
    """One run of the command, from start to end."""
    out.unlink(missing_ok=True)
    command = [sys.executable, "-m", "tensionear", "batch", str(folder), "--out", str(out), "--workers", str(workers)]
    start = time.monotonic()
    before = os.times()
    with subprocess.Popen(command, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL) as process:
        watch = _Watch(process.pid)
        process.wait()
    after, wall_s = os.times(), time.monotonic() - start
    watch.stop()
    if process.returncode:
        raise SystemExit(f"the run ended with {process.returncode}")
    check(folder, out)
    processor_s = after.children_user - before.children_user + after.children_system - before.children_system
    files = sum(path.suffix == ".wav" for path in folder.iterdir())
    return Timed(files, sound_s, wall_s, processor_s, watch.program_mb, watch.worker_mb)


def check(folder: Path, out: Path) -> None:
    """SystemExit unless every sound was read: one that is set aside at once costs no time."""
    from tensionear.batch.results import read_rows

    sounds = {path.name for path in folder.glob("*.wav")}
    for row in read_rows(out):
        if row.status == "failed":
            raise SystemExit(f"{row.reason}: a run that does not read every file is no measure of speed")
        sounds.discard(Path(row.file).name)
    if sounds:
        raise SystemExit(f"no row of {', '.join(sorted(sounds))}")


class _Watch:
    """Looks at the sizes of a program and of the processes that it starts."""

    def __init__(self, pid: int) -> None:
        self.program_mb = self.worker_mb = 0.0
        self._pid, self._done = pid, threading.Event()
        self._thread = threading.Thread(target=self._look, daemon=True)
        self._thread.start()

    def stop(self) -> None:
        """Look no more."""
        self._done.set()
        self._thread.join()

    def _look(self) -> None:
        while not self._done.wait(0.2):
            for folder in Path("/proc").glob("[0-9]*"):
                try:
                    status = dict(line.split(":", 1) for line in (folder / "status").read_text().splitlines())
                    size_mb = int(status["VmHWM"].split()[0]) / MB
                except (OSError, KeyError, ValueError):
                    continue
                if int(folder.name) == self._pid:
                    self.program_mb = max(self.program_mb, size_mb)
                elif int(status["PPid"]) == self._pid:
                    self.worker_mb = max(self.worker_mb, size_mb)


def pyin_s(folder: Path, count: int) -> tuple[float, float]:
    """Seconds of sound, and of the processor that librosa's pYIN takes for them (100 to 1200 Hz, its usual settings)."""
    import librosa

    librosa.pyin(soundfile.read(folder / "00000.wav", stop=48000)[0], fmin=100, fmax=1200, sr=48000)  # compiled once
    sound_s = spent_s = 0.0
    for path in sorted(folder.glob("*.wav"))[:count]:
        start = time.process_time()
        samples, rate_hz = soundfile.read(path, dtype="float32")
        librosa.pyin(samples, fmin=100, fmax=1200, sr=rate_hz)
        spent_s += time.process_time() - start
        sound_s += len(samples) / rate_hz
    return sound_s, spent_s


def reading_s(folder: Path) -> float:
    """Seconds of the processor that reading the same files takes by itself, one after the other in this process."""
    import tensionear as te

    paths = sorted(folder.glob("*.wav"))
    wheels = [te.load_wheel(path.with_suffix(".toml")) for path in paths]
    te.read(paths[0], wheel=wheels[0])  # all is loaded once
    start = time.process_time()
    for path, wheel in zip(paths, wheels, strict=True):
        te.read(path, wheel=wheel)
    return time.process_time() - start


def main() -> None:
    """Draw, run, tabulate."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--rounds", type=int, default=24, help="rounds a run")
    parser.add_argument("--pairs", type=int, default=5, help="pairs of runs with one and with two workers")
    parser.add_argument("--memory", type=int, nargs="*", default=[100, 500, 2000], help="numbers of short files")
    given = parser.parse_args()
    OUT.mkdir(exist_ok=True)
    with (OUT / "speed.txt").open("w") as file, tempfile.TemporaryDirectory() as name:

        def say(text: str) -> None:
            print(text, flush=True)
            file.write(f"{text}\n")

        folder = Path(name)
        if given.pairs:
            speed(folder, given.rounds, given.pairs, say)
        for count in given.memory:
            sound_s = prepare(folder / f"short-{count}", count, SHORT_S)
            told("2 workers, short", run(folder / f"short-{count}", folder / "r.csv", 2, sound_s), say)


def speed(folder: Path, rounds: int, pairs: int, say: Callable[[str], None]) -> None:
    """Pairs of runs with one worker and with two, then pYIN on some of the same files."""
    sound_s = prepare(folder / "rounds", rounds)
    found: dict[int, list[Timed]] = {1: [], 2: []}
    for pair in range(pairs):
        for workers in (1, 2) if pair % 2 else (2, 1):
            found[workers].append(run(folder / "rounds", folder / "r.csv", workers, sound_s))
            told(f"{workers} worker{'s' * (workers > 1)}", found[workers][-1], say)
    gains = [one.wall_s / two.wall_s for one, two in zip(found[1], found[2], strict=True)]
    say(f"two workers are {statistics.median(gains):.2f} times as fast as one ({min(gains):.2f} to {max(gains):.2f})")
    best = statistics.median(each.sound_s / each.processor_s for each in found[1])
    say(f"{best:.1f} times real time per core, {best * rounds / sound_s:.2f} rounds/s per core, all included")
    alone_s = reading_s(folder / "rounds")
    spent_s = statistics.median(each.processor_s for each in found[1])
    say(
        f"reading alone: {alone_s:.1f} s, {sound_s / alone_s:.1f} times real time; the rest adds {spent_s - alone_s:.1f} s a run"
    )
    heard_s, spent_s = pyin_s(folder / "rounds", min(rounds, 3))
    say(f"librosa pYIN on the same sound: {heard_s / spent_s:.1f} times real time")


def told(what: str, timed: Timed, say: Callable[[str], None]) -> None:
    """One run in a line."""
    say(
        f"{what:>16}: {timed.files} files, {timed.sound_s:.0f} s of sound, {timed.wall_s:.1f} s on the wall, "
        f"{timed.processor_s:.1f} s of the processor, {timed.sound_s / timed.processor_s:.1f} x real time per core, "
        f"program {timed.program_mb:.0f} MB, largest worker {timed.worker_mb:.0f} MB"
    )


if __name__ == "__main__":
    main()
