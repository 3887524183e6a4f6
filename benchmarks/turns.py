"""A pass of planned turns on simulated wheels, beside the habit of turning each nipple by its own error.

Run ``python -m benchmarks.turns [--count N] [--first SEED] [--step 0.125]``; the tables go to the terminal and to
``benchmarks/out/turns.txt``. What was done is kept there too: the same command goes on where it was stopped. Each wheel is
built and turned in the frame model of ``simulator/frame.py``. The plan is meant for starts of up to `RANGE`; wheels drawn
beyond it are turned and counted too, in rows of their own.
"""

from __future__ import annotations

import argparse
import math
import os
import pickle
import time
from collections import defaultdict
from copy import deepcopy
from dataclasses import dataclass, field
from pathlib import Path

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

import numpy as np

from benchmarks.simulator.frame import Floats
from benchmarks.simulator.untrue import BUILDS, PITCH_M, UntrueWheel
from tensionear.wheel.learning import answer_of
from tensionear.wheel.mechanics import skeleton_of
from tensionear.wheel.model import Wheel
from tensionear.wheel.plan import learn_rim, plan_turns
from tensionear.wheel.planoptions import PlanOptions
from tensionear.wheel.stand import Readings
from tensionear.wheel.turnplan import TurnPlan
from tensionear.wheel.wheelfile import parse_wheel

OUT = Path(__file__).parent / "out"
FIGURES = ("half range %", "lateral mm", "radial mm", "dish mm", "mean off %")
#: Half-range in percent and lateral run-out in mm at the start, up to which the plan is meant.
RANGE = (45.0, 2.3)
#: Mean tension off target by more than this, in percent, after a pass is counted.
MEAN_OFF_PERCENT = 1.5
STAGES = ("start", "plan 1", "plan 2", "habit 1", "habit 2", "habit 3")


@dataclass(slots=True)
class Tally:
    """All wheels: figures by stage, and what was predicted of them."""

    figures: dict[str, list[tuple[float, ...]]] = field(default_factory=lambda: defaultdict(list))
    inside: dict[str, list[bool]] = field(default_factory=lambda: defaultdict(list))
    seconds: list[float] = field(default_factory=list)
    gaps: list[float] = field(default_factory=list)
    touched: list[float] = field(default_factory=list)
    turned: list[float] = field(default_factory=list)
    #: Highest tension on the way over the maximum, or over the start where that was higher, in N.
    above: list[float] = field(default_factory=list)
    not_in: int = 0
    split: int = 0
    #: Mean tension off after the first pass over what the doubt about the rim makes of it, and that doubt, in percent.
    mean_off: list[float] = field(default_factory=list)
    mean_doubt: list[float] = field(default_factory=list)
    rim_before: list[float] = field(default_factory=list)
    rim_seen: list[float] = field(default_factory=list)
    rim_after: list[float] = field(default_factory=list)
    told: list[str] = field(default_factory=list)


