"""Simulated rounds read from end to end: every spoke its own pluck, its own tension.

Run ``python -m benchmarks.rounds [--count N] [--first SEED] [--scenario NAME]``; the table goes to the terminal and to
``benchmarks/out/rounds.txt``. Each round is read twice: with its wheel file, and with the number of spokes alone.
"""

from __future__ import annotations

import argparse
import os
import time
from collections import defaultdict
from dataclasses import dataclass, field
from pathlib import Path

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

import numpy as np

import tensionear as te
from benchmarks.simulator.rounds import SCENARIOS, Round, draw_round
from tensionear.reading import Reading
from tensionear.wheel.wheelfile import parse_wheel

WRONG_CENTS = 10.0
GROSS_CENTS = 50.0
OUT = Path(__file__).parent / "out"


@dataclass(slots=True)
class Tally:
    """What was counted over the rounds of one scenario."""

    rounds: int = 0
    plucked: int = 0
    numbers: int = 0
    wrong: int = 0
    gross: int = 0
    beyond_3u: int = 0
    inside: int = 0
    cents: list[float] = field(default_factory=list)
    tension: list[float] = field(default_factory=list)
    stated: list[float] = field(default_factory=list)
    side_bias: list[float] = field(default_factory=list)
    side_z: list[float] = field(default_factory=list)
    deviation: list[float] = field(default_factory=list)
    deviation_inside: list[bool] = field(default_factory=list)
    evenness_gap: list[float] = field(default_factory=list)
    seconds: list[float] = field(default_factory=list)
    told: list[str] = field(default_factory=list)


