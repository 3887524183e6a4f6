"""Tensions against limits, by JCGM 106:2012: within, out, or undecided at 95 %. Imports reading and sidefit.

A spoke is within if the probability that every limited quantity of it is within exceeds 95 %, out if the probability that
one is outside does. The wheel is within only if all its spokes are so together.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass

from tensionear.reading import Finding, Limits, Verdict

from .sidefit import ReadTension

CONFIDENCE = 0.95
_LOOSE = -0.25  # so far below its side's mean a spoke is called loose; common practice, no source


@dataclass(frozen=True, slots=True)
class Judgement:
    """One spoke's verdict, and the probability that it is within all its limits."""

    verdict: Verdict
    within: float


def judge_spoke(tension: ReadTension, limits: Limits, level: bool) -> Judgement:
    """Judge one spoke; ``level`` says whether its tension itself is judged (bare wheel, tensions known)."""
    allowed = limits.evenness_percent / 100
    inside = _between(tension.deviation, tension.u_deviation, -allowed, allowed)
    chances = [inside]
    if level and limits.max_tension_n is not None:
        chances.append(_between(tension.tension_n, tension.u_tension_n, -math.inf, limits.max_tension_n))
    if level and limits.floor_n is not None:
        chances.append(_between(tension.tension_n, tension.u_tension_n, limits.floor_n, math.inf))
    within = math.prod(chances)
    if within > CONFIDENCE:
        return Judgement("within", within)
    return Judgement("out" if 1 - min(chances) > CONFIDENCE else "undecided", within)


def judge_together(judged: Iterable[Judgement]) -> Verdict | None:
    """The verdict on several spokes together; None if there are none."""
    each = list(judged)
    if not each:
        return None
    within = math.prod(one.within for one in each)
    if within > CONFIDENCE:
        return "within"
    return "out" if 1 - within > CONFIDENCE else "undecided"


def findings_of(tensions: Mapping[int, ReadTension], limits: Limits, level: bool) -> list[Finding]:
    """What stands out, worst first: over the maximum, under the floor, loose, uneven."""
    found = []
    maximum, floor, allowed = limits.max_tension_n, limits.floor_n, limits.evenness_percent / 100
    if level and maximum is not None:
        over = _named(tensions, lambda one: _between(one.tension_n, one.u_tension_n, -math.inf, maximum))
        if over:
            found.append(
                Finding("over-maximum", f"over the maximum of {maximum:.0f} N the makers allow: slacken", over)
            )
    if level and floor is not None:
        under = _named(tensions, lambda one: _between(one.tension_n, one.u_tension_n, floor, math.inf))
        if under:
            found.append(
                Finding("under-floor", f"under the floor of {floor:.0f} N: look it over before turning", under)
            )
    loose = _named(tensions, lambda one: _between(one.deviation, one.u_deviation, _LOOSE, math.inf))
    if loose:
        text = (
            f"far slacker than its side (more than {-100 * _LOOSE:.0f} % under the mean): look it over for damage first"
        )
        found.append(Finding("loose-spoke", text, loose))
    uneven = _named(tensions, lambda one: _between(one.deviation, one.u_deviation, -allowed, allowed))
    uneven = tuple(spoke for spoke in uneven if spoke not in loose)
    if uneven:
        text = f"more than {limits.evenness_percent:g} % off the mean of its side"
        found.append(Finding("out-of-evenness", text, uneven))
    return found


def _named(tensions: Mapping[int, ReadTension], chance: Callable[[ReadTension], float]) -> tuple[int, ...]:
    """Spokes whose chance of being within is so small that they are out."""
    return tuple(spoke for spoke, one in sorted(tensions.items()) if 1 - chance(one) > CONFIDENCE)


def _between(value: float, u: float, low: float, high: float) -> float:
    """Probability that a normal quantity lies between two limits."""
    u = max(u, 1e-12)
    return _below((high - value) / u) - _below((low - value) / u)


def _below(z: float) -> float:
    return 0.5 * math.erfc(-z / math.sqrt(2))
