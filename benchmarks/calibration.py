"""How well the numbers are once tied to known force: known tensions, hanging masses, slips in the values.

Run ``python -m benchmarks.calibration [--wheels N] [--lots N] [--first SEED] [--first-lot SEED]``; the table goes to the
terminal and to ``benchmarks/out/calibration.txt``. Every part is written to ``benchmarks/out/calibration.jsonl`` as it is done,
and a run that was broken off goes on from there.
"""

from __future__ import annotations

import argparse
import json
import math
import os
from collections import Counter
from collections.abc import Callable, Mapping
from pathlib import Path
from typing import Any

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

import numpy as np

from benchmarks.simulator.hanging import GRAVITY_M_S2, draw_hung
from benchmarks.simulator.rounds import Round, draw_round
from benchmarks.simulator.spokes import draw_batch
from tensionear.calibration.hanging import Hung, Jig, fit_hanging, pull_of
from tensionear.calibration.hearing import hear_hanging, hear_round
from tensionear.calibration.lots import figures_of
from tensionear.calibration.slips import questions_of, sounds_of
from tensionear.calibration.tying import HeardSpoke, fit_heard, tie_wheel
from tensionear.capture.recording import Recording
from tensionear.catalogue import build_spoke
from tensionear.errors import InputError
from tensionear.options import RoundOptions
from tensionear.physics.believed import EndsPrior, flat_prior
from tensionear.physics.gravity import Gravity
from tensionear.physics.inverse import Partials
from tensionear.physics.known import inform
from tensionear.wheel.comparison import Known
from tensionear.wheel.model import Wheel
from tensionear.wheel.sidefit import groups_of
from tensionear.wheel.wheelfile import parse_wheel

OUT = Path(__file__).parent / "out"
U_KNOWN, U_MASS, U_JIG_M = 0.01, 0.001, 0.1e-3
#: Level of a side that is not an error of its making but of hearing (relative).
MISREAD = 0.1
#: Two values that differ by less than this many of their standard uncertainties are not swapped: nobody would be hurt by it.
SWAP_APART_U = 6.0

Row = dict[str, Any]


