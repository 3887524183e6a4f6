"""What would settle a spoke that is undecided. Pure; imports conformance, reading and sidefit."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Protocol

from tensionear.reading import Finding, Limits, Verdict

from .sidefit import ReadTension

#: More plucks of a spoke than this are not asked for; with them its own error shrinks to half (4 readings in place of 1).
MOST_PLUCKS = 3
_ONE_SIDED = 1.645


class _Judged(Protocol):
    @property
    def verdict(self) -> Verdict: ...


def undecided_findings(
    tensions: Mapping[int, ReadTension], judged: Mapping[int, _Judged], limits: Limits
) -> list[Finding]:
    """Which undecided spokes more plucks would settle, if they read the same again, and which they would not."""
    open_ones = [number for number, one in sorted(judged.items()) if one.verdict == "undecided"]
    needed = {number: plucks_needed(tensions[number], limits) for number in open_ones}
    again = {number: plucks for number, plucks in needed.items() if plucks is not None}
    stay = tuple(number for number, plucks in needed.items() if plucks is None)
    found = []
    if again:
        most = max(again.values())
        times = "once more" if most == 1 else f"{most} times more"
        text = f"undecided: plucked {times}, it would be settled if it reads the same again"
        found.append(Finding("undecided-pluck-again", text, tuple(again), "note"))
    if stay:
        text = (
            "undecided, and no pluck will settle it: it is too near its limit for what is known of length and spoke; turn it "
            "towards the mean, or widen the limit if it need not be so strict"
        )
        found.append(Finding("undecided-stays", text, stay, "note"))
    return found


def plucks_needed(one: ReadTension, limits: Limits) -> int | None:
    """How many more plucks would settle this spoke; None if none will."""
    allowed = limits.evenness_percent / 100
    gap = abs(abs(one.deviation) - allowed)
    bounds = [bound for bound in (limits.max_tension_n, limits.floor_n) if bound is not None]
    shared = max(one.u_tension_n**2 - one.u_individual_n**2, 0.0)
    for plucks in range(1, MOST_PLUCKS + 1):
        settled = gap > _ONE_SIDED * one.u_deviation / (plucks + 1) ** 0.5
        for bound in bounds:
            u = (shared + one.u_individual_n**2 / (plucks + 1)) ** 0.5
            settled = settled and abs(one.tension_n - bound) > _ONE_SIDED * u
        if settled:
            return plucks
    return None
