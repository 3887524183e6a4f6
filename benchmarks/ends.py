"""End stiffness found of whole rounds, against the truth and against what a round can tell at best.

Run ``python -m benchmarks.ends [--count N] [--first SEED]``: tidy rounds; a line an end goes to ``benchmarks/out/ends.jsonl`` as
its round is done, which is not done again; the table to the terminal and to ``benchmarks/out/ends.txt``.

What a round can tell at best is the posterior of the same joint fit given the true frequencies of the simulator for the
first eight modes of both planes of every spoke, each with the median stated u of a partial, 0.45 cents: the information of
partials that were all heard and named. The prior of ln k is flat over its range, its standard deviation a root-twelfth of that.
"""

from __future__ import annotations

import argparse
import json
import math
import os
from collections.abc import Sequence
from pathlib import Path
from typing import Any

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

import numpy as np

import tensionear as te
from benchmarks.simulator.rounds import SpokeTruth, draw_round
from tensionear.physics.inverse import EndsPrior, Partials, fit_group
from tensionear.physics.modes import MODES
from tensionear.reading import EndStiffness
from tensionear.wheel.model import Place
from tensionear.wheel.sidefit import ends_of, models_of
from tensionear.wheel.wheelfile import parse_wheel

HEARD_MODES, U_LOG = 8, 0.45 / 1731.2
PRIOR = EndsPrior()
PRIOR_SD = math.log(PRIOR.highest / PRIOR.lowest) / math.sqrt(12)
COVERAGE = 1.959964
OUT = Path(__file__).parent / "out"


def main() -> None:
    """Draw, read, tabulate."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--count", type=int, default=20, help="rounds")
    parser.add_argument("--first", type=int, default=1000, help="first seed")
    given = parser.parse_args()
    OUT.mkdir(exist_ok=True)
    path = OUT / "ends.jsonl"
    rows = [json.loads(line) for line in path.read_text().splitlines()] if path.exists() else []
    wanted = range(given.first, given.first + given.count)
    for seed in wanted:
        if not any(row["seed"] == seed for row in rows):
            new = ends_of_round(seed)
            rows += new
            with path.open("a", encoding="utf-8") as file:
                file.writelines(json.dumps(row) + "\n" for row in new)
    text = table([row for row in rows if row["seed"] in wanted])
    (OUT / "ends.txt").write_text(text, encoding="utf-8")
    print(text)


def ends_of_round(seed: int) -> list[dict[str, Any]]:
    """Each end of each side and plane: ln k in truth, as read with its sd, and with the best sd there could be."""
    drawn = draw_round(seed, "tidy")
    wheel = parse_wheel(drawn.wheel_toml, "bench")
    reading = te.read(te.Recording(drawn.samples, drawn.sample_rate_hz, f"tidy {seed}"), wheel=wheel)
    found = []
    for side in wheel.sides:
        places = [place for place in wheel.places if place.side == side]
        truths = [drawn.spokes[place.number - 1] for place in places]
        for read, best in zip(reading.ends[side], best_ends(places, truths), strict=True):
            true = np.mean([_log_k(truth, read) for truth in truths])
            found.append(
                {
                    "seed": seed,
                    "side": side,
                    "end": read.end,
                    "plane": read.plane,
                    "how": read.how,
                    "true": float(true),
                    "read": math.log(read.n_m_per_rad),
                    "sd": _sd(read),
                    "best_sd": _sd(best),
                }
            )
    return found


def best_ends(places: Sequence[Place], truths: Sequence[SpokeTruth]) -> tuple[EndStiffness, ...]:
    """The ends as the joint fit finds them from the true frequencies."""
    values, sd = np.zeros((len(places), 3, MODES)), np.full((len(places), 3, MODES), np.inf)
    for at, truth in enumerate(truths):
        for plane in (0, 1):
            values[at, plane, :HEARD_MODES] = np.log(truth.modes_hz[plane][:HEARD_MODES])
            sd[at, plane, :HEARD_MODES] = U_LOG
    start = np.log([truth.tension_n for truth in truths])
    models, which = models_of(places)
    fit = fit_group(models, which, Partials(values, sd, start), PRIOR)
    return ends_of(fit, places[0].spoke.is_flat)


def _log_k(truth: SpokeTruth, told: EndStiffness) -> float:
    """The true ln k of an end in a plane; of a round spoke's planes the mean."""
    end = 0 if told.end == "hub" else 1
    flat, edge = (math.log(plane[end]) for plane in truth.ends_n_m_rad)
    return {"flat": flat, "edge": edge, "both": (flat + edge) / 2}[told.plane]


def _sd(told: EndStiffness) -> float:
    low, high = told.interval_95
    return math.log(high / low) / 2 / COVERAGE


def table(rows: Sequence[dict[str, Any]]) -> str:
    """By plane and end: how many can be found, how many are, and how the truth lies in the posterior."""
    head = (
        f"{'plane, end':<16}{'ends':>6}{'can be found':>14}{'found':>7}{'median sd':>11}{'at best':>9}"
        f"{'mean z':>8}{'rms z':>7}{'in 95 %':>9}"
    )
    lines = [f"Prior sd of ln k {PRIOR_SD:.2f}; found: sd below a third of it", "", head]
    keys = sorted({(row["plane"], row["end"]) for row in rows})
    groups = [(", ".join(key), [row for row in rows if (row["plane"], row["end"]) == key]) for key in keys]
    for name, some in [*groups, ("all", list(rows)), ("all found", [r for r in rows if r["sd"] < PRIOR_SD / 3])]:
        if not some:
            continue
        sd, best = (np.array([row[key] for row in some]) for key in ("sd", "best_sd"))
        z = np.array([(row["read"] - row["true"]) / row["sd"] for row in some])
        can = best < PRIOR_SD / 3
        lines.append(
            f"{name:<16}{len(some):>6}{can.sum():>14}{np.sum(can & (sd < PRIOR_SD / 3)):>7}{np.median(sd):>11.2f}"
            f"{np.median(best):>9.2f}{z.mean():>8.2f}{np.sqrt(np.mean(z**2)):>7.2f}{100 * np.mean(np.abs(z) < COVERAGE):>9.1f}"
        )
    return "\n".join(lines) + "\n"


if __name__ == "__main__":
    main()
