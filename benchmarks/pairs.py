"""Rounds of wheels whose spokes touch where they cross: what is split, how well, and what is refused.

Run ``python -m benchmarks.pairs [--count N] [--first SEED]``; a line a round goes to ``benchmarks/out/pairs.jsonl`` as it is
done (rounds already there are not read again), the table to the terminal and to ``benchmarks/out/pairs.txt``.
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
from tensionear.reading import SpokeReading
from tensionear.wheel.pairside import partners
from tensionear.wheel.wheelfile import parse_wheel

OUT = Path(__file__).parent / "out"
SIGN_FROM = 0.05


def main() -> None:
    """Draw, read, tabulate."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--count", type=int, default=20, help="rounds")
    parser.add_argument("--first", type=int, default=1000, help="first seed")
    given = parser.parse_args()
    OUT.mkdir(exist_ok=True)
    kept = OUT / "pairs.jsonl"
    done = {one["seed"]: one for one in map(json.loads, kept.read_text().splitlines())} if kept.exists() else {}
    wanted = range(given.first, given.first + given.count)
    with kept.open("a", encoding="utf-8") as file:
        for seed in wanted:
            if seed not in done:
                done[seed] = read_one(seed)
                file.write(json.dumps(done[seed]) + "\n")
                file.flush()
    text = table([done[seed] for seed in wanted])
    (OUT / "pairs.txt").write_text(text, encoding="utf-8")
    print(text)


def read_one(seed: int) -> dict[str, Any]:
    """One round: for each pair its true tensions and, where it was split, those read with their u."""
    drawn = draw_round(seed, "touching")
    wheel = parse_wheel(drawn.wheel_toml, "bench")
    start = time.perf_counter()
    reading = te.read(te.Recording(drawn.samples, drawn.sample_rate_hz, f"touching {seed}"), wheel=wheel)
    seconds = time.perf_counter() - start
    truth = {spoke.spoke: spoke.tension_n for spoke in drawn.spokes}
    pairs = [pair for side in wheel.sides for pair in partners([p for p in wheel.places if p.side == side])]
    found = []
    for pair in pairs:
        spokes = [reading.spokes[place.number - 1] for place in pair]
        found.append({"side": pair[0].side, "true": [truth[place.number] for place in pair], "read": _read(spokes)})
    return {"seed": seed, "spokes": wheel.spokes, "seconds": seconds, "pairs": found}


def _read(spokes: Sequence[SpokeReading]) -> list[tuple[float, ...]] | None:
    """Tension, its u and the individual part of each; None where the pair was not split."""
    values = [(float(s.tension_n or 0), float(s.u_tension_n or 0), float(s.u_individual_n or 0)) for s in spokes]
    return values if all(value > 0 for value, _, _ in values) else None


def table(rounds: Sequence[dict[str, Any]]) -> str:
    """What the rounds come to."""
    pairs = [pair for one in rounds for pair in one["pairs"]]
    split = [pair for pair in pairs if pair["read"] is not None]
    true = np.array([pair["true"] for pair in split])
    read = np.array([pair["read"] for pair in split], dtype=float)
    error = read[:, :, 0] / true - 1
    z = (read[:, :, 0] - true) / read[:, :, 1]
    wanted = np.log(true[:, 0] / true[:, 1])
    gap = np.log(read[:, 0, 0] / read[:, 1, 0]) - wanted
    clear = np.abs(wanted) >= SIGN_FROM
    right = np.sign(wanted + gap) == np.sign(wanted)
    rows = [
        ("rounds, pairs", f"{len(rounds)}, {len(pairs)}"),
        ("split", f"{100 * len(split) / len(pairs):.0f} %"),
        ("tension, median and 95 % of |error|", f"{100 * np.median(np.abs(error)):.2f}, {_95(error):.2f} %"),
        ("median stated u", f"{100 * np.median(read[:, :, 1] / true):.2f} %"),
        ("within the stated 95 % interval", f"{100 * np.mean(np.abs(z) < 1.96):.1f} %"),
        ("beyond 3 u", f"{100 * np.mean(np.abs(z) > 3):.1f} %"),
        ("difference within a pair, median and 95 %", f"{100 * np.median(np.abs(gap)):.2f}, {_95(gap):.2f} %"),
        ("tighter one right, true difference >= 5 %", f"{right[clear].sum()} of {clear.sum()}"),
        ("the same, below 5 %", f"{right[~clear].sum()} of {(~clear).sum()}"),
        ("seconds a round, median", f"{np.median([one['seconds'] for one in rounds]):.0f}"),
    ]
    return "\n".join(f"{name:<46}{value}" for name, value in rows) + "\n"


def _95(values: np.ndarray) -> float:
    return float(100 * np.percentile(np.abs(values), 95))


if __name__ == "__main__":
    main()
