"""Broken inputs by the hundred thousand at every door that reads: what is not taken well is told. Resumable.

`python -m benchmarks.fuzz --count 200000` goes on where it stopped; counts and faults are kept in `benchmarks/out/fuzz.json`.
An input is not taken well if it ends in an error that nobody foresaw, in no sentence, in a crash, after more than 5 s of
processor time, or with more than 1 GB. Inputs are read in forks of this process, which has imported all of it before; a watch
beside them ends those that take too long. `--again DOOR NUMBER` reads one input once more, in this process.
"""

from __future__ import annotations

import argparse
import json
import mmap
import os
import random
import resource
import shutil
import signal
import struct
import sys
import tempfile
import time
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from benchmarks.fuzzing.doors import DOORS, Door
from benchmarks.fuzzing.taken import FaultError, taken

OUT = Path(__file__).parent / "out" / "fuzz.json"
MOST_S, MOST_BYTES = 5.0, 1 << 30
#: A machine that is shared may give a process no time at all for a while.
_MOST_WALL_S = 90.0
#: Inputs read by one fork.
_BATCH = 400
#: Faults of one door whose words are kept.
_KEPT = 40
_TICKS = os.sysconf("SC_CLK_TCK")


@dataclass(slots=True)
class Tally:
    """Inputs read so far of one door, by what came of them, and the faults."""

    done: int = 0
    read: int = 0
    refused: int = 0
    faults: list[dict[str, Any]] = field(default_factory=list)

    @property
    def faulty(self) -> int:
        """How many were not taken well."""
        return self.done - self.read - self.refused

    def note(self, number: int, outcome: str) -> None:
        """Count one input."""
        self.done = number + 1
        if outcome == "read":
            self.read += 1
        elif outcome == "refused":
            self.refused += 1
        elif len(self.faults) < _KEPT:
            self.faults.append({"number": number, "how": outcome})


def broken(door: Door, number: int) -> bytes:
    """The input of this number."""
    return door.breaks(random.Random(f"{door.name} {number}"))


def outcome_of(door: Door, number: int, folder: Path) -> str:
    """Read one input in a folder that is made for it; ``read``, ``refused``, or what went wrong."""
    shutil.rmtree(folder, ignore_errors=True)
    folder.mkdir(parents=True)
    data = broken(door, number)
    try:
        return taken(lambda: door.reads(data, folder))
    except FaultError as error:
        return f"fault: {error}"


def read_batch(door: Door, first: int, last: int, tally: Tally, work: Path) -> None:
    """Read inputs in a fork until one crashes or hangs, or all are read; all are counted."""
    at = mmap.mmap(-1, 16)
    at[:8] = struct.pack("q", first)
    reads, writes = os.pipe()
    child = os.fork()
    if child == 0:
        os.close(reads)
        _in_fork(door, first, last, writes, at, work)
    os.close(writes)
    killed = _watch(child, at)
    _, status = os.waitpid(child, 0)
    with os.fdopen(reads, "rb") as stream:
        for line in stream.read().splitlines():
            number, outcome = json.loads(line)
            tally.note(number, outcome)
    code = os.waitstatus_to_exitcode(status)
    if tally.done < last and code:
        tally.note(tally.done, f"took more than {killed}" if killed else f"crash: exit code {code}")


def _in_fork(door: Door, first: int, last: int, pipe: int, at: mmap.mmap, work: Path) -> None:
    with open(f"/proc/{os.getpid()}/statm") as statm:  # noqa: PTH123
        base = int(statm.read().split()[0]) * resource.getpagesize()
    resource.setrlimit(resource.RLIMIT_AS, (base + MOST_BYTES, base + MOST_BYTES))
    resource.setrlimit(resource.RLIMIT_CORE, (0, 0))
    null = os.open(os.devnull, os.O_RDWR)
    for number in (0, 1, 2):
        os.dup2(null, number)
    with os.fdopen(pipe, "wb", buffering=0) as stream:
        for number in range(first, last):
            at[:16] = struct.pack("qd", number, time.process_time())
            outcome = outcome_of(door, number, work / "a" / "b" / "case")
            stream.write(json.dumps([number, outcome[-3000:]]).encode() + b"\n")
    os._exit(0)