def main() -> None:
    """Draw, calibrate, tabulate."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--wheels", type=int, default=50, help="rounds for known tensions and slips")
    parser.add_argument("--lots", type=int, default=50, help="lots of hung spokes")
    parser.add_argument("--first", type=int, default=1000, help="first seed of the rounds")
    parser.add_argument("--first-lot", type=int, default=1000, help="first seed of the lots")
    given = parser.parse_args()
    OUT.mkdir(exist_ok=True)
    kept = _Kept(OUT / "calibration.jsonl")
    rounds = range(given.first, given.first + given.wheels)
    wheels = [kept.row(f"wheel {seed}", lambda seed=seed: one_wheel(seed)) for seed in rounds]
    hung = range(given.first_lot, given.first_lot + given.lots)
    lots = [kept.row(f"lot {seed}", lambda seed=seed: one_lot(seed)) for seed in hung]
    text = table(wheels, lots)
    (OUT / "calibration.txt").write_text(text, encoding="utf-8")
    print(text)


class _Kept:
    """Rows by name in a file, one a line, so that none is computed twice."""

    def __init__(self, path: Path) -> None:
        self.path = path
        lines = path.read_text("utf-8").splitlines() if path.is_file() else []
        self.rows: dict[str, Row] = {row["name"]: row for row in map(json.loads, lines)}

    def row(self, name: str, make: Callable[[], Row]) -> Row:
        """The row of this name, made now if it is not there."""
        if name not in self.rows:
            self.rows[name] = {"name": name, **make()}
            with self.path.open("a", encoding="utf-8") as file:
                file.write(json.dumps(self.rows[name]) + "\n")
        return self.rows[name]


def one_wheel(seed: int) -> Row:
    """A round tied to three spokes known at 1 % each, and slips in its values."""
    rng = np.random.default_rng([seed, 7])
    drawn = draw_round(seed, "tidy")
    wheel = parse_wheel(drawn.wheel_toml, "bench")
    heard = hear(drawn, wheel)
    truth = {spoke.spoke: spoke.tension_n for spoke in drawn.spokes}
    chosen = [int(n) for n in rng.choice(sorted(heard), 3, replace=False)]
    groups = tie_wheel(wheel, heard, known_values(rng, truth, chosen))
    rows = []
    for group in groups:
        for index, one in enumerate(group.spokes):
            if one.known_n is None:
                low, high = group.after.interval(index)
                true = truth[one.spoke]
                rows.append([one.sound_n / true - 1, one.tied_n / true - 1, low <= math.log(true) <= high])
    return {"rest": rows, "slips": slips(rng, wheel, heard, truth)}


def hear(drawn: Round, wheel: Wheel) -> dict[int, HeardSpoke]:
    """What is heard of each spoke of a drawn round."""
    told = drawn.options
    options = RoundOptions(order=told["order"], direction=told["direction"])  # type: ignore[arg-type]
    sound = Recording(drawn.samples, drawn.sample_rate_hz)
    return dict(hear_round(sound, wheel, int(told["first"] or 1), options))


def known_values(rng: np.random.Generator, truth: Mapping[int, float], spokes: list[int]) -> dict[int, Known]:
    """Values with 1 % of their own."""
    values = {spoke: truth[spoke] * (1 + U_KNOWN * float(rng.normal())) for spoke in spokes}
    return {spoke: Known(value, U_KNOWN * value) for spoke, value in values.items()}


def slips(
    rng: np.random.Generator, wheel: Wheel, heard: Mapping[int, HeardSpoke], truth: Mapping[int, float]
) -> list[list[Any]]:
    """One slip of each kind, and none: what was asked. A third of the wheels have 3 known spokes, a third 6, a third all."""
    spokes = sorted(truth)
    size = (3, 6, len(spokes))[int(rng.integers(3))]
    chosen = [int(n) for n in rng.choice(spokes, size, replace=False)]
    right = known_values(rng, truth, chosen)
    sounds, labels = sounds_of(wheel, heard), {place.number: place.label for place in wheel.places}
    made: dict[str, dict[int, Known]] = {"none": right, "kgf typed as N": scaled(right, 1 / 9.80665)}
    one = chosen[int(rng.integers(size))]
    made["decimal lost"] = {**right, **scaled({one: right[one]}, 10.0)}
    moved = {spoke: truth[spoke % len(spokes) + 1] for spoke in chosen}
    made["numbers off by one"] = {spoke: Known(each, U_KNOWN * each) for spoke, each in moved.items()}
    pairs = [
        (a, b) for a in chosen for b in chosen if a < b and abs(math.log(truth[a] / truth[b])) > SWAP_APART_U * U_KNOWN
    ]
    if pairs:
        a, b = pairs[int(rng.integers(len(pairs)))]
        made["two exchanged"] = {**right, a: right[b], b: right[a]}
    found = []
    for name, values in made.items():
        asked = questions_of(sounds, values, labels)
        found.append([name, asked[0].code if asked else None])
    return found


def scaled(known: Mapping[int, Known], factor: float) -> dict[int, Known]:
    """The values times a factor."""
    return {spoke: Known(one.tension_n * factor, (one.u_tension_n or 0.0) * factor) for spoke, one in known.items()}


def one_lot(seed: int) -> Row:
    """A lot hung at five masses; then a wheel built with it, read without and with what hanging found; or that it was refused."""
    from unittest import mock

    import benchmarks.simulator.wheels as wheels

    rng = np.random.default_rng([seed, 8])
    drawn_batches: list[Any] = []

    def keep_batch(*given: Any) -> Any:
        drawn_batches.append(draw_batch(*given))
        return drawn_batches[-1]

    with mock.patch.object(wheels, "draw_batch", keep_batch):
        drawn = draw_round(seed + 500, "tidy")
    batch = drawn_batches[-1]
    spoke = build_spoke("bench-spoke", batch.nominal.file_keys())
    hung = draw_hung(rng, batch, U_MASS, U_JIG_M)
    jig = Jig(hung.free_length_m, U_JIG_M, Gravity(GRAVITY_M_S2, 0.0), 1e9)
    masses = tuple(Hung(mass, U_MASS * mass) for mass in hung.masses_kg)
    heard = [
        hear_hanging(Recording(sound, hung.sample_rate_hz), spoke, jig.free_length_m, pull_of(one.mass_kg, spoke, jig))
        for sound, one in zip(hung.sounds, masses, strict=True)
    ]
    partials = Partials(
        np.array([one.log_frequency for one in heard]),
        np.array([one.sd for one in heard]),
        np.array([one.start_log_tension for one in heard]),
    )
    try:
        lot = fit_hanging(spoke, jig, masses, partials).lot
    except InputError as error:
        return {"refused": str(error)}
    figures = {each.name: each for each in figures_of(lot)}
    middle = batch.segments(0.27, 0)[min(1, len(batch.segments(0.27, 0)) - 1)]
    edge = batch.segments(0.27, 1)[min(1, len(batch.segments(0.27, 1)) - 1)]
    true = {"mass per length": 1e3 * middle.mass_kg_m, "bending stiffness": middle.bending_stiffness_n_m2}
    true |= {
        "bending stiffness, flat": middle.bending_stiffness_n_m2,
        "bending stiffness, edge": edge.bending_stiffness_n_m2,
    }
    errors = {
        name: [each.value / true[name] - 1, each.u / each.value] for name, each in figures.items() if name in true
    }
    return {"figures": errors, **with_lot(drawn, lot.mean, lot.covariance)}


def with_lot(drawn: Round, mean: np.ndarray, covariance: np.ndarray) -> Row:
    """Errors of a wheel's sides without and with what is known of its lot, and of every spoke whether the interval holds it."""
    from dataclasses import replace

    wheel = parse_wheel(drawn.wheel_toml, "bench")
    heard = hear(drawn, wheel)
    truth = {spoke.spoke: spoke.tension_n for spoke in drawn.spokes}
    size = len(mean) + 1
    wider, longer = np.eye(size), np.concatenate([[0.0], mean])
    wider[1:, 1:] = covariance
    prior = inform(flat_prior(EndsPrior(), size), longer, wider)
    found: Row = {"without": [], "with": [], "held": []}
    for key, places in groups_of([place for place in wheel.places if place.number in heard]).items():
        true = np.log([truth[place.number] for place in places])
        for name, described in (("without", wheel), ("with", replace(wheel, learned={key: prior}))):
            fit = fit_heard(described, places, heard)
            found[name].append(float(np.median(fit.moments()[0] - true)))
            if name == "with" and abs(found["without"][-1]) < MISREAD:
                between = [fit.interval(at) for at in range(len(true))]
                found["held"] += [bool(low <= each <= high) for (low, high), each in zip(between, true, strict=True)]
    return found


