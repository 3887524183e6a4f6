"""Kills at random times: is every pluck that was said to be accepted in the log, and can the log be read? Resumable.

Plays a simulated round fast, kills the program with SIGKILL, SIGTERM or SIGHUP at a random moment, compares what it said with
the log, and goes on with the round. `python -m benchmarks.kills --count 200`; results are appended to a file, a line a kill.
"""

from __future__ import annotations

import argparse
import json
import os
import signal
import subprocess
import sys
import tempfile
import threading
import time
from pathlib import Path

import numpy as np
import soundfile

from benchmarks.simulator.stand import draw_stand
from tensionear.live.keeping import restored
from tensionear.records.log import Log

KINDS = ("SIGKILL", "SIGTERM", "SIGHUP")


def killed(command: list[str], environment: dict[str, str], kind: str, after_s: float) -> tuple[int, list[str]]:
    """Run, kill after so long, and give the exit code and the accepted lines."""
    with subprocess.Popen(
        command, stdout=subprocess.PIPE, stderr=subprocess.STDOUT, text=True, env=environment
    ) as process:
        said: list[str] = []
        assert process.stdout is not None
        stream = process.stdout
        reader = threading.Thread(target=lambda: said.extend(line for line in stream if "accepted" in line))
        reader.start()
        time.sleep(after_s)
        process.send_signal(getattr(signal, kind))
        code = process.wait(60)
        reader.join()
    return code, said


def one(number: int, folder: Path) -> dict[str, object]:
    """One kill."""
    chance = np.random.default_rng([number, 5])
    log = Log(folder / f"{number}.sqlite")
    sound, wheel = folder / "stand.wav", folder / "stand.toml"
    command = [sys.executable, "-m", "tensionear", "listen", str(wheel), "--from", str(sound), "--fast", "--plain"]
    environment = {**os.environ, "TENSIONEAR_LOG": str(log.path)}
    kind = KINDS[number % len(KINDS)]
    code, said = killed([*command, "--plucks", "2"], environment, kind, float(chance.uniform(0.8, 4.0)))
    rounds = log.unfinished()
    kept = {each.spoke for each in restored(log.resume(rounds[0].id))} if rounds else set()
    finished = log.path.exists() and bool(log.rounds()) and not rounds
    lost = 0 if finished else len({line.split(",")[0] for line in said}) - len(kept)
    return {"number": number, "kind": kind, "code": code, "said": len(said), "kept": len(kept), "lost": max(lost, 0)}


def main() -> None:
    """Kill so many times, those done before left out."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--count", type=int, default=200)
    parser.add_argument("--out", type=Path, default=Path("kills.jsonl"))
    chosen = parser.parse_args()
    done = [json.loads(line) for line in chosen.out.read_text().splitlines()] if chosen.out.exists() else []
    with tempfile.TemporaryDirectory() as name:
        folder, drawn = Path(name), draw_stand(4, 6)
        soundfile.write(folder / "stand.wav", drawn.samples, drawn.sample_rate_hz, subtype="PCM_24")
        (folder / "stand.toml").write_text(drawn.wheel_toml)
        with chosen.out.open("a") as out:
            for number in range(len(done), chosen.count):
                done.append(one(number, folder))
                out.write(f"{json.dumps(done[-1])}\n")
                out.flush()
    lost = sum(int(each["lost"]) for each in done)
    print(f"{len(done)} kills, {sum(int(each['said']) for each in done)} accepted, {lost} lost")


if __name__ == "__main__":
    main()
