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
class Limits:
    """Floor and ceiling of each spoke as stated (infinite where not), (spokes,) each, and the guard band that draws
    them in: ``guard_u`` standard uncertainties of a tension, ``floor_room_n`` and ``ceiling_room_n`` at most."""

    floor_n: Floats
    ceiling_n: Floats
    floor_room_n: Floats
    ceiling_room_n: Floats
    guard_u: float

    def at(self, u_n: Floats) -> tuple[Floats, Floats]:
        """Floor and ceiling for tensions known to within ``u_n``, one sigma."""
        guard = self.guard_u * u_n
        return self.floor_n + np.minimum(guard, self.floor_room_n), self.ceiling_n - np.minimum(
            guard, self.ceiling_room_n
        )


@dataclass(frozen=True, slots=True, eq=False)
class Way:
    """What a pass begins with: tensions and their standard uncertainties (spokes,), limits, the change of all tensions
    by one step of each nipple (spokes, spokes), and how that change may differ, one sigma of each independent doubt."""

    tension_n: Floats
    u_n: Floats
    limits: Limits
    per_step_n: Floats
    doubts_n: tuple[Floats, ...] = ()

    def begin(self) -> Held:
        """Before the first turn."""
        return Held(self.tension_n, tuple(np.zeros_like(self.tension_n) for _ in self.doubts_n))

    def after(self, held: Held, one: int, size: int) -> Held:
        """After so many steps of one nipple."""
        doubts = tuple(far + size * each[:, one] for far, each in zip(held.doubts_n, self.doubts_n, strict=True))
        return Held(held.tension_n + size * self.per_step_n[:, one], doubts)

    def bounds(self, held: Held) -> tuple[Floats, Floats]:
        """Floor and ceiling at a point of the pass: the farther the turns, the less is known of where they led."""
        return self.limits.at(np.sqrt(self.u_n**2 + sum(far**2 for far in held.doubts_n)))


@dataclass(frozen=True, slots=True, eq=False)
class Held:
    """Tensions at a point of the pass, and how far each doubt about the rim has moved them by then, (spokes,) each."""

    tension_n: Floats
    doubts_n: tuple[Floats, ...]


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
    held, waiting = way.begin(), {int(one): int(steps[one]) for one in np.flatnonzero(steps)}
    share = {one: -(-abs(size) // parts) for one, size in waiting.items()}
    done: list[tuple[int, int]] = []
    highest = float(held.tension_n.max())
    for _ in range(LAPS):
        lap = _lap(way, held, waiting, share) or _forced(way, held, waiting)
        if not lap:
            break
        for one, size in lap:
            held = way.after(held, one, size)
            highest = max(highest, float(held.tension_n.max()))
            waiting[one] -= size
            if not waiting[one]:
                del waiting[one]
        done += lap
    return Walk(tuple(_merged(done)), tuple(sorted(waiting.items())), highest)


def _lap(way: Way, held: Held, waiting: dict[int, int], share: dict[int, int]) -> list[tuple[int, int]]:
    """Once round the rim: the share of every waiting turn that keeps the limits where it comes."""
    done = []
    for one, size in sorted(waiting.items()):
        part = int(np.clip(size, -share[one], share[one]))
        after = way.after(held, one, part)
        if _keeps(way, held, after):
            done.append((one, part))
            held = after
    return done


def _forced(way: Way, held: Held, waiting: dict[int, int]) -> list[tuple[int, int]]:
    """One turn, or one step of it, if no whole turn keeps the limits: one that keeps them, else the one that most mends."""
    single = [(one, int(np.sign(size))) for one, size in sorted(waiting.items())]
    for one, size in single:
        if _keeps(way, held, way.after(held, one, size)):
            return [(one, size)]
    now = _excess(way, held)
    if now <= NOTHING_N:
        return []
    excess = [_excess(way, way.after(held, one, size)) for one, size in single]
    best = int(np.argmin(excess)) if excess else -1
    return [single[best]] if excess and excess[best] < now - NOTHING_N else []


def _keeps(way: Way, before: Held, after: Held) -> bool:
    """True if nothing that was inside is outside now, and nothing that was outside has moved further out."""
    floor, ceiling = way.bounds(after)
    high = after.tension_n <= np.maximum(ceiling, before.tension_n) + NOTHING_N
    low = after.tension_n >= np.minimum(floor, before.tension_n) - NOTHING_N
    return bool(np.all(high & low))


def _excess(way: Way, held: Held) -> float:
    """How far tensions lie outside: root of the sum of squares, in N."""
    floor, ceiling = way.limits.at(way.u_n)
    over = np.maximum(held.tension_n - ceiling, 0.0) + np.maximum(floor - held.tension_n, 0.0)
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
