"""Rounds of wheels whose spokes are pinched where they cross: what is told, how well, and what is not.

Run ``python -m benchmarks.pinched [--count N] [--first SEED]``; a line a round goes to ``benchmarks/out/pinched.jsonl`` as it is
done (rounds already there are not read again), the table to the terminal and to ``benchmarks/out/pinched.txt``.
"""

from __future__ import annotations

import argparse
import json
import os
import time
from collections.abc import Sequence
from pathlib import Path
from typing import Any

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

import numpy as np

import tensionear as te
from benchmarks.simulator.rounds import draw_round
from tensionear.wheel.wheelfile import parse_wheel

OUT = Path(__file__).parent / "out"
WORST = 0.02


def main() -> None:
    """Draw, read, tabulate."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--count", type=int, default=20, help="rounds")
    parser.add_argument("--first", type=int, default=1000, help="first seed")
    given = parser.parse_args()
    OUT.mkdir(exist_ok=True)
    kept = OUT / "pinched.jsonl"
    done = {one["seed"]: one for one in map(json.loads, kept.read_text().splitlines())} if kept.exists() else {}
    wanted = range(given.first, given.first + given.count)
    with kept.open("a", encoding="utf-8") as file:
        for seed in wanted:
            if seed not in done:
                done[seed] = read_one(seed)
                file.write(json.dumps(done[seed]) + "\n")
                file.flush()
    text = table([done[seed] for seed in wanted])
    (OUT / "pinched.txt").write_text(text, encoding="utf-8")
    print(text)


def read_one(seed: int) -> dict[str, Any]:
    """One round: for each side its spokes' true tension and, where told, tension, u, deviation and u of that in percent."""
    drawn = draw_round(seed, "pinched")
    wheel = parse_wheel(drawn.wheel_toml, "bench")
    start = time.process_time()
    reading = te.read(te.Recording(drawn.samples, drawn.sample_rate_hz, f"pinched {seed}"), wheel=wheel)
    seconds = time.process_time() - start
    truth = {spoke.spoke: spoke.tension_n for spoke in drawn.spokes}
    sides: dict[str, list[list[float | None]]] = {"right": [], "left": []}
    for spoke in reading.spokes:
        row = [
            truth[spoke.spoke],
            spoke.tension_n,
            spoke.u_tension_n,
            spoke.deviation_percent,
            spoke.u_deviation_percent,
        ]
        sides[spoke.side].append(row)
    return {"seed": seed, "seconds": seconds, "sides": sides}


def table(rounds: Sequence[dict[str, Any]]) -> str:
    """What the rounds come to."""
    count, error, z, off, off_z = 0, [], [], [], []
    for one in rounds:
        for rows in one["sides"].values():
            count += len(rows)
            told = np.array([row for row in rows if row[1] is not None], dtype=float).reshape(-1, 5)
            if not len(told):
                continue
            error += list(told[:, 1] / told[:, 0] - 1)
            z += list((told[:, 1] - told[:, 0]) / told[:, 2])
            away = told[:, 3] - 100 * (told[:, 0] / told[:, 0].mean() - 1)
            off += list(away)
            off_z += list(away / told[:, 4])
    absolute, uneven = 100 * np.abs(error), np.abs(off)
    rows = [
        ("rounds, spokes", f"{len(rounds)}, {count}"),
        ("told", f"{100 * len(error) / count:.0f} %"),
        ("tension, median and 95 % of |error|", f"{np.median(absolute):.2f}, {np.percentile(absolute, 95):.2f} %"),
        ("within the stated 95 % interval", f"{100 * np.mean(np.abs(z) < 1.96):.1f} %"),
        ("deviation from the side's mean, rms error", f"{np.sqrt(np.mean(uneven**2)):.2f} %"),
        (
            "the same, median, 95 % and most",
            f"{np.median(uneven):.2f}, {np.percentile(uneven, 95):.2f}, {uneven.max():.2f} %",
        ),
        ("deviations more than 2 % off", f"{np.sum(uneven > 100 * WORST)}"),
        ("deviations within their 95 % interval", f"{100 * np.mean(np.abs(off_z) < 1.96):.1f} %"),
        ("seconds of processor a round, median", f"{np.median([one['seconds'] for one in rounds]):.1f}"),
    ]
    return "\n".join(f"{name:<46}{value}" for name, value in rows) + "\n"


if __name__ == "__main__":
    main()
