"""What the state of the wheel lets be judged, and what it says by itself. Pure; imports model, reading and sidefit."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, replace

from tensionear.reading import Finding

from .model import Wheel
from .sidefit import ReadTension

ROOM_C, NEAR_ROOM_K = 20.0, 10.0
#: Half width of what a kelvin may do to a tension, by rim material: 20 K is -130 to +55 N (computed, rim share assumed).
N_PER_K = 6.5


@dataclass(frozen=True, slots=True)
class Level:
    """Whether tension itself is judged, whether any limit of it is stated, and what the state says."""

    judged: bool
    limited: bool
    u_n: float
    findings: tuple[Finding, ...]

    def widened(self, tensions: Mapping[int, ReadTension]) -> dict[int, ReadTension]:
        """Tensions with the doubt of the temperature added to what a side shares."""
        if not self.u_n:
            return dict(tensions)
        return {
            number: replace(one, u_tension_n=math.hypot(one.u_tension_n, self.u_n)) for number, one in tensions.items()
        }


def level_of(wheel: Wheel) -> Level:
    """What the state of the wheel means for its level."""
    state, limits = wheel.state, wheel.limits
    targets = [side.target_n for side in wheel.sides.values()]
    limited = any(each is not None for each in (limits.max_tension_n, limits.floor_n, *targets))
    why, found = [], []
    if state.broken:
        text = "broken: do not ride the wheel, take the load off it and have the spoke replaced; its fellows carry more"
        found.append(Finding("broken-spoke", text, tuple(sorted(set(state.broken))), "danger"))
    if state.crash:
        text = (
            "the wheel has been in a crash: whatever its tensions, have rim, hub and spokes looked over by a qualified "
            "wheel builder before it is ridden"
        )
        found.append(Finding("crash", text, (), "danger"))
    if state.tyre != "none":
        why.append("tyre on")
        text = "undecided: tyre on: it lowers tension by 5 to 15 % (common practice, no source), so only evenness is judged"
        found.append(Finding("tyre-on", text, (), "note"))
    if state.held == "bike":
        why.append("in the bike")
        text = "undecided: in the bike: its weight slackens the lowest spokes; hang the wheel free to judge its level"
        found.append(Finding("in-the-bike", text, (), "note"))
    if state.age == "new":
        why.append("not relieved")
        text = "undecided: not relieved: a new wheel settles; stress-relieve it and read again to judge its level"
        found.append(Finding("not-relieved", text, (), "note"))
    off_k = 0.0 if state.temperature_c is None else state.temperature_c - ROOM_C
    u_n = 0.0
    if abs(off_k) > NEAR_ROOM_K:
        u_n = N_PER_K * abs(off_k) / math.sqrt(3)  # rectangular: JCGM 100:2008, 4.3.7
        text = f"read at {state.temperature_c:g} degrees C: the level is known {1.96 * u_n:.0f} N worse than at room temperature"
        found.append(Finding("off-room-temperature", text, (), "note"))
    return Level(not why, limited, u_n, (*found, *_brittle(wheel)))


def _brittle(wheel: Wheel) -> list[Finding]:
    """Materials that fail without warning."""
    names = {place.spoke.material.name for place in wheel.places} & {"carbon", "titanium"}
    told = [f"{name} spokes" for name in sorted(names)]
    if wheel.rim.stiffness is not None and wheel.rim.stiffness.name.startswith("carbon"):
        told.append("a carbon rim")
    if not told:
        return []
    text = (
        f"{' and '.join(told)}: may fail without warning; stay below the makers' limits, and have nicked, cracked or crashed "
        "parts replaced by a qualified wheel builder"
    )
    return [Finding("brittle-material", text, (), "note")]
