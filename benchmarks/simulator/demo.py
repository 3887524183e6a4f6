"""The invented wheel of the demo and the recording of one round of it. Imports the rest of this package and numpy only.

A book trailer's left wheel: on a stub axle, dished, laced radially, so no two spokes meet. One spoke is loose and one
pair is out. ``python -m benchmarks.make_demo`` writes it to ``recordings_demo/``.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from benchmarks.simulator.pluck import DecayLaw, draw_voice
from benchmarks.simulator.room import NoiseMix, draw_microphone, draw_noise, draw_room, heard_response, quantised
from benchmarks.simulator.rounds import Event, Scene, draw_rim, perform
from benchmarks.simulator.spokes import KINDS, Ends, Nominal, TrueSpoke, draw_batch, scatter_ends
from benchmarks.simulator.wheels import TIP_MM, BuiltWheel, SidePlan, WheelPlan, hub_to_tip_mm

SEED = 2871
RATE_HZ = 44_100
SPOKES = 32
SEAT_DIAMETER_MM, HUB_CIRCLE_MM = 602.0, 52.0
OFFSET_MM = {"right": 20.0, "left": 34.0}
TARGET_N = {"right": 1000.0, "left": 590.0}
"""The left side's share follows from lateral equilibrium: 1000 x 20/34."""
ENDS = {
    "right": Ends((42.0, 36.0), (18.0, 21.0)),
    "left": Ends((33.0, 38.0), (15.0, 13.0)),
}
"""Rotational stiffness of hub and nipple in each plane, N m/rad: an elbow seated well, a nipple that gives a little."""
DECAY = {"right": DecayLaw((0.75, 0.62), 0.8), "left": DecayLaw((0.6, 0.7), 0.75)}
EVEN_SCATTER = 0.015
FAULTS = {11: 0.70, 24: 1.15, 26: 0.86}
"""Spoke: share of what it should have. 11 is loose; 24 and 26, neighbours on the left, are a pair turned unequally."""
THICK_ENDS_MM, U_THICK_ENDS_MM = (28.0, 22.0), 4.3
"""Thick ends of ``steel-butted-2.0-1.8`` inside the free length as the library states them; rectangular spread."""


@dataclass(frozen=True, slots=True, eq=False)
class Demo:
    """``samples`` (n,) float32 at ``sample_rate_hz``, and the two text files beside it."""

    samples: NDArray[np.float32]
    sample_rate_hz: int
    wheel_toml: str
    truth_csv: str


def _side(name: str) -> SidePlan:
    length = hub_to_tip_mm(SEAT_DIAMETER_MM / 2, HUB_CIRCLE_MM / 2, OFFSET_MM[name], 0, SPOKES // 2)
    return SidePlan(name, round(length, 1), HUB_CIRCLE_MM, OFFSET_MM[name], 0, "clockwise", "elbow", TARGET_N[name])


def _plan() -> WheelPlan:
    kind = next(kind for kind in KINDS if kind.name == "steel-butted-2.0-1.8")
    nominal = Nominal(kind, *THICK_ENDS_MM)
    return WheelPlan(
        "Quayside library's book trailer, left wheel",
        "RL",
        SPOKES,
        SEAT_DIAMETER_MM,
        _side("right"),
        _side("left"),
        nominal,
    )


def _side_lines(side: SidePlan) -> str:
    return f"""[{side.name}]
spoke = "steel-butted-2.0-1.8"
free_length_mm = {side.free_length_mm}
u_length_mm = 0.5
hub_circle_diameter_mm = {side.hub_circle_diameter_mm}
flange_offset_mm = {side.flange_offset_mm}
crosses = {side.crosses}
head = "{side.head}"
crossing = "apart"           # radial: no spoke meets another
target_n = {side.target_n:.0f}
"""


def _wheel_toml(plan: WheelPlan) -> str:
    return f"""# An invented wheel. It carries books from the quay to the villages and is never driven or braked,
# so its spokes run straight out from the hub on both sides.
format = 1
name = "{plan.name}"

[lacing]
spokes = {plan.count}
sides = "{plan.sides}"

[rim]
seat_diameter_mm = {plan.seat_diameter_mm}
stiffness = "alloy-box"
max_tension_n = 1250

{_side_lines(plan.right)}
{_side_lines(plan.left)}
[nipple]
pitch_mm = 0.4536
tip_mm = {TIP_MM}

[limits]
evenness_percent = 5

[state]
tyre = "none"
"""


def _draw_wheel(rng: np.random.Generator, plan: WheelPlan) -> BuiltWheel:
    """True spokes: the library kind within its stated uncertainties, one length error a side, the faults."""
    head, tail = (float(mm + U_THICK_ENDS_MM * np.sqrt(3) * rng.uniform(-1, 1)) for mm in THICK_ENDS_MM)
    batch = draw_batch(rng, Nominal(plan.nominal.kind, head, tail))
    length_m = {side.name: 1e-3 * (side.free_length_mm + 0.5 * float(rng.normal())) for side in (plan.right, plan.left)}
    level_n = {"right": 985.0, "left": 985.0 * OFFSET_MM["right"] / OFFSET_MM["left"]}
    spokes, voices = [], []
    for number in range(1, plan.count + 1):
        side = plan.side_of(number).name
        even = 1 + EVEN_SCATTER * float(np.clip(rng.normal(), -2, 2))
        tension = level_n[side] * FAULTS.get(number, even)
        spokes.append(TrueSpoke(batch, length_m[side], tension, scatter_ends(rng, ENDS[side], 0.18)))
        voices.append(draw_voice(rng, spokes[-1], DECAY[side]))
    return BuiltWheel(plan, tuple(spokes), tuple(voices))


def _score(rng: np.random.Generator) -> list[Event]:
    """Once round from spoke 1, a pluck every 0.8..1.1 s, no two equally loud."""
    onsets_s = 0.9 + np.concatenate([[0.0], np.cumsum(rng.uniform(0.8, 1.1, SPOKES - 1))])
    levels_db = -9 * rng.uniform(size=SPOKES)
    return [
        Event(float(onset), "pluck", float(level), spoke=number, detail="first")
        for number, (onset, level) in enumerate(zip(onsets_s, levels_db, strict=True), start=1)
    ]


def draw_demo() -> Demo:
    """The demo's wheel file, its truth, and the round as a phone on the bench of a quiet workshop records it."""
    rng = np.random.default_rng(SEED)
    plan = _plan()
    wheel = _draw_wheel(rng, plan)
    microphone = draw_microphone(rng, "phone", RATE_HZ)
    response = heard_response(draw_room(rng, RATE_HZ), microphone)
    scene = Scene(wheel, RATE_HZ, response, draw_rim(rng), 0.45e-3)
    clean, _ = perform(rng, scene, _score(rng), 2.0)
    noise = draw_noise(rng, NoiseMix(0.75, 0.25, 0.0), microphone, clean.size, RATE_HZ)
    noise *= 10 ** ((-9.0 - 24.0) / 20)  # 24 dB below the softest pluck
    rows = [f"{n},{wheel.label(n)},{spoke.tension_n:.1f}" for n, spoke in enumerate(wheel.spokes, start=1)]
    truth = "\n".join(["spoke,label,tension_n", *rows]) + "\n"
    return Demo(quantised(clean + noise, 10 ** (-3 / 20)), RATE_HZ, _wheel_toml(plan), truth)
