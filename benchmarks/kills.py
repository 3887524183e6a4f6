"""Kills at random times: is every pluck that was said to be accepted in the log, and can the log be read? Resumable.

Plays a simulated round fast, kills the program with SIGKILL, SIGTERM or SIGHUP at a random moment, and compares what it said
with the log. `python -m benchmarks.kills --count 200`; results are appended to a file, a line a kill. The program runs in a
fork of this process, which has imported all of it before: starting it anew would take longer than all the rest.
"""

from __future__ import annotations

import argparse
import contextlib
import json
import os
import signal
import sys
import tempfile
import time
from dataclasses import asdict, dataclass
from pathlib import Path

import numpy as np
import soundfile

from benchmarks.simulator.stand import draw_stand
from tensionear.cli import main as tensionear
from tensionear.live.keeping import restored
from tensionear.records.log import Log

KINDS = ("SIGKILL", "SIGTERM", "SIGHUP")
#: Kills reach a little past the end of the round, since the run that was timed may have been a quick one.
_PAST_END = 1.2


@dataclass(frozen=True, slots=True)
class Kill:
    """One kill: when, the exit code (negative: by the signal), spokes said to be accepted, found in the log, missing there."""

    number: int
    kind: str
    after_s: float
    code: int
    said: int
    kept: int
    lost: int


def forked(arguments: list[str], kind: str | None, after_s: float) -> tuple[int, list[str], float]:
    """Run the command line in a fork, send it a signal after so long, and give exit code, lines and seconds taken."""
    started = time.monotonic()
    reads, writes = os.pipe()
    child = os.fork()
    if child == 0:
        os.close(reads)
        sys.stdout = sys.stderr = os.fdopen(writes, "w", buffering=1)
        os._exit(tensionear(arguments))
    os.close(writes)
    if kind is not None:
        time.sleep(after_s)
        os.kill(child, getattr(signal, kind))
    with os.fdopen(reads) as stream:
        said = stream.read().splitlines()
    _, status = os.waitpid(child, 0)
    return os.waitstatus_to_exitcode(status), said, time.monotonic() - started


def one(number: int, listen: list[str], longest_s: float, folder: Path) -> Kill:
    """One kill, and what the log holds after it."""
    kind = KINDS[number % len(KINDS)]
    after_s = float(np.random.default_rng([number, 5]).uniform(0.0, _PAST_END * longest_s))
    log = Log(folder / f"{number}.sqlite")
    code, lines, _ = forked([*listen, "--log", str(log.path)], kind, after_s)
    said = {line.partition(",")[0] for line in lines if "accepted" in line}
    rounds = log.unfinished() if log.path.exists() else ()
    if rounds:
        kept = len({each.spoke for each in restored(log.resume(rounds[0].id))})
    else:
        finished = log.rounds() if log.path.exists() else ()
        kept = len({each.spoke for row in finished for each in log.load(row.id).reading.plucks if each.spoke})
    return Kill(number, kind, round(after_s, 3), code, len(said), kept, max(len(said) - kept, 0))


def main() -> int:
    """Kill so many times, those done before left out; exit code 1 if anything was lost."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--count", type=int, default=200)
    parser.add_argument("--spokes", type=int, default=6)
    parser.add_argument("--out", type=Path, default=Path("kills.jsonl"))
    chosen = parser.parse_args()
    done = [Kill(**json.loads(line)) for line in chosen.out.read_text().splitlines()] if chosen.out.exists() else []
    with tempfile.TemporaryDirectory() as name:
        folder, drawn = Path(name), draw_stand(4, chosen.spokes)
        sound, wheel = folder / "stand.wav", folder / "stand.toml"
        soundfile.write(sound, drawn.samples, drawn.sample_rate_hz, subtype="PCM_24")
        wheel.write_text(drawn.wheel_toml)
        listen = ["listen", str(wheel), "--from", str(sound), "--fast", "--plain", "--plucks", "2"]
        longest_s = warmed(listen, folder)
        with chosen.out.open("a") as out:
            for number in range(len(done), chosen.count):
                done.append(one(number, listen, longest_s, folder))
                out.write(f"{json.dumps(asdict(done[-1]))}\n")
                out.flush()
    lost = sum(each.lost for each in done)
    midway = sum(0 < each.said < chosen.spokes for each in done)
    print(
        f"{len(done)} kills, {midway} between two accepted spokes, {sum(each.said for each in done)} accepted, {lost} lost"
    )
    return 1 if lost else 0


def warmed(listen: list[str], folder: Path) -> float:
    """Import all that the program needs, in this process, then time a whole round in a fork."""
    with Path(os.devnull).open("w") as nowhere, contextlib.redirect_stdout(nowhere):
        code = tensionear([*listen, "--log", str(folder / "own.sqlite")])
    if code:
        raise SystemExit(f"the round itself ends with exit code {code}; draw another wheel")
    return forked([*listen, "--log", str(folder / "timed.sqlite")], None, 0.0)[2]


if __name__ == "__main__":
    sys.exit(main())