def _watch(child: int, at: mmap.mmap) -> str:
    """Wait for a fork to end; kill it if one input takes too long, and say what it took."""
    seen, since = -1, time.monotonic()
    while True:
        if os.waitid(os.P_PID, child, os.WEXITED | os.WNOHANG | os.WNOWAIT) is not None:
            return ""
        number, started_s = struct.unpack("qd", at[:16])
        if number != seen:
            seen, since = number, time.monotonic()
        spent_s, wall_s = _processor_s(child) - started_s, time.monotonic() - since
        if (number == seen and spent_s > MOST_S and wall_s > MOST_S) or wall_s > _MOST_WALL_S:
            os.kill(child, signal.SIGKILL)
            return f"{MOST_S:g} s of processor time" if wall_s <= _MOST_WALL_S else f"{_MOST_WALL_S:g} s"
        time.sleep(0.05)


def _processor_s(child: int) -> float:
    with open(f"/proc/{child}/stat") as stat:  # noqa: PTH123
        fields = stat.read().rpartition(")")[2].split()
    return (int(fields[11]) + int(fields[12])) / _TICKS


def tallies_from(path: Path) -> dict[str, Tally]:
    """What was counted before."""
    kept = json.loads(path.read_text("utf-8")) if path.is_file() else {}
    return {door.name: Tally(**kept.get(door.name, {})) for door in DOORS}


def keep(path: Path, tallies: dict[str, Tally]) -> None:
    """Write the counts, whole or not at all."""
    path.parent.mkdir(parents=True, exist_ok=True)
    part = path.with_suffix(".part")
    document = {
        name: {"done": each.done, "read": each.read, "refused": each.refused, "faults": each.faults}
        for name, each in tallies.items()
    }
    part.write_text(json.dumps(document, indent=1), "utf-8")
    part.replace(path)


def report(tallies: dict[str, Tally]) -> list[str]:
    """A table of all doors."""
    lines = ["| door | inputs | read | refused | not taken well |", "| --- | ---: | ---: | ---: | ---: |"]
    total = Tally()
    for name, each in tallies.items():
        lines.append(f"| {name} | {each.done} | {each.read} | {each.refused} | {each.faulty} |")
        total = Tally(total.done + each.done, total.read + each.read, total.refused + each.refused)
    lines.append(f"| all | {total.done} | {total.read} | {total.refused} | {total.faulty} |")
    return lines


def run(count: int, doors: list[Door], path: Path, until_s: float) -> dict[str, Tally]:
    """Bring every door to its share of the count, a slice at a time so that all get on alike."""
    tallies = tallies_from(path)
    with tempfile.TemporaryDirectory() as folder:
        os.environ["HOME"] = os.environ["XDG_DATA_HOME"] = folder
        wanted = {door.name: round(count * door.share / sum(each.share for each in DOORS)) for door in doors}
        for door in doors:  # what is imported and made once is there before the forks
            for number in range(3):
                outcome_of(door, number, Path(folder) / "a" / "b" / "case")
        while open_doors := [door for door in doors if tallies[door.name].done < wanted[door.name]]:
            for door in open_doors:
                tally = tallies[door.name]
                step = max(20, min(_BATCH, wanted[door.name] // 10))
                read_batch(door, tally.done, min(tally.done + step, wanted[door.name]), tally, Path(folder))
                keep(path, tallies)
                if time.monotonic() > until_s:
                    return tallies
    return tallies


def main() -> int:
    """Run, print the table and every fault."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--count", type=int, default=2000, help="inputs in all, those of earlier runs included")
    parser.add_argument("--door", action="append", help="only this door; may be repeated")
    parser.add_argument("--minutes", type=float, default=1e6, help="stop after so long; run again to go on")
    parser.add_argument("--out", type=Path, default=OUT, help="where counts are kept")
    parser.add_argument("--again", nargs=2, metavar=("DOOR", "NUMBER"), help="one input, in this process")
    given = parser.parse_args()
    by_name = {door.name: door for door in DOORS}
    if given.again:
        with tempfile.TemporaryDirectory() as folder:
            os.environ["HOME"] = os.environ["XDG_DATA_HOME"] = folder
            door, number = by_name[given.again[0]], int(given.again[1])
            data = broken(door, number)
            sys.stdout.write(
                f"{len(data)} bytes: {data[:2000]!r}\n{outcome_of(door, number, Path(folder) / 'a/b/case')}\n"
            )
        return 0
    doors = [by_name[name] for name in given.door] if given.door else list(DOORS)
    tallies = run(given.count, doors, given.out, time.monotonic() + 60 * given.minutes)
    for name, tally in tallies.items():
        for fault in tally.faults:
            sys.stdout.write(f"{name} {fault['number']}: {fault['how'].strip()[-1500:]}\n\n")
    sys.stdout.write("\n".join(report(tallies)) + "\n")
    return 1 if any(tally.faulty for tally in tallies.values()) else 0


if __name__ == "__main__":
    sys.exit(main())
