"""How a pass may be done, and what it is judged by. Pure; imports the wheel, learning and errors."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

from tensionear.errors import UsageError
from tensionear.wheel.learning import RimKnowledge
from tensionear.wheel.model import Wheel

#: Fractions of a turn a person can tell.
FINEST, COARSEST = 1 / 32, 1 / 2
#: Farthest a nipple may go in one pass.
ALL_TURNS = 3.0


@dataclass(frozen=True, slots=True)
class Weights:
    """Tolerances: a deviation of one costs 1, of two 4. ``turn`` and ``touch`` are what a whole turn and a touched
    nipple cost; ``hidden_touch`` a touched one inside the rim; run-out within two spokes of the joint may be
    ``joint_latitude`` times as large. Found on simulated wheels; no source."""

    tension_percent: float = 1.8
    level_percent: float = 0.4
    lateral_m: float = 0.035e-3
    radial_m: float = 0.05e-3
    dish_m: float = 0.01e-3
    unread_dish_m: float = 0.1e-3
    turn: float = 0.1
    touch: float = 0.05
    hidden_touch: float = 4.0
    joint_latitude: float = 3.0


@dataclass(frozen=True, slots=True)
class PlanOptions:
    """How a pass may be done.

    Parameters
    ----------
    step_turns : float
        Smallest turn, 1/32 to 1/2; a whole number of them makes one turn.
    most_turns : float
        Farthest a nipple goes in the pass, one step to 3 turns.
    seized : frozenset of int
        Spokes whose nipples stay as they are.
    joint : int or None
        Spoke at the rim's joint, where the rim is given latitude; None without one.
    hidden_nipples : bool
        Nipples inside the rim, reached with effort: fewer are touched.
    u_tensions_n : mapping
        Individual standard uncertainty of tensions by spoke, N; 1 % where not stated.
    rim : RimKnowledge or None
        What earlier passes taught of the rim.
    weights : Weights
    """

    step_turns: float = 1 / 8
    most_turns: float = 1.0
    seized: frozenset[int] = frozenset()
    joint: int | None = None
    hidden_nipples: bool = False
    u_tensions_n: Mapping[int, float] = field(default_factory=dict)
    rim: RimKnowledge | None = None
    weights: Weights = field(default_factory=Weights)


def check_options(wheel: Wheel, options: PlanOptions) -> None:
    """UsageError for options out of their bounds."""
    step, most = options.step_turns, options.most_turns
    if not FINEST <= step <= COARSEST or abs(round(1 / step) - 1 / step) > 1e-9:
        raise UsageError(f"a step of {step:g} turns is given; allowed: 1/2, 1/3, 1/4 ... 1/32, such as 1/8 or 1/16")
    if not step <= most <= ALL_TURNS:
        raise UsageError(
            f"at most {most:g} turns a nipple are given; allowed: one step ({step:g}) to {ALL_TURNS:g} turns"
        )
    for what, number in (*(("left out", one) for one in sorted(options.seized)), ("the rim's joint", options.joint)):
        if number is not None and not 1 <= number <= wheel.spokes:
            raise UsageError(f"spoke {number} is given as {what}; the wheel has 1 to {wheel.spokes}")
