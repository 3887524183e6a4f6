"""A turn plan done by ear: each nipple is turned, its spoke plucked, and ticked off. Pure; imports machine and wheel.plan.

What is expected of a spoke is what it holds at its place in the pass: after its own turn and all that were ticked off
before it, not after the whole pass.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any, Literal

from tensionear.wheel.forecast import Figure
from tensionear.wheel.learning import RimKnowledge
from tensionear.wheel.model import Wheel
from tensionear.wheel.plan import expect_turns
from tensionear.wheel.planoptions import PlanOptions
from tensionear.wheel.stand import Readings
from tensionear.wheel.turnplan import Turn

from .events import Value
from .keeping import Restored
from .machine import Round, Taken

FORMAT = "tensionear.checklist/1"
_TURNED_S = 1.5  # between two walks a nipple is turned; a late pluck of the same spoke comes sooner
_COVERAGE = 1.96
#: ``unmoved``: it reads as if the nipple had not been turned; ``wrong-way``: as if it had been turned the other way.
Verdict = Literal["expected", "higher", "lower", "unmoved", "wrong-way"]


@dataclass(frozen=True, slots=True)
class Item:
    """One turn of the plan: what its spoke holds before it and is expected to hold after it, and what was heard then.

    Neither is known of a spoke that is not awaited yet.
    """

    turn: Turn
    before: Figure | None
    expected: Figure | None
    heard: Value | None = None

    @property
    def verdict(self) -> Verdict | None:
        """How what was heard stands to what was expected; None where one of them is not known."""
        heard = self.heard
        if heard is None or heard.tension_n is None or self.expected is None:
            return None
        heard_n, u_n = heard.tension_n, heard.u_tension_n or 0.0
        if _is_near(heard_n, self.expected, u_n):
            return "expected"
        if self.before is not None:
            if _is_near(heard_n, self.before, u_n):
                return "unmoved"
            if _is_near(heard_n, Figure(2 * self.before.value - self.expected.value, self.expected.u), u_n):
                return "wrong-way"
        return "higher" if heard_n > self.expected.value else "lower"


def _is_near(heard_n: float, figure: Figure, u_n: float) -> bool:
    """Whether a number that is uncertain by ``u_n`` is what the figure says."""
    return abs(heard_n - figure.value) <= _COVERAGE * math.hypot(figure.u, u_n)


class Expecting:
    """What a wheel's spokes are expected to hold after turns; each set of turns is worked out once.

    Parameters
    ----------
    wheel : Wheel
    readings : Readings
        Of before the first turn.
    rim : RimKnowledge or None
    """

    def __init__(self, wheel: Wheel, readings: Readings, rim: RimKnowledge | None) -> None:
        self.wheel, self.readings, self._options = wheel, readings, PlanOptions(rim=rim)
        self._known: dict[tuple[tuple[int, float], ...], Mapping[int, Figure | None]] = {}

    def after(self, sizes: Mapping[int, float]) -> Mapping[int, Figure | None]:
        """Tensions by spoke after these turns (by spoke, + tightens); empty where none were read before."""
        if not self.readings.tensions_n:
            return {}
        key = tuple(sorted(sizes.items()))
        if key not in self._known:
            self._known[key] = expect_turns(self.wheel, sizes, self.readings, self._options).predicted.tension_n
        return self._known[key]


@dataclass(frozen=True, slots=True)
class Checklist:
    """A plan under way.

    ``walks`` are its turns, one tuple a walk round the wheel: a nipple comes once in a walk. ``walk`` counts from 0;
    ``done`` are the items of the walks before it.
    """

    expecting: Expecting
    walks: tuple[tuple[Turn, ...], ...]
    walk: int = 0
    done: tuple[Item, ...] = ()

    @property
    def spokes(self) -> tuple[int, ...]:
        """The spokes of the walk under way in the order of their turns."""
        return tuple(turn.spoke for turn in self.walks[self.walk])

    @property
    def is_last_walk(self) -> bool:
        """Whether no walk follows."""
        return self.walk == len(self.walks) - 1

    def items(self, state: Round) -> tuple[Item, ...]:
        """All turns of the plan: those of the walk under way are ticked off as the round accepts their spokes."""
        now = {turn.spoke: turn for turn in self.walks[self.walk]}
        ticked = sorted(_in_order(state, now), key=lambda each: each[1][0].onset_s)
        sizes: dict[int, float] = {}
        for item in self.done:
            sizes[item.turn.spoke] = sizes.get(item.turn.spoke, 0.0) + item.turn.turns
        heard: dict[int, Item] = {}
        for spoke, taken in ticked:
            heard[spoke] = replace(self._item(now[spoke], sizes), heard=taken[-1].value)
            sizes[spoke] = sizes.get(spoke, 0.0) + now[spoke].turns
        if not state.complete and state.spoke not in heard:
            heard[state.spoke] = self._item(now[state.spoke], sizes)
        mine = [heard.get(turn.spoke) or Item(turn, None, None) for turn in self.walks[self.walk]]
        later = [Item(turn, None, None) for walk in self.walks[self.walk + 1 :] for turn in walk]
        return (*self.done, *mine, *later)

    def next_walk(self, state: Round) -> tuple[Checklist, Round]:
        """The walk after this one, whose items stay as they are, and its round from the start."""
        count = len(self.done) + len(self.walks[self.walk])
        found = replace(self, walk=self.walk + 1, done=self.items(state)[:count])
        return found, Round(found.spokes, state.needed, shown=state.shown, sides=state.sides)

    def to_dict(self, state: Round) -> dict[str, Any]:
        """The JSON form: plain numbers in newtons, unknown is None."""
        return {
            "format": FORMAT,
            "wheel": self.expecting.wheel.name,
            "turns": [_item_dict(each) for each in self.items(state)],
        }

    def _item(self, turn: Turn, sizes: Mapping[int, float]) -> Item:
        """A turn with what its spoke holds before and after it, when these were done before."""
        then = {**sizes, turn.spoke: sizes.get(turn.spoke, 0.0) + turn.turns}
        before, after = self.expecting.after(sizes), self.expecting.after(then)
        return Item(turn, before.get(turn.spoke), after.get(turn.spoke))


def walks_of(turns: tuple[Turn, ...]) -> tuple[tuple[Turn, ...], ...]:
    """Turns in their order cut into walks, so that no nipple comes twice in one."""
    walks: list[list[Turn]] = [[]]
    for turn in turns:
        if any(each.spoke == turn.spoke for each in walks[-1]):
            walks.append([])
        walks[-1].append(turn)
    return tuple(tuple(walk) for walk in walks)


def expected_n(items: Sequence[Item], spoke: int) -> float | None:
    """What a spoke that is not ticked off yet is expected to hold once it is; None where that is not known."""
    found = [each.expected.value for each in items if each.turn.spoke == spoke and each.expected and not each.heard]
    return found[0] if found else None


def kept_by_walk(checklist: Checklist, kept: Sequence[Restored]) -> list[list[Restored]]:
    """Plucks that were kept, in order of time, by the walk they were plucked in."""
    found: list[list[Restored]] = [[]]
    for each in kept:
        walk, so_far = checklist.walks[len(found) - 1], found[-1]
        walked = {turn.spoke for turn in walk} <= {one.spoke for one in so_far}
        if walked and each.onset_s > so_far[-1].onset_s + _TURNED_S and len(found) < len(checklist.walks):
            found.append([])
        found[-1].append(each)
    return found


def _in_order(state: Round, now: Mapping[int, Turn]) -> list[tuple[int, tuple[Taken, ...]]]:
    return [(spoke, taken) for spoke, taken in state.accepted.items() if spoke in now and taken]


def _item_dict(item: Item) -> dict[str, Any]:
    heard = item.heard or Value(0.0)
    return {
        "spoke": item.turn.spoke,
        "label": item.turn.label,
        "turns": item.turn.turns,
        "ticked": item.heard is not None,
        "before_n": None if item.before is None else item.before.value,
        "expected_n": None if item.expected is None else item.expected.value,
        "u_expected_n": None if item.expected is None else item.expected.u,
        "heard_n": heard.tension_n,
        "u_heard_n": heard.u_tension_n,
        "verdict": item.verdict,
    }
