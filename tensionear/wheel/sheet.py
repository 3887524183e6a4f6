"""The other readings of a sitting: run-out, dish, twist, mass, rim widths, notes; held against limits. Pure.

Imports model, conformance and reading.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from typing import Any

from tensionear.reading import Finding

from .conformance import Limited, between
from .model import Wheel, WheelState

MM, G = 1e-3, 1e-3
#: Standard uncertainties of readings with a dial gauge (run-out, dish) and of a twist by eye; common practice, no source.
U_DIAL_M, U_TWIST_DEG = 0.02e-3, 1.5
#: Of so many of its spokes at least, run-out must be read to be judged from single places.
_ENOUGH = 0.5


@dataclass(frozen=True, slots=True)
class Sheet:
    """What was read beside the tensions; all of it optional.

    Lateral + to the right, radial + outward, by spoke number (m); ranges are peak to peak over one turn (m).
    ``dish_m`` is the offset of the rim, + to the right. Twist of flat spokes by number, degrees. Rim widths in m.
    ``state`` is how the wheel stood in this sitting; None: as the wheel file says.
    """

    lateral_m: Mapping[int, float] = field(default_factory=dict)
    radial_m: Mapping[int, float] = field(default_factory=dict)
    lateral_range_m: float | None = None
    radial_range_m: float | None = None
    dish_m: float | None = None
    twist_deg: Mapping[int, float] = field(default_factory=dict)
    mass_kg: float | None = None
    rim_width_outer_m: float | None = None
    rim_width_inner_m: float | None = None
    notes: str = ""
    state: WheelState | None = None

    def range_of(self, direction: str, spokes: int) -> float | None:
        """Peak to peak run-out (``lateral`` or ``radial``), m: as read, else from enough single places."""
        stated: float | None = getattr(self, f"{direction}_range_m")
        places: Mapping[int, float] = getattr(self, f"{direction}_m")
        if stated is not None:
            return stated
        if len(places) < max(3, _ENOUGH * spokes):
            return None
        return max(places.values()) - min(places.values())


EMPTY = Sheet()


def sheet_to_dict(sheet: Sheet) -> dict[str, Any]:
    """The sheet as the tables of its file, in mm, degrees and grams; what is not known is left out."""
    spokes: dict[str, dict[str, float]] = {}
    for key, kept, scale in (
        ("lateral_mm", sheet.lateral_m, MM),
        ("radial_mm", sheet.radial_m, MM),
        ("twist_deg", sheet.twist_deg, 1.0),
    ):
        for number, value in kept.items():
            spokes.setdefault(str(number), {})[key] = round(value / scale, 6)
    single = {
        "lateral_range_mm": _scaled(sheet.lateral_range_m, MM),
        "radial_range_mm": _scaled(sheet.radial_range_m, MM),
        "dish_mm": _scaled(sheet.dish_m, MM),
        "mass_g": _scaled(sheet.mass_kg, G),
        "rim_width_outer_mm": _scaled(sheet.rim_width_outer_m, MM),
        "rim_width_inner_mm": _scaled(sheet.rim_width_inner_m, MM),
        "notes": sheet.notes or None,
    }
    found: dict[str, Any] = {key: value for key, value in single.items() if value is not None}
    if sheet.state is not None:
        found["state"] = _state_to_dict(sheet.state)
    if spokes:
        found["spoke"] = dict(sorted(spokes.items(), key=lambda item: int(item[0])))
    return found


def _state_to_dict(state: WheelState) -> dict[str, Any]:
    """The keys of ``[state]`` that say more than their default."""
    told = {
        "pressure_kpa": None if state.pressure_pa is None else state.pressure_pa / 1e3,
        "age": state.age,
        "temperature_c": state.temperature_c,
        "crash": state.crash or None,
        "broken": list(state.broken) or None,
    }
    return {"tyre": state.tyre, "held": state.held, **{key: value for key, value in told.items() if value is not None}}


def limited_quantities(wheel: Wheel, sheet: Sheet, new_cause: Callable[[], int]) -> dict[str, Limited]:
    """What of the sheet has a limit, by name; ``new_cause()`` gives the number of an independent cause."""
    limits, found = wheel.limits, {}
    for direction, limit in (("lateral", limits.lateral_m), ("radial", limits.radial_m)):
        size = sheet.range_of(direction, wheel.spokes)
        if size is not None:
            found[direction] = Limited(size, {new_cause(): 2**0.5 * U_DIAL_M}, high=limit)
    if sheet.dish_m is not None:
        found["dish"] = Limited(sheet.dish_m, {new_cause(): U_DIAL_M}, -limits.dish_m, limits.dish_m)
    for number, twist in sorted(sheet.twist_deg.items()):
        found[f"twist {number}"] = Limited(twist, {new_cause(): U_TWIST_DEG}, -limits.twist_deg, limits.twist_deg)
    return found


def sheet_findings(wheel: Wheel, quantities: Mapping[str, Limited], surely: float) -> list[Finding]:
    """What of the sheet is surely outside."""
    limits = wheel.limits
    out = {
        name: each for name, each in quantities.items() if 1 - between(each.value, each.u, each.low, each.high) > surely
    }
    found = []
    for direction, limit in (("lateral", limits.lateral_m), ("radial", limits.radial_m)):
        if direction in out:
            size = f"{out[direction].value / MM:.2f} mm peak to peak, more than {limit / MM:g} mm"
            found.append(_runout(direction, size))
    if "dish" in out:
        value = out["dish"].value
        side = "right" if value > 0 else "left"
        text = (
            f"the rim stands {abs(value) / MM:.2f} mm to the {side}, more than {limits.dish_m / MM:g} mm: dish the wheel, "
            "all spokes of one side by equal small steps"
        )
        found.append(Finding("dish-out", text, (), "fault"))
    twisted = tuple(int(name.split()[1]) for name in out if name.startswith("twist"))
    if twisted:
        text = f"stands askew by more than {limits.twist_deg:g} degrees: hold the spoke and turn it back flat"
        found.append(Finding("twisted-spoke", text, twisted, "fault"))
    return found


def _runout(direction: str, size: str) -> Finding:
    """The finding of a rim out of true."""
    if direction == "lateral":
        text = f"the rim runs out sideways by {size}: true it; where tensions are even and it is not, it is bent"
        return Finding("lateral-out", text, (), "fault")
    text = f"the rim runs out of round by {size}: true it; where tensions are even and it is not, it is dented"
    return Finding("radial-out", text, (), "fault")


def _scaled(value: float | None, scale: float) -> float | None:
    return None if value is None else round(value / scale, 6)
