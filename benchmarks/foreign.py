"""Rounds with something on one spoke, or one that rattles: is it said, is anything said of the others, is it to be tightened?

Run ``python -m benchmarks.foreign [--count N] [--first SEED]``; the table goes to the terminal and to
``benchmarks/out/foreign.txt``. Every round is one line of ``benchmarks/out/foreign.jsonl``: a run goes on where it stopped.
"""

from __future__ import annotations

import argparse
import json
import os
from pathlib import Path
from typing import Any

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

import numpy as np

import tensionear as te
from benchmarks.simulator.loads import Load, draw_load, rattle
from benchmarks.simulator.rounds import Round, draw_round
from tensionear.dashboard.sentence import is_doubtful
from tensionear.dashboard.states import state_of
from tensionear.reading import Reading, SpokeReading
from tensionear.wheel.wheelfile import parse_wheel

#: Grams on the spoke, round by round; None: it only rattles, its ring ten times shorter.
MASSES_G = (0.5, 1.0, 2.0, 5.0, 10.0, None)
RATTLE = 10.0
FEWEST_SPOKES = 20
SAID = ("something-on-spoke", "overtones-do-not-fit", "buzzing")
OUT = Path(__file__).parent / "out"


def main() -> None:
    """Draw, read, tabulate."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--count", type=int, default=120, help="how many rounds")
    parser.add_argument("--first", type=int, default=1000, help="first seed")
    given = parser.parse_args()
    OUT.mkdir(exist_ok=True)
    kept = OUT / "foreign.jsonl"
    lines = kept.read_text("utf-8").splitlines() if kept.exists() else []
    done = {row["seed"]: row for row in map(json.loads, lines)}
    seeds = range(given.first, given.first + given.count)
    for seed in seeds:
        if seed not in done:
            done[seed] = judged(seed)
            with kept.open("a", encoding="utf-8") as file:
                file.write(f"{json.dumps(done[seed])}\n")
    text = table([done[seed] for seed in seeds])
    (OUT / "foreign.txt").write_text(text, encoding="utf-8")
    print(text)


def load_of(seed: int) -> Load:
    """What sits on which spoke of this seed's wheel."""
    rng = np.random.default_rng([seed, 991])
    spoke, grams = int(rng.integers(1, FEWEST_SPOKES + 1)), MASSES_G[seed % len(MASSES_G)]
    return rattle(spoke, RATTLE) if grams is None else draw_load(rng, spoke, 1e-3 * grams)


def judged(seed: int) -> dict[str, Any]:
    """One round: what was said of the loaded spoke and of the others."""
    load = load_of(seed)
    drawn = draw_round(seed, "tidy", [load])
    reading = read(drawn)
    plucked = {spoke.spoke for spoke in drawn.spokes if spoke.plucked}
    named = {code: {n for each in reading.findings if each.code == code for n in each.spokes} for code in SAID}
    hardly = {n for each in reading.findings if each.code == "pluck-again" for n in each.spokes}
    said = set().union(*named.values())
    loaded = next(spoke for spoke in reading.spokes if spoke.spoke == load.spoke)
    true = drawn.spokes[load.spoke - 1].tension_n
    return {
        "seed": seed,
        "grams": MASSES_G[seed % len(MASSES_G)],
        "said": sorted(code for code, spokes in named.items() if load.spoke in spokes),
        "hardly": load.spoke in hardly,
        "read": None if loaded.tension_n is None else loaded.tension_n / true - 1,
        "beyond_3_u": loaded.tension_n is not None and abs(loaded.tension_n - true) > 3 * (loaded.u_tension_n or 0.0),
        "tighten": to_be_tightened(reading, loaded),
        "others": len(plucked - {load.spoke}),
        "others_said": len(said - {load.spoke}),
        "others_hardly": len(hardly - {load.spoke}),
    }


def read(drawn: Round) -> Reading:
    """The round read with its wheel file, as it was plucked."""
    options = te.RoundOptions(order=drawn.options["order"], direction=drawn.options["direction"])  # type: ignore[arg-type]
    wheel = parse_wheel(drawn.wheel_toml, "bench")
    recording = te.Recording(drawn.samples, drawn.sample_rate_hz)
    return te.read(recording, wheel=wheel, first=int(drawn.options["first"] or 1), options=options)


def to_be_tightened(reading: Reading, spoke: SpokeReading) -> bool:
    """Whether the sentence may advise to tighten it or bring it nearer to the mean: it reads slack, and nothing else is said."""
    slack = state_of(spoke) in ("low", "undecided") and (spoke.deviation_percent or 0.0) < 0
    return slack and not is_doubtful(reading, spoke)


def table(rows: list[dict[str, Any]]) -> str:
    """A row a mass, then the other spokes."""
    columns = ("said %", "doubted %", "a number %", "beyond 3 u", "to tighten")
    lines = [f"{'on the spoke':<14}{'rounds':>8}" + "".join(f"{column:>12}" for column in columns)]
    for grams in MASSES_G:
        some = [row for row in rows if row["grams"] == grams]
        if some:
            name = "it rattles" if grams is None else f"{grams:g} g"
            lines.append(
                f"{name:<14}{len(some):>8}{100 * np.mean([bool(row['said']) for row in some]):>12.0f}"
                f"{100 * np.mean([row['hardly'] and not row['said'] for row in some]):>12.0f}"
                f"{100 * np.mean([row['read'] is not None for row in some]):>12.0f}"
                f"{sum(row['beyond_3_u'] for row in some):>12}"
                f"{sum(row['tighten'] for row in some):>12}"
            )
    others = sum(row["others"] for row in rows)
    for key, words in (("others_said", "wrongly said of"), ("others_hardly", "doubted")):
        count = sum(row[key] for row in rows)
        lines.append(f"{words} other spokes: {count} of {others} ({100 * count / others:.2f} %)")
    return "\n".join(lines) + "\n"


if __name__ == "__main__":
    main()
