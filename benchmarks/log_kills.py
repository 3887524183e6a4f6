"""The log under several writers, under kills, and with many rounds in it: nothing that was accepted may be lost.

``python -m benchmarks.log_kills [writers|kills|many] [--folder DIR]`` does one of the three, or all: 4 writers of 500 rounds at
once; 200 kills of a writer in the midst; 10,000 rounds with the times of list, search and compare. What is done is noted in
``DIR/progress.json`` (``benchmarks/out/log`` by default), so that it goes on where it was stopped.
"""

from __future__ import annotations

import argparse
import json
import random
import subprocess
import sys
import time
from pathlib import Path

from tensionear.records.changes import compare_rounds
from tensionear.records.log import Log
from tensionear.records.lookover import look_over
from tensionear.records.search import Search

ROOT = Path(__file__).resolve().parents[1]
WRITERS, EACH, KILLS, MANY = 4, 500, 200, 10_000

#: Keeps rounds for ever or so often, and says the number of each once it is accepted.
WRITER = """
import sys
import numpy as np
from tensionear.capture.recording import Recording
from tensionear.records.log import Log
from tensionear.records.values import Asked
from benchmarks.log_rounds import a_round
log, times, name = Log(sys.argv[1]), int(sys.argv[2]), sys.argv[3]
sound = Recording(np.zeros(800, dtype=np.float32), 16000.0)
for n in range(times):
    if n % 2:
        number = log.save(a_round(n, name), Asked(spokes=12), sound, note=f"{name} {n}")
        print("round", number, f"{name} {n}", flush=True)
    else:
        opened = log.open_round(Asked(spokes=12), name, note=f"{name} {n}")
        for pluck in a_round(n, name).plucks[:3]:
            print("pluck", opened.id, opened.append(pluck, sound), flush=True)
        opened.finish(a_round(n, name))
        print("round", opened.id, f"{name} {n}", flush=True)
"""


def start(log: Path, times: int, name: str) -> subprocess.Popen[str]:
    """A writer in a process of its own."""
    command = [sys.executable, "-c", WRITER, str(log), str(times), name]
    return subprocess.Popen(command, cwd=ROOT, stdout=subprocess.PIPE, text=True)


def lost(log: Log, said: list[str]) -> list[str]:
    """What writers said was accepted and the log does not hold; last lines cut by a kill do not count."""
    notes = {row.id: row.note for row in log.rounds()}
    missing = []
    plucks: dict[int, int] = {}
    for line in said:
        kind, number, rest = line.split(" ", 2)
        if kind == "round" and notes.get(int(number)) != rest:
            missing.append(line)
        if kind == "pluck":
            plucks[int(number)] = max(int(rest), plucks.get(int(number), 0))
    for number, most in plucks.items():
        if number not in notes or len(log.load(number).plucks) < most:
            missing.append(f"pluck {number} {most}")
    return missing


def write_at_once(path: Path, writers: int, each: int) -> list[str]:
    """Several writers at once; what was lost or is wrong."""
    running = [start(path, each, f"writer{n}") for n in range(writers)]
    said = [line for one in running for line in (one.communicate()[0]).splitlines()]
    failed = [f"writer ended with {one.returncode}" for one in running if one.returncode]
    log = Log(path)
    rounds = sum(line.startswith("round") for line in said)
    short = [] if rounds == writers * each else [f"{rounds} of {writers * each} rounds accepted"]
    return [*failed, *short, *lost(log, said), *look_over(log)]


def kill_once(path: Path, seed: int) -> list[str]:
    """A writer is killed at a random moment; what was lost or is wrong then."""
    writer = start(path, 10**6, f"killed{seed}")
    assert writer.stdout is not None
    first = writer.stdout.readline()
    time.sleep(random.Random(seed).uniform(0, 0.12))
    writer.kill()
    whole = first + writer.communicate()[0]
    said = whole[: whole.rfind("\n")].splitlines()
    log = Log(path)
    return [*lost(log, said), *look_over(log)]


def fill(path: Path, rounds: int) -> None:
    """A log of many rounds of 36 spokes, of a hundred wheels, in transactions of 500."""
    from benchmarks.log_rounds import a_round
    from tensionear.records.archive import insert_rows
    from tensionear.records.database import writing
    from tensionear.records.log import dumped

    there = Log(path).count() if path.is_file() else 0
    for block in range(there, rounds, 500):
        with writing(path) as connection:
            for n in range(block, min(block + 500, rounds)):
                reading = a_round(n, f"Wheel {n % 100} of the quay", 36)
                day = f"20{10 + n // 1000:02d}-{1 + n // 80 % 12:02d}-{1 + n % 28:02d}T12:00:00Z"
                rows = {
                    "uid": f"{n:032x}", "title": reading.title, "started": day, "finished": day, "job": "wheel",
                    "verdict": reading.verdict, "plucks": 36, "note": f"visit {n}", "program": "x", "model": "x",
                    "state": "{}", "asked": "{}", "sheet": "{}", "sound": None, "sound_sha256": None,
                    "wheel_text": None, "reading": dumped(reading.to_dict()), "pluck_rows": [],
                }  # fmt: skip
                insert_rows(connection, rows)


def timed(path: Path) -> dict[str, float]:
    """Seconds of list, search and compare after imports."""
    log, found = Log(path), {}
    jobs = {
        "list": lambda: (log.rounds(Search(limit=30)), log.count()),
        "list all": lambda: log.rounds(),
        "search": lambda: log.rounds(Search(wheel="wheel 42", since="2012-01-01", verdict="within")),
        "compare": lambda: compare_rounds(log.load(42), log.load(142)),
    }
    for name, job in jobs.items():
        start_s = time.perf_counter()
        job()
        found[name] = time.perf_counter() - start_s
    return found


def main() -> None:
    """Do what is asked and tell."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("what", nargs="?", choices=("writers", "kills", "many"))
    parser.add_argument("--folder", type=Path, default=ROOT / "benchmarks" / "out" / "log")
    given = parser.parse_args()
    given.folder.mkdir(parents=True, exist_ok=True)
    progress = given.folder / "progress.json"
    done = json.loads(progress.read_text()) if progress.is_file() else {"kills": 0, "wrong": []}
    if given.what in (None, "writers") and "writers" not in done:
        start_s = time.perf_counter()
        done["writers"] = write_at_once(given.folder / f"writers-{time.time_ns()}.sqlite", WRITERS, EACH)
        done["writers_s"] = round(time.perf_counter() - start_s)
        progress.write_text(json.dumps(done))
    while given.what in (None, "kills") and done["kills"] < KILLS:
        block = done["kills"] // 20  # a log of its own every 20 kills, so that looking it over stays quick
        done["wrong"] += kill_once(given.folder / f"kills-{block}.sqlite", done["kills"])
        done["kills"] += 1
        progress.write_text(json.dumps(done))
    if given.what in (None, "many"):
        fill(given.folder / "many.sqlite", MANY)
        done["many_s"] = {name: round(seconds, 3) for name, seconds in timed(given.folder / "many.sqlite").items()}
        progress.write_text(json.dumps(done))
    print(json.dumps(done, indent=1))


if __name__ == "__main__":
    main()