def main() -> None:
    """Build, plan, turn, tabulate."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--count", type=int, default=40, help="wheels")
    parser.add_argument("--first", type=int, default=1000, help="first seed")
    parser.add_argument("--step", type=float, default=1 / 8, help="smallest turn")
    parser.add_argument("--habits", type=int, default=3, help="passes of habit beside the plan, 0 to 3")
    parser.add_argument("--tell", action="store_true", help="one line a wheel")
    given = parser.parse_args()
    OUT.mkdir(exist_ok=True)
    kept = OUT / f"turns-{given.first}-{given.step:g}-{given.habits}.pickle"
    tally = pickle.loads(kept.read_bytes()) if kept.exists() else Tally()
    for seed in range(given.first + len(tally.told), given.first + given.count):
        run_wheel(tally, seed, PlanOptions(step_turns=given.step), given.habits)
        kept.write_bytes(pickle.dumps(tally))
    text = table(tally, len(tally.told), given.first, given.step)
    (OUT / "turns.txt").write_text(text, encoding="utf-8")
    print(text)
    if given.tell:
        print("\n".join(tally.told))


def run_wheel(tally: Tally, seed: int, options: PlanOptions, habits: int) -> None:
    """Two planned passes on one wheel, and some of habit on its twin."""
    bad = UntrueWheel(seed)
    twin = deepcopy(bad)
    wheel = parse_wheel(bad.toml(), "bench")
    tally.figures["start"].append(figures(bad))
    before = readings_of(bad)
    plan = planned(tally, wheel, before, options)
    carry_out(tally, bad, wheel, plan)
    tally.figures["plan 1"].append(figures(bad))
    tally.mean_off.append(tally.figures["plan 1"][-1][4])
    tally.mean_doubt.append(mean_doubt(wheel, plan))
    after = readings_of(bad)
    rim = learn_rim(wheel, before, after, plan.turned(), plan.rim)
    true = np.log([bad.rim.ea_n, bad.rim.ei_radial_n_m2, bad.rim.ei_lateral_n_m2, bad.rim.gj_n_m2])
    stated = wheel.rim.stiffness
    assert stated is not None
    true -= np.log([stated.ea_n, stated.ei_radial_n_m2, stated.ei_lateral_n_m2, stated.gj_n_m2])
    tally.rim_before += list(true)
    tally.rim_seen += list(true - plan.rim.log_factors)
    tally.rim_after += list(true - rim.log_factors)
    second = PlanOptions(step_turns=options.step_turns, rim=rim)
    carry_out(tally, bad, wheel, planned(tally, wheel, after, second))
    tally.figures["plan 2"].append(figures(bad))
    for turn in range(1, habits + 1):
        habit(twin, options.step_turns)
        tally.figures[f"habit {turn}"].append(figures(twin))
    stages = " | ".join(
        " ".join(f"{value:6.2f}" for value in tally.figures[stage][-1]) for stage in ("start", "plan 1", "plan 2")
    )
    tally.told.append(f"{seed} {bad.build.name:<28} {stages} | {len(plan.turns)} above {tally.above[-2]:.0f}")


def mean_doubt(wheel: Wheel, plan: TurnPlan) -> float:
    """What is not known of the rim, as one sigma of the mean tension after these turns, in percent of it."""
    assert wheel.rim.stiffness is not None
    target = np.array([plan.target_n[place.number] for place in wheel.places])
    answer = answer_of(skeleton_of(wheel, wheel.rim.stiffness), plan.rim, target)
    turns = np.array([plan.turned().get(place.number, 0.0) for place in wheel.places])
    shifts = [float((shift[: wheel.spokes] @ turns).mean()) for shift in answer.shifts]
    return 100 * float(np.linalg.norm(shifts)) / float(target.mean())


def readings_of(bad: UntrueWheel) -> Readings:
    """One sitting."""
    tension, lateral, radial, dish = bad.read()
    by_number = [dict(enumerate(map(float, each), 1)) for each in (tension, lateral, radial)]
    return Readings(*by_number, dish_m=float(dish), u_tensions_n={})


def planned(tally: Tally, wheel: Wheel, read: Readings, options: PlanOptions) -> TurnPlan:
    """A timed plan."""
    start = time.process_time()
    plan = plan_turns(wheel, read.tensions_n, read.lateral_m, read.radial_m, read.dish_m, options)
    tally.seconds.append(time.process_time() - start)
    assert plan.quality is not None
    tally.gaps.append(100 * (plan.quality.cost - plan.quality.bound) / plan.quality.cost)
    tally.touched.append(100 * len(plan.turned()) / wheel.spokes)
    tally.turned.append(sum(map(abs, plan.turned().values())) / wheel.spokes)
    tally.split += len(plan.turns) - len(plan.turned())
    return plan


def carry_out(tally: Tally, bad: UntrueWheel, wheel: Wheel, plan: TurnPlan) -> None:
    """Do the turns one by one and hold what comes out against what was predicted."""
    limit = wheel.limits.max_tension_n or np.inf
    outside = bad.state.tension_n > limit
    peak = 0.0
    for turn in plan.turns:
        bad.turn(turn.spoke - 1, turn.turns)
        tension = bad.state.tension_n
        peak = max(peak, float(np.max(np.where(outside, 0.0, tension) - limit)))
    tally.above.append(peak)
    tally.not_in += int(np.sum(bad.state.tension_n[outside] > limit)) if np.any(outside) else 0
    state = bad.state
    for spoke, told in plan.predicted.tension_n.items():
        assert told is not None
        tally.inside["tension"].append(abs(state.tension_n[spoke - 1] - told.value) <= 1.96 * told.u)
    pairs = {
        "lateral": (float(np.ptp(state.lateral_m)), plan.predicted.lateral_m),
        "radial": (float(np.ptp(state.radial_m)), plan.predicted.radial_m),
        "dish": (state.dish_m, plan.predicted.dish_m),
    }
    right, left = bad.half_range(state)
    pairs["right half range"] = (right, plan.predicted.spread_percent["right"])
    pairs["left half range"] = (left, plan.predicted.spread_percent["left"])
    for name, (true, figure) in pairs.items():
        assert figure is not None
        tally.inside[name].append(abs(true - figure.value) <= 1.96 * figure.u)


def habit(bad: UntrueWheel, step: float) -> None:
    """Each nipple by its own error, as if it were alone on a rim that does not give, in whole steps."""
    tension = bad.read()[0]
    wanted = (bad.wanted_n - tension) / (bad.along * PITCH_M)
    for spoke in range(bad.build.spokes):
        turns = step * round(float(wanted[spoke]) / step)
        if turns:
            bad.turn(spoke, turns)


def figures(bad: UntrueWheel) -> tuple[float, ...]:
    """Worse side's half range %, lateral, radial and dish in mm, mean tension off target in %."""
    state = bad.state
    return (
        max(bad.half_range(state)),
        1e3 * float(np.ptp(state.lateral_m)),
        1e3 * float(np.ptp(state.radial_m)),
        1e3 * abs(state.dish_m),
        100 * abs(float(state.tension_n.mean() / bad.wanted_n.mean()) - 1),
    )