def table(wheels: list[Row], all_lots: list[Row]) -> str:
    """The results against their bars."""
    lots = [one for one in all_lots if "refused" not in one]
    rest = np.array([[float(each) for each in row] for one in wheels for row in one["rest"]]).reshape(-1, 3)
    before, after = 100 * np.abs(rest[:, 0]), 100 * np.abs(rest[:, 1])
    lines = [
        f"Three spokes known at 1 % each, {len(wheels)} wheels, {len(rest)} other spokes of their sides",
        f"  by sound alone   median {np.median(before):.2f} %, 95 % within {np.percentile(before, 95):.2f} %",
        f"  tied             median {np.median(after):.2f} %, 95 % within {np.percentile(after, 95):.2f} %  (bars: 1 %, 2 %)",
        f"  95 % intervals hold the truth in {100 * rest[:, 2].mean():.1f} %  (93 to 98)",
        "",
        f"Hanging, 5 masses at 0.1 % each, {len(lots)} lots ({len(all_lots) - len(lots)} more refused with a question)",
    ]
    for name in ("mass per length", "bending stiffness", "bending stiffness, flat", "bending stiffness, edge"):
        told = np.array([one["figures"][name] for one in lots if name in one["figures"]])
        if len(told):
            size = 100 * np.abs(told[:, 0])
            inside = 100 * np.mean(np.abs(told[:, 0]) <= 1.96 * told[:, 1])
            lines.append(
                f"  {name}: rms {math.sqrt(np.mean(size**2)):.2f} %, 95 % within {np.percentile(size, 95):.2f} %, "
                f"intervals hold {inside:.0f} % of {len(told)}"
            )
    pairs = np.array([pair for one in lots for pair in zip(one["without"], one["with"], strict=True)]).reshape(-1, 2)
    lost = np.abs(pairs[:, 0]) > MISREAD
    without, with_it = pairs[~lost].T
    rms = [100 * math.sqrt(float(np.mean(each**2))) for each in (without, with_it)]
    held = [each for one in lots for each in one["held"]]
    lines += [
        "  (bars: mass per length 0.3 %, bending stiffness 2 %)",
        f"  level of the sides of wheels with that lot: rms {rms[0]:.2f} % without, {rms[1]:.2f} % with, ratio "
        f"{rms[1] / rms[0]:.2f}  (bar: 0.8); {int(lost.sum())} of {len(lost)} sides misread either way and left out",
        f"  95 % intervals of their spokes hold the truth in {100 * np.mean(held):.1f} %  (93 to 98)",
        "",
        "Slips: what was asked about",
    ]
    asked: dict[str, Counter[str]] = {}
    for one in wheels:
        for name, code in one["slips"]:
            asked.setdefault(name, Counter())[code or "nothing"] += 1
    for name, codes in asked.items():
        count = sum(codes.values())
        share = 100 * (count - codes["nothing"]) / count
        told_codes = ", ".join(f"{code} {number}" for code, number in codes.most_common())
        lines.append(f"  {name}: asked in {share:.1f} % of {count} ({told_codes})")
    caught = [code for one in wheels for name, code in one["slips"] if name != "none"]
    lines.append(
        f"  all slips: asked in {100 * np.mean([code is not None for code in caught]):.1f} % of {len(caught)}  (bar: 95 %)"
    )
    return "\n".join(lines) + "\n"


if __name__ == "__main__":
    main()
