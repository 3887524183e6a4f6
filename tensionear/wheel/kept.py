"""A pass as it is kept between two sittings: its readings, turns and what was known of the rim, from the plan's JSON.

Pure; imports stand, learning and errors.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from tensionear.errors import InputError
from tensionear.wheel.learning import RimKnowledge, rim_from_dict
from tensionear.wheel.stand import Readings

FORMAT = "tensionear.plan/1"
MM = 1e-3
#: A nipple has no longer thread.
MOST_TURNS = 50.0


@dataclass(frozen=True, slots=True)
class KeptPass:
    """What a kept plan tells of the pass: readings before it, turns by spoke (+ tightens), the rim as known then."""

    wheel: str
    before: Readings
    turns: Mapping[int, float]
    rim: RimKnowledge


def readings_to_dict(readings: Readings) -> dict[str, Any]:
    """Readings in the units of files, spoke numbers as text (JSON)."""
    return {
        "tensions_n": {str(spoke): value for spoke, value in readings.tensions_n.items()},
        "u_tensions_n": {str(spoke): value for spoke, value in readings.u_tensions_n.items()},
        "lateral_mm": {str(spoke): value / MM for spoke, value in readings.lateral_m.items()},
        "radial_mm": {str(spoke): value / MM for spoke, value in readings.radial_m.items()},
        "dish_mm": None if readings.dish_m is None else readings.dish_m / MM,
    }


def kept_pass(document: object, name: str) -> KeptPass:
    """The pass in a plan's JSON document; InputError (called ``name``) if it is none."""
    try:
        if not isinstance(document, Mapping) or document["format"] != FORMAT:
            raise ValueError
        told = document["readings"]
        dish_mm = told["dish_mm"]
        before = Readings(
            _table(told["tensions_n"], 1.0),
            _table(told["lateral_mm"], MM),
            _table(told["radial_mm"], MM),
            None if dish_mm is None else float(dish_mm) * MM,
            _table(told["u_tensions_n"], 1.0),
        )
        turns: dict[int, float] = {}
        for turn in document["turns"]:
            turns[int(turn["spoke"])] = turns.get(int(turn["spoke"]), 0.0) + float(turn["turns"])
        if not all(abs(each) <= MOST_TURNS for each in turns.values()):
            raise ValueError
        return KeptPass(str(document["wheel"]), before, turns, rim_from_dict(document["rim"]))
    except (KeyError, TypeError, ValueError, AttributeError, OverflowError):
        raise InputError(
            f"{name} is no plan; give the JSON file of the pass that was done, as tensionear plan --keep writes it"
        ) from None


def _table(kept: Mapping[str, Any], scale: float) -> dict[int, float]:
    return {int(spoke): float(value) * scale for spoke, value in kept.items()}
