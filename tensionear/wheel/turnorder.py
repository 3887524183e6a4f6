"""The order of a pass: walked round from the valve, no spoke out of its limits on the way. Pure; types only."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from tensionear.wheel.ringbeam import Floats
from tensionear.wheel.turnsearch import Steps

#: Rounding: what counts as no change, N.
NOTHING_N = 1e-6
LAPS = 64
#: In how many laps the whole may be done, if not in one.
PARTS = (2, 3, 4, 8, 16)


@dataclass(frozen=True, slots=True, eq=False)
class Way:
    """Limits on the way: tensions now (spokes,), floor and ceiling of each spoke (may be infinite), and the change of
    all tensions by one step of each nipple (spokes, spokes)."""

    tension_n: Floats
    floor_n: Floats
    ceiling_n: Floats
    per_step_n: Floats


@dataclass(frozen=True, slots=True)
class Walk:
    """Index and steps of each turn in the order to do them; what is left for another pass; highest tension on the way."""

    done: tuple[tuple[int, int], ...]
    left: tuple[tuple[int, int], ...]
    highest_n: float


def walk(way: Way, steps: Steps) -> Walk:
    """Put the turns into an order in which nothing leaves its limits.

    Spokes are taken as they come round from the valve; one that would push itself or another out of its limits waits
    for the next lap. Where that leaves turns undone, all are done in two parts, a lap each, or in more. A spoke that is
    outside already only moves inward, or, where two such are neighbours, the worst of them does. What cannot be done in
    any of these ways is left: the way that leaves least is taken.
    """
    found = [_in_parts(way, steps, 1)]
    for parts in PARTS:
        if not found[-1].left:
            break
        found.append(_in_parts(way, steps, parts))
    return min(found, key=lambda each: sum(abs(size) for _, size in each.left))


def _in_parts(way: Way, steps: Steps, parts: int) -> Walk:
    """The walk in which no nipple is turned by more than its share in one lap."""
    tension, waiting = way.tension_n.copy(), {int(one): int(steps[one]) for one in np.flatnonzero(steps)}
    share = {one: -(-abs(size) // parts) for one, size in waiting.items()}
    done: list[tuple[int, int]] = []
    highest = float(tension.max())
    for _ in range(LAPS):
        lap = _lap(way, tension, waiting, share) or _forced(way, tension, waiting)
        if not lap:
            break
        for one, size in lap:
            tension = tension + size * way.per_step_n[:, one]
            highest = max(highest, float(tension.max()))
            waiting[one] -= size
            if not waiting[one]:
                del waiting[one]
        done += lap
    return Walk(tuple(_merged(done)), tuple(sorted(waiting.items())), highest)


def _lap(way: Way, tension: Floats, waiting: dict[int, int], share: dict[int, int]) -> list[tuple[int, int]]:
    """Once round the rim: the share of every waiting turn that keeps the limits where it comes."""
    done = []
    for one, size in sorted(waiting.items()):
        part = int(np.clip(size, -share[one], share[one]))
        after = tension + part * way.per_step_n[:, one]
        if _keeps(way, tension, after):
            done.append((one, part))
            tension = after
    return done


def _forced(way: Way, tension: Floats, waiting: dict[int, int]) -> list[tuple[int, int]]:
    """One turn, or one step of it, if no whole turn keeps the limits: one that keeps them, else the one that most mends."""
    single = [(one, int(np.sign(size))) for one, size in sorted(waiting.items())]
    for one, size in single:
        if _keeps(way, tension, tension + size * way.per_step_n[:, one]):
            return [(one, size)]
    now = _excess(way, tension)
    if now <= NOTHING_N:
        return []
    excess = [_excess(way, tension + size * way.per_step_n[:, one]) for one, size in single]
    best = int(np.argmin(excess)) if excess else -1
    return [single[best]] if excess and excess[best] < now - NOTHING_N else []


def _keeps(way: Way, before: Floats, after: Floats) -> bool:
    """True if nothing that was inside is outside now, and nothing that was outside has moved further out."""
    high = after <= np.maximum(way.ceiling_n, before) + NOTHING_N
    low = after >= np.minimum(way.floor_n, before) - NOTHING_N
    return bool(np.all(high & low))


def _excess(way: Way, tension: Floats) -> float:
    """How far tensions lie outside, squared and summed, in N2."""
    over = np.maximum(tension - way.ceiling_n, 0.0) + np.maximum(way.floor_n - tension, 0.0)
    return float(np.sqrt(np.sum(over**2)))


def _merged(done: list[tuple[int, int]]) -> list[tuple[int, int]]:
    """Steps of one nipple that follow each other as one turn."""
    found: list[tuple[int, int]] = []
    for one, size in done:
        if found and found[-1][0] == one:
            found[-1] = (one, found[-1][1] + size)
        else:
            found.append((one, size))
    return found
