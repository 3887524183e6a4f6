"""A planned pass as frozen values, and its JSON form. Pure; imports forecast, kept, learning and stand."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from tensionear.wheel.forecast import Figure, Forecast
from tensionear.wheel.kept import FORMAT, readings_to_dict
from tensionear.wheel.learning import RimKnowledge
from tensionear.wheel.stand import Readings

MM = 1e-3


@dataclass(frozen=True, slots=True)
class Turn:
    """One nipple to turn, + tightens; ``past_turns`` is how far to go past and come back against wind-up."""

    spoke: int
    label: str
    turns: float
    past_turns: float


@dataclass(frozen=True, slots=True)
class Quality:
    """Cost of the plan (sum of squared tolerances, turning and touching), that of doing nothing, and a bound that no
    plan undercuts, broken steps or whole."""

    cost: float
    before: float
    bound: float


@dataclass(frozen=True, slots=True)
class TurnPlan:
    """A pass: turns in the order to do them, what is expected of them, and what was expected of nothing done.

    ``highest_n`` is the highest tension expected on the way; None where tensions were not read. ``left`` are turns
    that no order could do within the limits. ``quality`` is None for turns that were asked about, not planned.
    """

    title: str
    labels: Mapping[int, str]
    sides: Mapping[str, tuple[int, ...]]
    turns: tuple[Turn, ...]
    predicted: Forecast
    present: Forecast
    target_n: Mapping[int, float]
    max_tension_n: float | None
    floor_n: float | None
    highest_n: float | None
    left: tuple[Turn, ...]
    notes: tuple[str, ...]
    quality: Quality | None
    rim: RimKnowledge
    readings: Readings

    def turned(self) -> dict[int, float]:
        """Turns by spoke, + tightens, summed."""
        found: dict[int, float] = {}
        for turn in self.turns:
            found[turn.spoke] = found.get(turn.spoke, 0.0) + turn.turns
        return found

    def to_dict(self) -> dict[str, Any]:
        """The JSON form: plain numbers, mm where the name says so, unknown is None."""
        return {
            "format": FORMAT,
            "wheel": self.title,
            "turns": [_turn_dict(turn) for turn in self.turns],
            "left": [_turn_dict(turn) for turn in self.left],
            "predicted": _forecast_dict(self.predicted, self.labels),
            "present": _forecast_dict(self.present, self.labels),
            "highest_n": self.highest_n,
            "max_tension_n": self.max_tension_n,
            "floor_n": self.floor_n,
            "notes": list(self.notes),
            "quality": None
            if self.quality is None
            else {"cost": self.quality.cost, "before": self.quality.before, "bound": self.quality.bound},
            "rim": self.rim.to_dict(),
            "readings": readings_to_dict(self.readings),
        }


def _turn_dict(turn: Turn) -> dict[str, Any]:
    return {"spoke": turn.spoke, "label": turn.label, "turns": turn.turns, "past_turns": turn.past_turns}


def _forecast_dict(told: Forecast, labels: Mapping[int, str]) -> dict[str, Any]:
    """A forecast in the units of views."""
    found: dict[str, Any] = {
        "spokes": [
            {"spoke": spoke, "label": labels[spoke], **_plain("tension_n", figure, 1.0)}
            for spoke, figure in told.tension_n.items()
        ],
        "spread_percent": {side: None if one is None else one.value for side, one in told.spread_percent.items()},
        "u_spread_percent": {side: None if one is None else one.u for side, one in told.spread_percent.items()},
    }
    for name in ("lateral", "radial", "dish"):
        found |= _plain(f"{name}_mm", getattr(told, f"{name}_m"), 1 / MM)
    return found


def _plain(name: str, figure: Figure | None, scale: float) -> dict[str, float | None]:
    if figure is None or not math.isfinite(figure.value + figure.u):
        return {name: None, f"u_{name}": None}
    return {name: figure.value * scale, f"u_{name}": figure.u * scale}