def table(tally: Tally, count: int, first: int, step: float) -> str:
    """Mean and worst of each figure at each stage, then what was predicted and what it took."""
    names = ", ".join(sorted({BUILDS[(first + one) % len(BUILDS)].name for one in range(count)}))
    lines = [f"{count} wheels, seeds {first} to {first + count - 1}, steps of {step:g} turn: {names}", ""]
    lines.append(f"{'':<10}" + "".join(f"{name + ' mean (worst)':>28}" for name in FIGURES))
    start = np.round(np.array(tally.figures["start"]), 1)
    within = (start[:, 0] <= RANGE[0]) & (start[:, 1] <= RANGE[1])
    told = f"half-range up to {RANGE[0]:g} % and lateral run-out up to {RANGE[1]:g} mm at the start"
    for which, words in ((within, f"{within.sum()} wheels of {told}:"), (~within, f"{(~within).sum()} beyond that:")):
        if which.any():
            lines += [
                words,
                *(_row(stage, np.array(tally.figures[stage])[which]) for stage in STAGES if tally.figures[stage]),
            ]
    lines += ["", "inside the predicted 95 % interval, %:"]
    lines += [f"  {name:<18}{100 * np.mean(each):6.1f}  of {len(each)}" for name, each in tally.inside.items()]
    above = np.array(tally.above)
    lines += [
        "",
        f"passes with a spoke pushed over the maximum at any step: {np.sum(above > 0)} of {len(above)}"
        f" (by {max(above.max(), 0):.1f} N at most); spokes over it at the start and still after the pass: {tally.not_in}",
        f"mean tension more than {MEAN_OFF_PERCENT:g} % off after the first pass:"
        f" {np.sum(np.array(tally.mean_off) > MEAN_OFF_PERCENT)} of {count} wheels,"
        f" {expected_off(np.array(tally.mean_doubt)):.1f} expected of what is not known of the rim alone"
        f" (one sigma {np.mean(tally.mean_doubt):.2f} %, {np.max(tally.mean_doubt):.2f} % at most)",
        f"plan time (processor) s: median {np.median(tally.seconds):.2f}, worst {np.max(tally.seconds):.2f}",
        f"cost above the bound, % of cost: median {np.median(tally.gaps):.1f}, worst {np.max(tally.gaps):.1f}",
        f"nipples touched %: first pass {np.mean(tally.touched[::2]):.0f}, second {np.mean(tally.touched[1::2]):.0f};"
        f" turns a spoke: {np.mean(tally.turned[::2]):.3f}, {np.mean(tally.turned[1::2]):.3f};"
        f" turns done in parts: {tally.split}",
        f"ln of true over known rim stiffness, rms: {np.sqrt(np.mean(np.square(tally.rim_before))):.2f} as described,"
        f" {np.sqrt(np.mean(np.square(tally.rim_seen))):.2f} at first sight,"
        f" {np.sqrt(np.mean(np.square(tally.rim_after))):.2f} after one pass",
    ]
    return "\n".join(lines) + "\n"


def expected_off(doubt_percent: Floats) -> float:
    """How many wheels are to be expected so far off, their mean normal about the target with these sigmas."""
    return float(sum(math.erfc(MEAN_OFF_PERCENT / (math.sqrt(2) * max(one, 1e-9))) for one in doubt_percent))


def _row(stage: str, values: Floats) -> str:
    """Mean and worst of each figure."""
    cells = [f"{mean:.3f} ({worst:.3f})" for mean, worst in zip(values.mean(0), values.max(0), strict=True)]
    return f"{stage:<10}" + "".join(f"{cell:>28}" for cell in cells)


if __name__ == "__main__":
    main()
