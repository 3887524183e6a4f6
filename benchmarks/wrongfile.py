"""Rounds and single plucks read with a wheel file that is wrong, and with the right one: is it said?

Run ``python -m benchmarks.wrongfile [--count N] [--first SEED] [--scenario NAME]``; the table goes to the terminal and to
``benchmarks/out/wrongfile.txt``. A seed is one line of ``benchmarks/out/wrongfile.jsonl``: a run goes on where it stopped.
"""

from __future__ import annotations

import argparse
import json
import os
import re
from dataclasses import replace
from pathlib import Path
from typing import Any

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

import numpy as np

import tensionear as te
from benchmarks.foreign import read
from benchmarks.simulator.rounds import Round, draw_round
from tensionear.wheel.wheelfile import parse_wheel

CODE = "other-spoke"
RIGHT = "right"
BEFORE_S, AFTER_S = 0.25, 1.2
SINGLE_CASES = (RIGHT, "10 % thicker", "10 % thinner", "flat for round, round for flat")
OUT = Path(__file__).parent / "out"


def main() -> None:
    """Draw, read, tabulate."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--count", type=int, default=40, help="how many rounds")
    parser.add_argument("--first", type=int, default=1000, help="first seed")
    parser.add_argument("--more", type=int, default=0, help="how many further rounds, read with the right file alone")
    parser.add_argument("--scenario", default="tidy", help="as benchmarks.rounds has them")
    given = parser.parse_args()
    OUT.mkdir(exist_ok=True)
    kept = OUT / "wrongfile.jsonl"
    lines = kept.read_text("utf-8").splitlines() if kept.exists() else []
    done = {(row["scenario"], row["seed"]): row for row in map(json.loads, lines)}
    keys = [(given.scenario, seed) for seed in range(given.first, given.first + given.count + given.more)]
    for index, key in enumerate(keys):
        if key not in done:
            done[key] = judged(*key) if index < given.count else judged_right(*key)
            with kept.open("a", encoding="utf-8") as file:
                file.write(f"{json.dumps(done[key])}\n")
    text = table([done[key] for key in keys])
    (OUT / "wrongfile.txt").write_text(text, encoding="utf-8")
    print(text)


def stated(toml: str) -> dict[str, str]:
    """The wheel file as it is, and with one thing wrong, by what that is."""
    flat = "width_mm" in toml
    sizes = ("thickness_mm",) if flat else ("diameter_mm", "middle_diameter_mm", "end_diameter_mm")
    other = "steel-round-2.0" if flat else "steel-oval-2.3x1.0"
    renamed = toml.replace('spoke = "bench-spoke"', f'spoke = "{other}"')
    return {
        RIGHT: toml,
        "10 % thicker": scaled(toml, sizes, 1.10),
        "10 % thinner": scaled(toml, sizes, 0.90),
        "6 % longer": scaled(toml, ("free_length_mm",), 1.06),
        "6 % shorter": scaled(toml, ("free_length_mm",), 0.94),
        "flat for round, round for flat": renamed[: renamed.index("[spokes.bench-spoke]")],
    }


def scaled(toml: str, keys: tuple[str, ...], factor: float) -> str:
    """The file with these keys multiplied."""
    pattern = rf"^({'|'.join(keys)}) = ([0-9.]+)$"
    return re.sub(pattern, lambda found: f"{found[1]} = {float(found[2]) * factor:.3f}", toml, flags=re.MULTILINE)


def judged(scenario: str, seed: int) -> dict[str, Any]:
    """One round read with each file: 1 where it was said that it is wrong; the same of its first single plucks."""
    drawn = draw_round(seed, scenario)
    files = stated(drawn.wheel_toml)
    rounds = {name: said(read(replace(drawn, wheel_toml=toml))) for name, toml in files.items()}
    singles = {name: single(drawn, files[name]) for name in SINGLE_CASES}
    return {"scenario": scenario, "seed": seed, "rounds": rounds, "singles": singles}


def judged_right(scenario: str, seed: int) -> dict[str, Any]:
    """One round read with the right file alone."""
    return {
        "scenario": scenario,
        "seed": seed,
        "rounds": {RIGHT: said(read(draw_round(seed, scenario)))},
        "singles": {},
    }


def single(drawn: Round, toml: str) -> list[int]:
    """The first and the fifth pluck of the round, each cut out and read on its own."""
    wheel = parse_wheel(toml, "bench")
    plucks = [event for event in drawn.plucks if event.spoke is not None and event.kind == "pluck"]
    found = []
    for event in plucks[:1] + plucks[4:5]:
        place = wheel.place(event.spoke)
        begin, end = (round((event.onset_s + shift) * drawn.sample_rate_hz) for shift in (-BEFORE_S, AFTER_S))
        recording = te.Recording(drawn.samples[max(begin, 0) : end], drawn.sample_rate_hz)
        found.append(said(te.read(recording, spoke=place.spoke, free_length_m=place.free_length_m)))
    return found


def said(reading: te.Reading) -> int:
    """1 if it is said that the stated spoke is not the one that is heard."""
    return int(any(finding.code == CODE for finding in reading.findings))


def table(rows: list[dict[str, Any]]) -> str:
    """A row a kind of error."""
    lines = [f"{'the file says':<32}{'rounds':>8}{'said %':>8}{'plucks':>8}{'said %':>8}"]
    for name in rows[0]["rounds"]:
        rounds = [row["rounds"][name] for row in rows if name in row["rounds"]]
        line = f"{name:<32}{len(rounds):>8}{100 * np.mean(rounds):>8.1f}"
        singles = [each for row in rows for each in row["singles"].get(name, [])]
        lines.append(line + (f"{len(singles):>8}{100 * np.mean(singles):>8.1f}" if singles else ""))
    return "\n".join(lines) + "\n"


if __name__ == "__main__":
    main()
