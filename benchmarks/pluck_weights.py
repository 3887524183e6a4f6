"""The weights of ``pitch/kind.py`` fitted again: logistic regression on the onsets of simulated rounds.

Run ``python -m benchmarks.pluck_weights`` after a change of the onset detector, of a feature or of the scan for series; it
prints the line to put into ``pitch/kind.py``. An onset counts as a pluck if the round's truth has one there. The old weights
decide which onsets are remembered as ringing, so that after a large change a second run moves them a little more.
"""

from __future__ import annotations

import argparse
import os
from collections.abc import Sequence

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

import numpy as np
from numpy.typing import NDArray

import tensionear as te
from benchmarks.simulator.rounds import SCENARIOS, Event, Round, draw_round
from tensionear.listening import Strike, listen_through
from tensionear.pipeline import expectations_of
from tensionear.pitch.kind import pluck_probability, regressors
from tensionear.wheel.wheelfile import parse_wheel

Array = NDArray[np.float64]

#: Knocks, voices and slips are in the untidy rounds alone, so that there are more of these.
FREE = {
    name: range(54) if name == "untidy" else range(14) for name, each in SCENARIOS.items() if each.crossing == "apart"
}
#: By how spokes ring. Where they touch, of untidy rounds only what is no pluck counts.
SEEDS = {
    "free": FREE,
    "touching": {"touching": range(14), "untidy": range(14)},
}
SAME_S = 0.09
PRIOR = 0.3  # one over the variance of each weight but the first


def main() -> None:
    """Draw, listen, fit, print."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--most", type=int, default=54, help="seeds a scenario, at most")
    parser.add_argument("--ring", choices=list(SEEDS), default="free", help="how the spokes ring")
    given = parser.parse_args()
    values, plucked, present = [], [], []
    for name, seeds in SEEDS[given.ring].items():
        for seed in seeds[: given.most]:
            rows, are, chance = onsets(draw_round(seed, name))
            counts = [given.ring == "free" or name != "untidy" or not each for each in are]
            values += [row for row, kept in zip(rows, counts, strict=True) if kept]
            plucked += [each for each, kept in zip(are, counts, strict=True) if kept]
            present += [each for each, kept in zip(chance, counts, strict=True) if kept]
        print(f"{name}: {len(plucked)} onsets so far, {sum(plucked)} of them plucks", flush=True)
    weights = fit(np.array(values), np.array(plucked, float))
    fitted = 1 / (1 + np.exp(-np.array(values) @ weights))
    print(f"log loss: {loss(np.array(present), plucked):.1f} at present, {loss(fitted, plucked):.1f} fitted")
    print(f'"{given.ring}": (' + ", ".join(f"{weight:.2f}" for weight in weights) + "),")


def onsets(drawn: Round) -> tuple[list[Array], list[bool], list[float]]:
    """The regressors of a round's onsets, whether each is a pluck, and how probable it is by the present weights."""
    wheel = parse_wheel(drawn.wheel_toml, "bench")
    recording = te.Recording(drawn.samples, drawn.sample_rate_hz, "bench")
    strikes = listen_through(recording, expectations_of(wheel)).strikes
    ranks = [each.heard[each.best].candidates[0].rank if each.heard[each.best].candidates else 0.0 for each in strikes]
    ring = expectations_of(wheel)[0].ring
    pairs = list(zip(strikes, ranks, strict=True))
    values = [regressors(each.features, rank, each.novelty_db) for each, rank in pairs]
    chance = [pluck_probability(each.features, rank, each.novelty_db, ring) for each, rank in pairs]
    return values, [at is not None for at in plucks_at(strikes, drawn.events)], chance


def plucks_at(strikes: Sequence[Strike], events: Sequence[Event]) -> list[Event | None]:
    """The pluck that each onset is, nearest first, each pluck once."""
    plucks = [event for event in events if event.kind == "pluck"]
    pairs = sorted(
        (abs(strike.onset_s - pluck.onset_s), i, j)
        for i, strike in enumerate(strikes)
        for j, pluck in enumerate(plucks)
        if abs(strike.onset_s - pluck.onset_s) < SAME_S
    )
    found: list[Event | None] = [None] * len(strikes)
    taken: set[int] = set()
    for _, i, j in pairs:
        if found[i] is None and j not in taken:
            found[i] = plucks[j]
            taken.add(j)
    return found


def fit(values: Array, plucked: Array) -> Array:
    """Weights by Newton's method; values (onsets, regressors), plucked (onsets,) 0 or 1."""
    weights = np.zeros(values.shape[1])
    prior = np.full(values.shape[1], PRIOR)
    prior[0] = 0.0
    for _ in range(60):
        chance = 1 / (1 + np.exp(-values @ weights))
        slope = values.T @ (plucked - chance) - prior * weights
        curve = values.T @ (values * (chance * (1 - chance))[:, None]) + np.diag(prior + 1e-9)
        step = np.linalg.solve(curve, slope)
        weights += step
        if np.abs(step).max() < 1e-8:
            return weights
    raise RuntimeError("the weights do not settle; are all onsets plucks, or none?")


def loss(chance: Array, plucked: Sequence[bool]) -> float:
    """Minus the log likelihood."""
    held = np.clip(chance, 1e-4, 1 - 1e-4)
    return float(-np.log(np.where(plucked, held, 1 - held)).sum())


if __name__ == "__main__":
    main()
