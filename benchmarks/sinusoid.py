"""One decaying sinusoid in white noise: the scatter of the frequency found, over the Cramer-Rao bound.

Run ``python -m benchmarks.sinusoid [--draws N] [--first SEED]`` from the root of the checkout; the table goes to the terminal
and to ``benchmarks/out/sinusoid.txt``. A point is a line of ``benchmarks/out/sinusoid.jsonl`` and is not done again.

The sound is A exp(-t/tau) cos(2 pi f t + phi) + noise of standard deviation sigma a sample, from the pluck on at 16 kHz, for
0.9 s. ``pitch.hearing`` gets what it gets of a pluck: the ring from 25 ms on and the noise before it. The bound is that of
the sound it gets: with I_k the integral of t^k exp(-2t/tau) over it,

    var(f) >= (1 / 2 pi)^2 2 sigma^2 / (A^2 fs (I2 - I1^2 / I0))

(Yao and Pandit 1995, IEEE Trans. Signal Processing 43(4), for damped sinusoids; from memory, and checked here by ``exact_bound``,
the inverse of the Fisher matrix of A, tau, f and phi: Kay 1993, Fundamentals of Statistical Signal Processing, section 3.9).
"""

from __future__ import annotations

import argparse
import itertools
import json
import os
from pathlib import Path

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

import numpy as np

from tensionear.physics.generic import expect_any_tone
from tensionear.pitch.hearing import SKIP_S, hear, survey

OUT = Path(__file__).parent / "out"
RATE_HZ, LENGTH_S, BEFORE_S = 16_000.0, 0.9, 0.5
LEVELS_DB = (0.0, 10.0, 20.0, 30.0, 40.0)
DECAYS_S = (0.2, 1.0)
LOWEST_HZ, HIGHEST_HZ = 200.0, 600.0


def main() -> None:
    """Draw, hear, tabulate."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--draws", type=int, default=500, help="a point")
    parser.add_argument("--first", type=int, default=1000, help="seed")
    given = parser.parse_args()
    OUT.mkdir(exist_ok=True)
    path = OUT / "sinusoid.jsonl"
    done = [json.loads(line) for line in path.read_text().splitlines()] if path.exists() else []
    rows = []
    for tau, level in itertools.product(DECAYS_S, LEVELS_DB):
        key = [given.draws, given.first, tau, level]
        if not any(line[:4] == key for line in done):
            done.append([*key, *scatter(tau, level, given.draws, given.first)])
            with path.open("a", encoding="utf-8") as file:
                file.write(json.dumps(done[-1]) + "\n")
        rows.append(next(tuple(line[2:]) for line in done if line[:4] == key))
    text = table(rows, given.draws)
    (OUT / "sinusoid.txt").write_text(text, encoding="utf-8")
    print(text)


def scatter(tau_s: float, level_db: float, draws: int, seed: int) -> tuple[float, float, float, int]:
    """The bound in Hz, the rms error of what was found and its stated u, in bounds, and how often nothing was found."""
    expected = expect_any_tone()
    sigma = float(np.sqrt(0.5 / 10 ** (level_db / 10)))
    rng = np.random.default_rng([seed, round(10 * tau_s), round(level_db)])
    time_s = SKIP_S + np.arange(int((LENGTH_S - SKIP_S) * RATE_HZ)) / RATE_HZ
    bound = cramer_rao_bound(sigma, tau_s, time_s)
    errors, stated, silent = [], [], 0
    for _ in range(draws):
        frequency_hz, phase = rng.uniform(LOWEST_HZ, HIGHEST_HZ), rng.uniform(0, 2 * np.pi)
        clean = np.exp(-time_s / tau_s) * np.cos(2 * np.pi * frequency_hz * time_s + phase)
        before = sigma * rng.standard_normal(int(BEFORE_S * RATE_HZ))
        ring = clean + sigma * rng.standard_normal(len(time_s))
        heard = hear(ring, RATE_HZ, expected, survey(ring, before, RATE_HZ, expected, (), 1.0), ())
        line = min(heard.lines, key=lambda each: abs(each.frequency_hz - frequency_hz), default=None)
        if line is None or abs(line.frequency_hz - frequency_hz) > 5:
            silent += 1
            continue
        errors.append(line.frequency_hz - frequency_hz)
        stated.append(line.u_frequency_hz)
    rms = float(np.sqrt(np.mean(np.square(errors))))
    return bound, rms / bound, float(np.median(stated)) / bound, silent


def cramer_rao_bound(sigma: float, tau_s: float, time_s: np.ndarray) -> float:
    """Least standard deviation of f in Hz of a sinusoid of amplitude 1 at t = 0, sampled at ``time_s``."""
    weight = np.exp(-2 * time_s / tau_s)
    i0, i1, i2 = (float(np.sum(weight * time_s**k)) for k in range(3))
    return float(np.sqrt(2 * sigma**2 / (i2 - i1**2 / i0)) / (2 * np.pi))


def exact_bound(sigma: float, tau_s: float, time_s: np.ndarray, frequency_hz: float, phase: float) -> float:
    """The same from the inverse of the Fisher matrix of A, 1/tau, f and phi."""
    turn, fall = 2 * np.pi * frequency_hz * time_s + phase, np.exp(-time_s / tau_s)
    slopes = fall * np.array([np.cos(turn), -time_s * np.cos(turn), -2 * np.pi * time_s * np.sin(turn), -np.sin(turn)])
    return float(np.sqrt(np.linalg.inv(slopes @ slopes.T / sigma**2)[2, 2]))


def table(rows: list[tuple[float, float, float, float, float, int]], draws: int) -> str:
    """A row a point."""
    lines = [f"{draws} draws a point", ""]
    lines.append(f"{'tau s':>6}{'dB':>5}{'bound mHz':>11}{'rms / bound':>13}{'stated u / bound':>18}{'silent':>8}")
    for tau, level, bound, rms, stated, silent in rows:
        lines.append(f"{tau:>6.1f}{level:>5.0f}{1000 * bound:>11.3f}{rms:>13.2f}{stated:>18.2f}{silent:>8}")
    return "\n".join(lines) + "\n"


if __name__ == "__main__":
    main()
