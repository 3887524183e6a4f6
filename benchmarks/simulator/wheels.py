"""A wheel drawn by seed: its true spokes, their voices, and the wheel file a person would have written. Numpy only."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from benchmarks.simulator.beam import modes
from benchmarks.simulator.loads import Load
from benchmarks.simulator.pluck import DecayLaw, Voice, draw_decay_law, draw_voice
from benchmarks.simulator.spokes import (
    KINDS,
    U_LENGTH_MM,
    Batch,
    Nominal,
    TrueSpoke,
    draw_batch,
    draw_nominal,
    draw_side_ends,
    scatter_ends,
)
from benchmarks.simulator.touching import Crossing, draw_pair, draw_touch, outermost

TIP_MM = 10.0
TENSION_RANGE_N = (250.0, 1600.0)
SPOKE_NAME = "bench-spoke"
CROSSED_KINDS = 4
"""How many kinds, the first of the list, are round steel, as wheels whose spokes touch are built of."""
WIDEST_LACING = 75 / 360
"""Furthest a spoke's hub hole may lie round the flange from its rim hole, in turns."""


@dataclass(frozen=True, slots=True)
class SidePlan:
    """One side as the wheel file states it; lengths in mm, tension in N. ``name`` is right or left."""

    name: str
    free_length_mm: float
    hub_circle_diameter_mm: float
    flange_offset_mm: float
    crosses: int
    first_runs: str
    head: str
    target_n: float
    crossing: str = "apart"

    def lines(self, spoke: str) -> list[str]:
        """The section of the wheel file."""
        return [
            f"[{self.name}]",
            f'spoke = "{spoke}"',
            f"free_length_mm = {self.free_length_mm:.1f}",
            f"u_length_mm = {U_LENGTH_MM}",
            f"hub_circle_diameter_mm = {self.hub_circle_diameter_mm:.1f}",
            f"flange_offset_mm = {self.flange_offset_mm:.1f}",
            f"crosses = {self.crosses}",
            f'first_runs = "{self.first_runs}"',
            f'head = "{self.head}"',
            f'crossing = "{self.crossing}"',
            f"target_n = {self.target_n:.0f}",
            "",
        ]


@dataclass(frozen=True, slots=True)
class WheelPlan:
    """The wheel file's content."""

    name: str
    sides: str
    count: int
    seat_diameter_mm: float
    right: SidePlan
    left: SidePlan
    nominal: Nominal

    def side_of(self, spoke: int) -> SidePlan:
        """Side of spoke 1..count."""
        return self.right if self.sides[(spoke - 1) % len(self.sides)] == "R" else self.left

    def toml(self) -> str:
        """The wheel file."""
        lines = ["format = 1", f'name = "{self.name}"', "", "[lacing]", f"spokes = {self.count}"]
        lines += [f'sides = "{self.sides}"', "", "[rim]", f"seat_diameter_mm = {self.seat_diameter_mm:.1f}"]
        lines += ['stiffness = "alloy-box"', "max_tension_n = 1600", ""]
        lines += self.right.lines(SPOKE_NAME) + self.left.lines(SPOKE_NAME)
        lines += ["[nipple]", "pitch_mm = 0.4536", f"tip_mm = {TIP_MM}", ""]
        lines += ["[limits]", "evenness_percent = 5", "", "[state]", 'tyre = "none"', "", f"[spokes.{SPOKE_NAME}]"]
        for key, value in self.nominal.file_keys().items():
            lines.append(f'{key} = "{value}"' if isinstance(value, str) else f"{key} = {value}")
        return "\n".join(lines) + "\n"


@dataclass(frozen=True, slots=True, eq=False)
class BuiltWheel:
    """The plan and what stands behind it: spokes 1..n in order."""

    plan: WheelPlan
    spokes: tuple[TrueSpoke, ...]
    voices: tuple[Voice, ...]

    def label(self, spoke: int) -> str:
        """R1.. or L1.., counted along the side."""
        side = self.plan.side_of(spoke).name
        number = sum(self.plan.side_of(other).name == side for other in range(1, spoke + 1))
        return f"{side[0].upper()}{number}"


@dataclass(frozen=True, slots=True)
class Tensioning:
    """How evenly it is built: relative scatter of T between the spokes of a side, and whether one is slack."""

    scatter: float
    slack_spoke: bool = False
    crossing: str = "apart"


def hub_to_tip_mm(seat_radius: float, hub_radius: float, offset: float, crosses: int, per_side: int) -> float:
    """Bearing point to nipple tip, mm: hub hole ``crosses`` places on along its flange."""
    angle = 2 * np.pi * crosses / per_side
    square = seat_radius**2 + hub_radius**2 - 2 * seat_radius * hub_radius * np.cos(angle) + offset**2
    return float(np.sqrt(square)) - TIP_MM


