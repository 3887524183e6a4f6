"""Evenness alone against the wheel file: the same rounds read with the number of spokes and with the whole description.

Run ``python -m benchmarks.evenness [--count N] [--first SEED] [--scenario NAME]``. Every spoke is a line of
``benchmarks/out/evenness.csv``; rounds that are there already are not read again, so a long run may be stopped. The table
goes to the terminal and to ``benchmarks/out/evenness.txt``.

A wheel whose sides sing alike is one group to whoever does not know which side is which. Its deviations are compared with
those of the file's tensions from the mean of them all, in a row of their own; the others from the mean of their side. Means
are always those of the spokes that both readings have.
"""

from __future__ import annotations

import argparse
import csv
import os
from collections.abc import Mapping, Sequence
from pathlib import Path

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

import numpy as np

import tensionear as te
from benchmarks.simulator.rounds import SCENARIOS, Round, draw_round
from tensionear.reading import Reading
from tensionear.wheel.wheelfile import parse_wheel

OUT = Path(__file__).parent / "out"
COLUMNS = ("scenario", "seed", "kind", "groups", "spoke", "alone", "u_alone", "full", "true")
PERCENT = 0.5


def main() -> None:
    """Draw, read, tabulate."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--count", type=int, default=24, help="rounds")
    parser.add_argument("--first", type=int, default=6000, help="first seed")
    parser.add_argument("--scenario", choices=list(SCENARIOS), default="tidy")
    given = parser.parse_args()
    OUT.mkdir(exist_ok=True)
    path = OUT / "evenness.csv"
    if not path.exists():
        path.write_text(",".join(COLUMNS) + "\n", encoding="utf-8")
    rows = _rows(path)
    wanted = range(given.first, given.first + given.count)
    for seed in wanted:
        if not any(row["scenario"] == given.scenario and int(row["seed"]) == seed for row in rows):
            new = compared(draw_round(seed, given.scenario))
            with path.open("a", encoding="utf-8", newline="") as file:
                csv.writer(file).writerows((given.scenario, seed, *row) for row in new)
    rows = [row for row in _rows(path) if row["scenario"] == given.scenario and int(row["seed"]) in wanted]
    text = table(rows)
    (OUT / "evenness.txt").write_text(text, encoding="utf-8")
    print(text)


def _rows(path: Path) -> list[dict[str, str]]:
    with path.open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


def compared(drawn: Round) -> list[tuple[str, str, int, float, float, float, float]]:
    """One row a spoke that both readings have: kind, what the groups are, spoke, and deviations in percent."""
    wheel = parse_wheel(drawn.wheel_toml, "bench")
    recording = te.Recording(drawn.samples, drawn.sample_rate_hz)
    options = te.RoundOptions(order=drawn.options["order"], direction=drawn.options["direction"])  # type: ignore[arg-type]
    first = int(drawn.options["first"] or 1)
    full = te.read(recording, wheel=wheel, first=first, options=options)
    alone = te.read(recording, spokes=wheel.spokes, first=first, options=options)
    kind = wheel.places[0].spoke
    shape = "flat" if kind.is_flat else "round" if kind.head_m + kind.tail_m == 0 else "butted"
    true_n = {spoke.spoke: spoke.tension_n for spoke in drawn.spokes}
    other = {spoke.spoke: spoke for spoke in alone.spokes}
    found = []
    for group in alone.sides:
        read = [spoke for spoke in full.spokes if other[spoke.spoke].side == group]
        read = [spoke for spoke in read if spoke.tension_n and other[spoke.spoke].deviation_percent is not None]
        mine = _from_mean([100 + (other[spoke.spoke].deviation_percent or 0.0) for spoke in read])
        theirs = _from_mean([spoke.tension_n or 0.0 for spoke in read])
        truth = _from_mean([true_n[spoke.spoke] for spoke in read])
        for at, spoke in enumerate(read):
            u = other[spoke.spoke].u_deviation_percent or 0.0
            row = (shape, _grouping(full, alone), spoke.spoke, float(mine[at]), u, float(theirs[at]), float(truth[at]))
            found.append(row)
    return found


def _grouping(full: Reading, alone: Reading) -> str:
    """Whether the groups that were heard are the sides, or one for both."""
    if len(alone.sides) == 1:
        return "one"
    pairs = {(one.side, other.side) for one, other in zip(full.spokes, alone.spokes, strict=True)}
    return "sides" if len(pairs) == len(full.sides) else "other"


def _from_mean(relative: Sequence[float]) -> np.ndarray:
    """Deviations in percent from the mean of these tensions, in any unit."""
    return 100 * (np.array(relative) / np.mean(relative) - 1) if relative else np.zeros(0)


def table(rows: Sequence[Mapping[str, str]]) -> str:
    """One row a kind of spoke, and one for wheels heard as one group."""
    head = (
        f"{'spokes':<10}{'rounds':>7}{'spokes':>8}{'median %':>10}{'90 %':>7}{'95 %':>7}{'most %':>8}"
        f"{'within 0.5 %':>14}{'alone off %':>13}{'file off %':>12}{'in 95 %':>9}"
    )
    lines = [head]
    for kind in ("round", "butted", "flat", "all", "one group"):
        groups = "one" if kind == "one group" else "sides"
        mine = [row for row in rows if row["groups"] == groups and kind in (row["kind"], "all", "one group")]
        if not mine:
            continue
        alone, u, full, true = (
            np.array([float(row[key]) for row in mine]) for key in ("alone", "u_alone", "full", "true")
        )
        gap, off = np.abs(alone - full), np.abs(alone - true)
        lines.append(
            f"{kind:<10}{len({row['seed'] for row in mine}):>7}{len(gap):>8}{np.median(gap):>10.2f}"
            f"{np.percentile(gap, 90):>7.2f}{np.percentile(gap, 95):>7.2f}{gap.max():>8.1f}"
            f"{100 * np.mean(gap <= PERCENT):>14.1f}{np.median(off):>13.2f}{np.median(np.abs(full - true)):>12.2f}"
            f"{100 * np.mean(off <= 1.96 * u):>9.1f}"
        )
    wrong = sorted({int(row["seed"]) for row in rows if row["groups"] == "other"})
    return "\n".join([*lines, *([f"groups that are no sides: seeds {wrong}"] if wrong else [])]) + "\n"


if __name__ == "__main__":
    main()
