"""Stated uncertainties of the partials of single plucks against their scatter: chi-square by mode.

Run ``python -m benchmarks.uncertainties [--count N] [--first SEED]`` from the root of the checkout; the table goes to the
terminal and to ``benchmarks/out/uncertainties.txt``. Each named line is held against the true frequency of its mode, in its
plane for a flat spoke, in the nearer one for a round spoke. A chi-square of 1 means that u is what the errors are.
"""

from __future__ import annotations

import argparse
import os
from pathlib import Path

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

import numpy as np

import tensionear as te
from benchmarks.simulator.singles import Single, draw_single
from tensionear.catalogue import build_spoke

LEVELS_DB = (30.0, 20.0, 10.0, 3.0)
NEAR_S = 0.12
ASTRAY = 5.0
OUT = Path(__file__).parent / "out"


def main() -> None:
    """Draw, hear, tabulate."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--count", type=int, default=252, help="plucks")
    parser.add_argument("--first", type=int, default=1000, help="first seed")
    given = parser.parse_args()
    rows = []
    for seed in range(given.first, given.first + given.count):
        rows += errors_of(draw_single(seed, LEVELS_DB[(seed // 21) % len(LEVELS_DB)]))
    text = table(np.array(rows))
    OUT.mkdir(exist_ok=True)
    (OUT / "uncertainties.txt").write_text(text, encoding="utf-8")
    print(text)


def errors_of(single: Single) -> list[tuple[float, float, float, float]]:
    """SNR, mode, error over stated u, and u in cents, of each line of the pluck."""
    recording = te.Recording(single.samples, single.sample_rate_hz)
    reading = te.read(recording, spoke=build_spoke(single.kind, single.spoke), free_length_m=single.free_length_m)
    near = [each for each in reading.plucks if each.used and abs(each.onset_s - single.onset_s) < NEAR_S]
    found = []
    for partial in near[0].partials if near else ():
        if partial.mode > single.modes_hz.shape[1]:
            continue
        wanted = single.modes_hz[:, partial.mode - 1]
        if single.flat:
            wanted = wanted[[1 if partial.plane == "edge" else 0]]
        error = min(partial.frequency_hz - wanted, key=abs)
        cents = 1731.2 * partial.u_frequency_hz / partial.frequency_hz
        found.append((single.snr_db, float(partial.mode), float(error / partial.u_frequency_hz), cents))
    return found


def table(rows: np.ndarray) -> str:
    """A row a mode, then one a level: chi-square without lines astray, the share of these, and that by the median."""
    head = f"{'lines':<12}{'count':>7}{'median u cents':>16}{'chi-square':>12}{'by the median':>15}{'> 5 u %':>9}"
    groups = [(f"mode {mode}", rows[rows[:, 1] == mode]) for mode in range(1, 10)]
    groups += [(f"{level:.0f} dB", rows[rows[:, 0] == level]) for level in LEVELS_DB] + [("all", rows)]
    lines = [head]
    for name, some in groups:
        if not len(some):
            continue
        z = np.abs(some[:, 2])
        lines.append(
            f"{name:<12}{len(z):>7}{np.median(some[:, 3]):>16.2f}{np.mean(z[z <= ASTRAY] ** 2):>12.2f}"
            f"{(np.median(z) / 0.6745) ** 2:>15.2f}{100 * np.mean(z > ASTRAY):>9.1f}"
        )
    return "\n".join(lines) + "\n"


if __name__ == "__main__":
    main()