def _draw_plan(rng: np.random.Generator, count: int, sides: str, dished: bool, crossing: str) -> WheelPlan:
    kinds = KINDS if crossing == "apart" else KINDS[:CROSSED_KINDS]
    nominal = draw_nominal(rng, kinds[rng.integers(len(kinds))])
    right_offset = rng.uniform(17, 21) if dished else rng.uniform(26, 34)
    left_offset = rng.uniform(30, 37) if dished else right_offset
    hub_radius = np.round(rng.uniform(22, 30), 1)
    wish = int(rng.integers(0, 4)) if count >= 28 else int(rng.integers(0, 3))
    if crossing != "apart":
        wish = 3 if count >= 32 else 2
    per_side = {letter: count * sides.count(letter) // len(sides) for letter in "RL"}
    crosses = {letter: min(wish, int(per_side[letter] * WIDEST_LACING)) for letter in "RL"}
    wanted = rng.uniform(242, 296)
    radius = wanted + TIP_MM + hub_radius * np.cos(2 * np.pi * crosses["R"] / per_side["R"])
    ratio = per_side["R"] * right_offset / (per_side["L"] * left_offset)  # lateral equilibrium, equal free lengths
    high = rng.uniform(850, 1250)
    right_n, left_n = (high, high * ratio) if ratio <= 1 else (high / ratio, high)
    head = str(rng.choice(["elbow", "straight"]))
    plans = []
    for name, exact_mm, target in (("right", right_offset, right_n), ("left", left_offset, left_n)):
        letter, offset = name[0].upper(), float(np.round(exact_mm, 1))
        length = hub_to_tip_mm(radius, hub_radius, offset, crosses[letter], per_side[letter])
        stated = float(np.round(length, 1)), 2 * float(hub_radius), offset, crosses[letter]
        plans.append(SidePlan(name, *stated, "clockwise", head, float(target), crossing))
    return WheelPlan(f"bench wheel, {count} spokes", sides, count, float(2 * radius), plans[0], plans[1], nominal)


def _crossing_of(plan: WheelPlan, side: SidePlan) -> Crossing:
    """The outermost crossing of a side, from its drawing in the wheel plane."""
    numbers = [n for n in range(1, plan.count + 1) if plan.side_of(n) is side]
    turn, per_side = 2 * np.pi / plan.count, len(numbers)
    return outermost(
        plan.seat_diameter_mm / 2e3,
        side.hub_circle_diameter_mm / 2e3,
        side.crosses * 2 * np.pi / per_side,
        turn * (numbers[1] - numbers[0]),
    )


def touching_voices(
    rng: np.random.Generator, plan: WheelPlan, spokes: list[TrueSpoke], law: dict[str, DecayLaw]
) -> tuple[Voice, ...]:
    """Voices of a wheel whose spokes touch at their outermost crossings: those of a pair share their modes."""
    found: dict[int, Voice] = {}
    for side in (plan.right, plan.left):
        numbers = [n for n in range(1, plan.count + 1) if plan.side_of(n) is side]
        crossing, touch = _crossing_of(plan, side), draw_touch(rng)
        # The first runs clockwise, its partner the other way: it lies so many places of the side further back.
        for place in range(0, len(numbers), 2):
            pair = numbers[place], numbers[(place + crossing.partner) % len(numbers)]
            two = draw_pair(rng, (spokes[pair[0] - 1], spokes[pair[1] - 1]), crossing, touch, law[side.name])
            found |= dict(zip(pair, two, strict=True))
    return tuple(found[n] for n in range(1, plan.count + 1))


def _slacken(spoke: TrueSpoke, pitch_hz: float) -> TrueSpoke:
    """The same spoke so slack that its flat mode 1 is ``pitch_hz``; secant in (ln T, ln f)."""
    first, second = np.log(spoke.tension_n), np.log(spoke.tension_n * 0.6)

    def error(log_tension: float) -> float:
        beam = spoke.with_tension(float(np.exp(log_tension))).beam(0)
        return float(np.log(modes(beam, 2).frequency_hz[0] / pitch_hz))

    for _ in range(6):
        slope = (error(second) - error(first)) / (second - first)
        first, second = second, second - error(second) / slope
        if abs(second - first) < 1e-7:
            break
    return spoke.with_tension(float(np.exp(second)))


def draw_wheel(
    rng: np.random.Generator, count: int, sides: str, dished: bool, tensioning: Tensioning, loads: Sequence[Load] = ()
) -> BuiltWheel:
    """One wheel: plan, one batch of spokes, one length error and one set of ends a side, tension by spoke.

    What sits on spokes changes nothing else of the wheel that a seed gives.
    """
    plan = _draw_plan(rng, count, sides, dished, tensioning.crossing)
    batch: Batch = draw_batch(rng, plan.nominal)
    side_ends = {side: draw_side_ends(rng) for side in ("right", "left")}
    length_m = {
        side.name: 1e-3 * (side.free_length_mm + U_LENGTH_MM * float(rng.normal())) for side in (plan.right, plan.left)
    }
    level = {side.name: side.target_n * (1 + 0.05 * float(rng.normal())) for side in (plan.right, plan.left)}
    spread = float(rng.uniform(0.15, 0.25))
    law = {side: draw_decay_law(rng) for side in ("right", "left")}
    spokes = []
    for number in range(1, count + 1):
        side = plan.side_of(number).name
        off = float(np.clip(rng.normal(), -2.5, 2.5))
        tension = float(np.clip(level[side] * (1 + tensioning.scatter * off), *TENSION_RANGE_N))
        spokes.append(TrueSpoke(batch, length_m[side], tension, scatter_ends(rng, side_ends[side], spread)))
    if tensioning.slack_spoke:
        tight = [n for n in range(1, count + 1) if plan.side_of(n).name == "right"]
        loose = [n for n in range(1, count + 1) if plan.side_of(n).name == "left"]
        pitch = np.mean([modes(spokes[n - 1].beam(0), 2).frequency_hz[0] for n in loose])
        chosen = int(rng.choice(tight))
        spokes[chosen - 1] = _slacken(spokes[chosen - 1], float(pitch))
    for load in loads:
        loaded = spokes[load.spoke - 1]
        spokes[load.spoke - 1] = replace(loaded, masses=load.masses(loaded.length_m))
    if tensioning.crossing == "touching":
        return BuiltWheel(plan, tuple(spokes), touching_voices(rng, plan, spokes, law))
    voices = [draw_voice(rng, s, law[plan.side_of(n).name]) for n, s in enumerate(spokes, start=1)]
    for load in loads:
        voices[load.spoke - 1] = voices[load.spoke - 1].damped(load.damping)
    return BuiltWheel(plan, tuple(spokes), tuple(voices))