def main() -> None:
    """Draw, read, tabulate."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--count", type=int, default=5, help="rounds a scenario")
    parser.add_argument("--first", type=int, default=1000, help="first seed")
    parser.add_argument("--scenario", action="append", choices=list(SCENARIOS), help="only these")
    parser.add_argument("--tell", action="store_true", help="name every wrong spoke")
    given = parser.parse_args()
    tallies: dict[str, Tally] = defaultdict(Tally)
    for scenario in given.scenario or [name for name, each in SCENARIOS.items() if each.crossing == "apart"]:
        for seed in range(given.first, given.first + given.count):
            count_round(tallies[scenario], draw_round(seed, scenario), f"{scenario} {seed}")
    text = table(tallies)
    OUT.mkdir(exist_ok=True)
    (OUT / "rounds.txt").write_text(text, encoding="utf-8")
    print(text)
    if given.tell:
        for tally in tallies.values():
            print("\n".join(tally.told))


def count_round(tally: Tally, drawn: Round, name: str) -> None:
    """Read one round both ways and count."""
    wheel = parse_wheel(drawn.wheel_toml, "bench")
    recording = te.Recording(drawn.samples, drawn.sample_rate_hz, name)
    options = te.RoundOptions(order=drawn.options["order"], direction=drawn.options["direction"])  # type: ignore[arg-type]
    first = int(drawn.options["first"] or 1)
    start = time.perf_counter()
    reading = te.read(recording, wheel=wheel, first=first, options=options)
    seconds = drawn.samples.shape[0] / drawn.sample_rate_hz
    tally.seconds.append((time.perf_counter() - start) / seconds)
    tally.rounds += 1
    truth = {spoke.spoke: spoke for spoke in drawn.spokes}
    pitch = {pluck.spoke: pluck.frequency_hz for pluck in reading.plucks if pluck.used and pluck.tension_n is not None}
    for spoke in reading.spokes:
        true = truth[spoke.spoke]
        tally.plucked += true.plucked
        if spoke.tension_n is None or spoke.u_tension_n is None:
            if true.plucked:
                tally.told.append(f"{name}: {spoke.label} not read")
            continue
        tally.numbers += true.plucked
        error = spoke.tension_n / true.tension_n - 1
        found = pitch.get(spoke.spoke)
        planes = true.frequency_hz[:1] if drawn.flat else true.frequency_hz
        cents = min((1200 * np.log2(found / hz) for hz in planes), key=abs) if found else np.nan
        if not true.plucked or (np.isfinite(cents) and abs(cents) > WRONG_CENTS):
            tally.wrong += 1
            tally.gross += bool(abs(cents) > GROSS_CENTS)
            tally.told.append(f"{name}: {spoke.label} {cents:.1f} cents, {100 * error:.1f} %, doubt {spoke.doubt}")
        beyond = abs(spoke.tension_n - true.tension_n) > 3 * spoke.u_tension_n
        tally.beyond_3u += beyond
        low, high = spoke.interval_95_n or (0, 0)
        tally.inside += low <= true.tension_n <= high
        tally.cents.append(float(cents))
        tally.tension.append(error)
        tally.stated.append(spoke.u_tension_n / true.tension_n)
    _count_sides(tally, reading, drawn)
    alone = te.read(recording, spokes=wheel.spokes, first=first, options=options)
    _compare_evenness(tally, reading, alone, wheel.spokes)


def _count_sides(tally: Tally, reading: Reading, drawn: Round) -> None:
    """Bias of each side, and deviations from its mean."""
    truth = {spoke.spoke: spoke for spoke in drawn.spokes}
    for side, found in reading.sides.items():
        members = [spoke for spoke in reading.spokes if spoke.side == side and spoke.tension_n is not None]
        true = np.array([truth[spoke.spoke].tension_n for spoke in members])
        read = np.array([spoke.tension_n for spoke in members])
        if len(members) < 3 or found.mean_n is None or found.u_mean_n is None:
            continue
        bias = float(np.median(read / true - 1))
        tally.side_bias.append(bias)
        tally.side_z.append(bias * found.mean_n / found.u_mean_n)
        for spoke, wanted in zip(members, 100 * (true / true.mean() - 1), strict=True):
            if spoke.deviation_percent is not None and spoke.u_deviation_percent is not None:
                gap = spoke.deviation_percent - wanted
                tally.deviation.append(gap)
                tally.deviation_inside.append(abs(gap) <= 1.96 * spoke.u_deviation_percent)


def _compare_evenness(tally: Tally, full: Reading, alone: Reading, spokes: int) -> None:
    """Deviations with the number of spokes alone beside those with the wheel file, where the groups are the same."""
    by_side = {spoke.spoke: spoke for spoke in alone.spokes}
    for side in full.sides:
        members = [spoke.spoke for spoke in full.spokes if spoke.side == side]
        groups = {by_side[number].side for number in members}
        others = {by_side[number].side for number in range(1, spokes + 1) if number not in members}
        if len(groups) != 1 or groups & others:
            continue
        for spoke in full.spokes:
            other = by_side[spoke.spoke].deviation_percent
            if spoke.spoke in members and spoke.deviation_percent is not None and other is not None:
                tally.evenness_gap.append(other - spoke.deviation_percent)


def table(tallies: dict[str, Tally]) -> str:
    """One row a scenario."""
    head = (
        f"{'scenario':<22}{'rounds':>7}{'spokes':>8}{'numbers':>9}{'>10c':>6}{'>50c':>6}{'>3u':>5}"
        f"{'med c':>7}{'95% c':>7}{'T med%':>8}{'T 95%':>7}{'u%':>6}{'in95%':>7}{'bias%':>7}{'z':>6}"
        f"{'dev rms%':>10}{'in95%':>7}{'alone max%':>11}{'ms/s':>7}"
    )
    lines = [head]
    for scenario, tally in tallies.items():
        cents = np.abs([each for each in tally.cents if np.isfinite(each)])
        tension = 100 * np.abs(tally.tension)
        gap = np.abs(tally.evenness_gap)
        lines.append(
            f"{scenario:<22}{tally.rounds:>7}{tally.plucked:>8}{tally.numbers:>9}{tally.wrong:>6}{tally.gross:>6}"
            f"{tally.beyond_3u:>5}{np.median(cents):>7.2f}{np.percentile(cents, 95):>7.2f}"
            f"{np.median(tension):>8.2f}{np.percentile(tension, 95):>7.2f}{100 * np.median(tally.stated):>6.2f}"
            f"{100 * tally.inside / max(len(tension), 1):>7.1f}{_rms(100 * np.array(tally.side_bias)):>7.2f}"
            f"{_rms(tally.side_z):>6.2f}{_rms(tally.deviation):>10.2f}{100 * np.mean(tally.deviation_inside):>7.1f}"
            f"{(np.max(gap) if len(gap) else np.nan):>11.2f}{1000 * np.median(tally.seconds):>7.1f}"
        )
    return "\n".join(lines) + "\n"


def _rms(values: object) -> float:
    return float(np.sqrt(np.mean(np.square(values))))  # type: ignore[arg-type]


if __name__ == "__main__":
    main()
