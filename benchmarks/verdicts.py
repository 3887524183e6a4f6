"""Verdicts held against the truth on simulated wheels drawn across the limit.

Run ``python -m benchmarks.verdicts [--count N] [--first SEED]``; the table goes to the terminal and to
``benchmarks/out/verdicts.txt``, one line a wheel to ``verdicts.csv``, from which an interrupted run goes on.

The prior, of which the verdicts know nothing: 20 to 36 spokes on two sides; each side's tensions scatter about its mean
by 0.8 to 3.0 %, normally; on three wheels of ten one spoke is off by up to 12 % more; the maximum lies 2 to 25 % above the
mean of the tighter side. A reading errs by 0.3 to 1.0 % of a spoke's own and by 1.0 to 2.5 % that its side shares, normally,
and says so.
"""

from __future__ import annotations

import argparse
import csv
import math
from collections.abc import Iterable
from dataclasses import astuple, dataclass, fields
from pathlib import Path

import numpy as np

from tensionear.wheel.assessment import assess
from tensionear.wheel.model import Wheel
from tensionear.wheel.sidefit import ReadTension
from tensionear.wheel.wheelfile import parse_wheel

OUT = Path(__file__).parent / "out"
EVENNESS = 0.05
SIDE = '[{side}]\nspoke = "steel-round-2.0"\nfree_length_mm = 270\n'


@dataclass(frozen=True, slots=True)
class Case:
    """One wheel: its number, truth and verdict, the probability told, and whether its worst spoke is 3 u off its limit."""

    seed: int
    truly_within: bool
    verdict: str
    within: float
    clear: bool


def main() -> None:
    """Draw, judge, tabulate."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--count", type=int, default=1000, help="wheels")
    parser.add_argument("--first", type=int, default=1000, help="first seed")
    given = parser.parse_args()
    OUT.mkdir(exist_ok=True)
    cases = judged(range(given.first, given.first + given.count), OUT / "verdicts.csv")
    text = table(cases)
    (OUT / "verdicts.txt").write_text(text, encoding="utf-8")
    print(text)


def judged(seeds: Iterable[int], kept: Path) -> list[Case]:
    """All cases, those of an earlier run taken from its file."""
    done: dict[int, Case] = {}
    if kept.exists():
        with kept.open(encoding="utf-8") as stream:
            for row in csv.DictReader(stream):
                seed, within = int(row["seed"]), float(row["within"])
                done[seed] = Case(seed, row["truly_within"] == "True", row["verdict"], within, row["clear"] == "True")
    new = not done
    with kept.open("a", encoding="utf-8", newline="") as stream:
        writer = csv.writer(stream)
        if new:
            writer.writerow([field.name for field in fields(Case)])
        for seed in seeds:
            if seed not in done:
                done[seed] = case(seed)
                writer.writerow(astuple(done[seed]))
    return [done[seed] for seed in seeds]


def case(seed: int) -> Case:
    """Draw one wheel, read it with errors, judge it."""
    rng = np.random.default_rng(seed)
    spokes = 2 * int(rng.integers(10, 19))
    level = {"right": 1000.0, "left": float(rng.uniform(550, 1000))}
    deviation = np.concatenate([side_of(rng, spokes // 2) for _ in range(2)])
    if rng.random() < 0.3:
        deviation[rng.integers(spokes)] += rng.uniform(-0.12, 0.12)
    halves = deviation.reshape(2, -1)
    true = {side: level[side] * (1 + half) for side, half in zip(level, halves, strict=True)}
    maximum = 1000.0 * (1 + rng.uniform(0.02, 0.25))
    wheel = described(spokes, maximum)
    own, common = rng.uniform(0.003, 0.010), rng.uniform(0.010, 0.025)
    read: dict[int, ReadTension] = {}
    for side, values in true.items():
        shared = 1 + common * rng.standard_normal()
        found = values * shared * (1 + own * rng.standard_normal(len(values)))
        read |= dict(zip(wheel.sides[side].numbers, readings(found, own, common), strict=True))  # type: ignore[index]
    even = all(np.all(np.abs(values / values.mean() - 1) <= EVENNESS) for values in true.values())
    low = all(values.max() <= maximum for values in true.values())
    assessed = assess(wheel, read)
    assert assessed.verdict is not None
    assert assessed.within is not None
    return Case(seed, bool(even and low), assessed.verdict, assessed.within, is_clear(read, maximum))


def side_of(rng: np.random.Generator, count: int) -> np.ndarray:
    """Deviations of one side."""
    return rng.normal(0, rng.uniform(0.008, 0.030), count)


def described(spokes: int, maximum: float) -> Wheel:
    """The wheel's file, as a wheel."""
    text = (
        f'format = 1\nname = "drawn"\n[lacing]\nspokes = {spokes}\nsides = "RL"\n[rim]\nmax_tension_n = {maximum:.3f}\n'
    )
    return parse_wheel(text + SIDE.format(side="right") + SIDE.format(side="left"), "drawn.toml")


def readings(values: np.ndarray, own: float, common: float) -> list[ReadTension]:
    """A side as its fit gives it."""
    found = []
    mean, total = float(values.mean()), math.hypot(own, common)
    for value in map(float, values):
        u, deviation = value * total, value / mean - 1
        interval = (value - 1.96 * u, value + 1.96 * u)
        found.append(
            ReadTension(value, u, interval, value * own, value * common, deviation, (1 + deviation) * own, 2.2, 1.0)
        )
    return found


def is_clear(read: dict[int, ReadTension], maximum: float) -> bool:
    """Whether the spoke nearest to its limit, or farthest beyond it, is more than 3 u from that limit."""
    even = [(EVENNESS - abs(one.deviation)) / one.u_deviation for one in read.values()]
    low = [(maximum - one.tension_n) / one.u_tension_n for one in read.values()]
    return abs(min(even + low)) > 3


def table(cases: list[Case]) -> str:
    """What the verdicts came to."""
    lines = [f"wheels {len(cases)}, truly within {sum(one.truly_within for one in cases)}"]
    for verdict, wrong in (("within", False), ("out", True)):
        called = [one for one in cases if one.verdict == verdict]
        share = sum(one.truly_within is wrong for one in called) / max(len(called), 1)
        error = math.sqrt(0.05 * 0.95 / max(len(called), 1))
        lines.append(
            f"called {verdict:9} {len(called):4}, of them truly {'out' if verdict == 'within' else 'within'} "
            f"{100 * share:.1f} % (allowed 5 % + 2 standard errors = {100 * (0.05 + 2 * error):.1f} %)"
        )
    lines.append(f"undecided        {sum(one.verdict == 'undecided' for one in cases):4}")
    clear = [one for one in cases if one.clear]
    decided = sum(one.verdict != "undecided" for one in clear) / max(len(clear), 1)
    lines.append(f"worst spoke more than 3 u from its limit: {len(clear)}, decided {100 * decided:.1f} % (wanted 60 %)")
    for low, high in ((0.0, 0.05), (0.05, 0.35), (0.35, 0.65), (0.65, 0.95), (0.95, 1.01)):
        some = [one for one in cases if low <= one.within < high]
        if some:
            told, true = np.mean([one.within for one in some]), np.mean([one.truly_within for one in some])
            lines.append(f"probability told {told:.3f}: truly within {true:.3f} of {len(some)}")
    return "\n".join(lines) + "\n"


if __name__ == "__main__":
    main()
