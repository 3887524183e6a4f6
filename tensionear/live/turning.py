"""One spoke while its nipple is turned, as a state machine. Pure; imports events, and the wheel's mechanics.

The key stays on the nipple, and every pluck shows how far there is to go.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from types import MappingProxyType

import numpy as np

from tensionear.catalogue import rim_classes
from tensionear.errors import InputError
from tensionear.wheel.geometry import Side
from tensionear.wheel.mechanics import axial_stiffness_n_m, influence, skeleton_of
from tensionear.wheel.model import Wheel
from tensionear.wheel.plan import ASSUMED_RIM

from .events import Effect, Plucked, Sound, Value

TRACE = 10
EIGHTHS = 8
#: Where there is no geometry a spoke keeps this share of what its own stretch would give; the rim takes the rest.
_KEPT_SHARE = 0.6  # common practice, no source
_NEIGHBOURS = 3  # on either side, shown stale
_USUAL_N = 1000.0


@dataclass(frozen=True, slots=True)
class Answering:
    """How a wheel answers to one nipple: N a turn at the spoke itself, and at its neighbours by number."""

    own_n: float
    others_n: Mapping[int, float]
    known: bool


@dataclass(frozen=True, slots=True)
class Turning:
    """A spoke being turned: its last ten plucks, and where it is to go (None: not stated)."""

    spoke: int
    target_n: float | None
    answering: Answering
    trace: tuple[Value, ...] = ()
    start_n: float | None = None
    last: Value | None = None
    final: bool = True
    neighbours_n: Mapping[int, float] = field(default_factory=lambda: MappingProxyType({}))

    @property
    def left_n(self) -> float | None:
        """How many newtons are missing; negative: too many."""
        if self.target_n is None or self.last is None or self.last.tension_n is None:
            return None
        return self.target_n - self.last.tension_n

    @property
    def eighths(self) -> int | None:
        """Eighths of a turn to go, positive tightens."""
        left_n = self.left_n
        return None if left_n is None else round(EIGHTHS * left_n / self.answering.own_n)

    def stale(self) -> dict[int, float]:
        """Neighbours by number: what they will have gained (N) by what was turned so far, until they are plucked again."""
        if self.start_n is None or self.last is None or self.last.tension_n is None:
            return {}
        turns = (self.last.tension_n - self.start_n) / self.answering.own_n
        return {number: turns * gain for number, gain in self.answering.others_n.items()}


def step(state: Turning, event: Plucked) -> tuple[Turning, tuple[Effect, ...]]:
    """What a pluck makes of it; only a final number sounds."""
    if not event.final:
        return replace(state, last=event.value, final=False), ()
    trace = (*state.trace, event.value)[-TRACE:]
    start_n = event.value.tension_n if state.start_n is None else state.start_n
    found = replace(state, trace=trace, last=event.value, final=True, start_n=start_n)
    eighths = found.eighths
    if eighths is None:
        return found, ()
    return found, (Sound("there" if eighths == 0 else "tighten" if eighths > 0 else "loosen"),)


def turning_of(wheel: Wheel, spoke: int, tensions_n: Mapping[int, float], target_n: float | None = None) -> Turning:
    """Start turning a spoke.

    Parameters
    ----------
    wheel : Wheel
    spoke : int
    tensions_n : mapping of int to float
        What is known of the spokes; the others are taken for their target, or for the mean of these.
    target_n : float, optional
        In place of the one the wheel file states; without both, the mean of the side's known tensions.
    """
    place = wheel.place(spoke)
    target = target_n if target_n is not None else wheel.sides[place.side].target_n
    fellows = [value for number, value in tensions_n.items() if wheel.place(number).side == place.side]
    if target is None and len(fellows) >= _NEIGHBOURS:
        target = float(np.mean(fellows))
    return Turning(
        spoke, target, answering_of(wheel, spoke, tensions_n), neighbours_n=MappingProxyType(dict(tensions_n))
    )


def answering_of(wheel: Wheel, spoke: int, tensions_n: Mapping[int, float]) -> Answering:
    """How the wheel answers to this nipple."""
    place = wheel.place(spoke)
    alone = Answering(axial_stiffness_n_m(place) * wheel.nipple.pitch_m * _KEPT_SHARE, {}, False)
    try:
        skeleton = skeleton_of(wheel, wheel.rim.stiffness or rim_classes()[ASSUMED_RIM])
    except InputError:
        return alone
    mean = float(np.mean(list(tensions_n.values()))) if tensions_n else _USUAL_N
    state = np.array([_usual(wheel, each.number, each.side, tensions_n, mean) for each in wheel.places])
    column = influence(skeleton, state).tension_n[:, spoke - 1]
    away = [(spoke - 1 + offset) % wheel.spokes for offset in range(-_NEIGHBOURS, _NEIGHBOURS + 1) if offset]
    return Answering(float(column[spoke - 1]), {index + 1: float(column[index]) for index in away}, True)


def _usual(wheel: Wheel, number: int, side: Side, tensions_n: Mapping[int, float], mean: float) -> float:
    stated = wheel.sides[side].target_n
    return tensions_n.get(number, mean if stated is None else stated)
