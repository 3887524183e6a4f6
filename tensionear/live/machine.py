"""The round as a state machine: an event and a state give a state and effects. Pure; imports events, goneon, fingerprint.

Plucks drive it; keys and knocks are optional. It knows no sound, no screen and no clock but the times events bring.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from types import MappingProxyType

import numpy as np

from tensionear.wheel.fingerprint import Fingerprints

from .events import (
    Accept,
    Asked,
    Effect,
    Event,
    FoundOut,
    Knocked,
    Lines,
    Microphoned,
    Named,
    Note,
    Passed,
    Plucked,
    Refused,
    Sound,
    Value,
    Withdraw,
)
from .goneon import Place, log_odds_gone_on

#: Plucks of one spoke lie so close by their partials, in cents; 9 are 1.2 % of tension. Which of a spoke's two planes
#: sounds louder changes from pluck to pluck, so a first mode alone would not do: 95 % of 202 simulated pairs are closer.
AGREE_CENTS = 9.0
#: So long after "go on" a pluck that sounds like the spoke just left is a late one of that. Judgement, no source.
HOLD_S = 0.8
#: A pluck's ring is heard for so long before its spoke is accepted.
_HEARD_S = 0.6
#: A hand is not at the next spoke sooner; what comes within is the same pluck, or a slip.
BOUNCE_S = 0.15
#: Taps on the rim: two go on, three go back; so far apart.
_TAPS_S, _TAPS_DONE_S = (0.10, 0.60), 0.65
#: After so many plucks that do not agree something is wrong with the spoke or the way it is plucked.
_MANY = 6


@dataclass(frozen=True, slots=True)
class Taken:
    """A pluck that counts."""

    onset_s: float
    lines: Lines
    value: Value


@dataclass(frozen=True, slots=True)
class Shown:
    """The last number: whose, and whether it is only a first look."""

    spoke: int
    value: Value
    final: bool
    onset_s: float


@dataclass(frozen=True, slots=True)
class Round:
    """A round being plucked.

    ``place`` is the place in ``plan`` of the spoke that is awaited; ``plan`` is at its end when all are done, then the
    first one may be plucked again to prove the count. ``taken`` are the plucks of the awaited spoke so far. ``said`` is the
    one thing to tell, with its code; ``sides`` say which spokes are alike (by number; empty: not known).
    """

    plan: tuple[int, ...]
    needed: int
    place: int = 0
    taken: tuple[Taken, ...] = ()
    accepted: Mapping[int, tuple[Taken, ...]] = field(default_factory=lambda: MappingProxyType({}))
    left: int | None = None  # the spoke accepted last
    left_at_s: float = -1.0
    shown: Shown | None = None
    said: tuple[str, str] = ("", "")
    paused: bool = False
    trouble: str | None = None
    closed: bool | None = None
    ended: bool = False
    taps_s: tuple[float, ...] = ()
    now_s: float = 0.0
    out: tuple[int, ...] = ()
    sides: Mapping[int, str] = field(default_factory=lambda: MappingProxyType({}))

    @property
    def spoke(self) -> int:
        """The spoke that is awaited; after the last one the first, which proves the count."""
        return self.plan[self.place] if self.place < len(self.plan) else self.plan[0]

    @property
    def complete(self) -> bool:
        """Whether every spoke of the plan was accepted or left out."""
        return self.place >= len(self.plan)


def restored(state: Round, accepted: Mapping[int, tuple[Taken, ...]]) -> Round:
    """A round that goes on where it was left: after the spokes that were accepted."""
    if not accepted:
        return state
    last_s, last = max((each.onset_s, spoke) for spoke, taken in accepted.items() for each in taken)
    found = replace(state, accepted=MappingProxyType(dict(accepted)), left=last, left_at_s=last_s + _HEARD_S)
    found = replace(found, place=_next_open(found, state.plan.index(last) + 1))
    if not found.complete and set(state.plan) <= set(accepted):
        found = replace(found, place=len(state.plan))
    proven = found.complete and last == state.plan[0] and len(accepted[last]) > state.needed
    return replace(found, closed=True, ended=True) if proven else found


def heard_again(state: Round, spoke: int, one: Taken) -> Round:
    """A pluck that counts already was heard again: its partials are known anew."""
    taken = tuple(one if each.onset_s == one.onset_s else each for each in state.accepted.get(spoke, ()))
    return replace(state, accepted=MappingProxyType({**state.accepted, spoke: taken})) if taken else state


def agree(one: Lines, other: Lines) -> bool:
    """Whether two plucks sound like one spoke."""
    pair = (one, other)
    prints = Fingerprints([np.array(each.hz) for each in pair], [np.array(each.level_db) for each in pair])
    return float(prints.distance_cents(np.array([0]), np.array([1]))[0]) < AGREE_CENTS


def whose(state: Round, onset_s: float, lines: Lines) -> int:
    """Which spoke a pluck belongs to: the awaited one, or the one just left if it comes late and sounds like it."""
    if state.needed > 1 and state.left is not None and not state.taken and onset_s < state.left_at_s + HOLD_S:
        before = state.accepted.get(state.left, ())
        if any(agree(lines, each.lines) for each in before):
            return state.left
    return state.spoke


def step(state: Round, event: Event) -> tuple[Round, tuple[Effect, ...]]:
    """What an event makes of a round."""
    match event:
        case Plucked():
            return _plucked(replace(state, now_s=max(state.now_s, event.now_s)), event)
        case Refused():
            if state.paused:
                return state, ()
            return replace(state, said=(event.code, event.advice)), ()
        case Knocked():
            return _tapped(state, event)
        case Passed():
            return _passed(replace(state, now_s=max(state.now_s, event.now_s)))
        case Asked():
            return _asked(state, event)
        case Named():
            return _renamed(state, event), ()
        case FoundOut():
            return replace(state, out=event.spokes), ()
        case Microphoned():
            return replace(state, trouble=event.trouble, taken=state.taken), ()


def _plucked(state: Round, event: Plucked) -> tuple[Round, tuple[Effect, ...]]:
    if state.paused or state.ended:
        return state, ()
    spoke = whose(state, event.onset_s, event.lines)
    if not event.final:
        return replace(state, shown=Shown(spoke, event.value, False, event.onset_s)), ()
    shown = Shown(spoke, event.value, True, event.onset_s)
    if event.doubtful:
        said = ("lost", "some of its sound was lost: pluck it again")
        return replace(state, shown=shown, said=said), (Sound("again"),)
    one = Taken(event.onset_s, event.lines, event.value)
    if spoke != state.spoke:
        return _one_more(replace(state, shown=shown), spoke, one)
    if state.complete:
        return _closing(replace(state, shown=shown), one)
    last_s = state.taken[-1].onset_s if state.taken else -1.0
    if one.onset_s - last_s < BOUNCE_S:
        return replace(state, shown=shown), ()
    taken = (*state.taken, one)
    agreeing = _agreeing(taken)
    if len(agreeing) >= state.needed:
        odd = tuple(each for each in taken if each.onset_s < agreeing[0].onset_s)
        if odd and _has_gone_on(state, odd, agreeing):
            return _gone_on(replace(state, shown=shown), odd, agreeing)
        return _accepted(replace(state, shown=shown), agreeing)
    if len(agreeing) == len(taken):
        return replace(state, taken=taken, shown=shown, said=("", "")), ()
    return replace(state, taken=taken, shown=shown, said=_disagreeing(len(taken))), (Sound("again"),)


def _agreeing(taken: tuple[Taken, ...]) -> tuple[Taken, ...]:
    """The largest set of plucks that agree with one of them."""
    sets = [tuple(other for other in taken if agree(other.lines, one.lines)) for one in taken]
    return max(sets, key=len)


def _disagreeing(count: int) -> tuple[str, str]:
    if count >= _MANY:
        return "disagree", f"{count} plucks that do not agree: is something touching this spoke? skip it, or look at it"
    return "disagree", "the plucks do not agree: pluck once more, nearer the rim, and touch nothing"


def _accepted(state: Round, plucks: tuple[Taken, ...]) -> tuple[Round, tuple[Effect, ...]]:
    spoke = state.spoke
    accepted = MappingProxyType({**state.accepted, spoke: plucks})
    place = _next_open(state, state.place + 1)
    found = replace(
        state,
        accepted=accepted,
        place=place,
        taken=(),
        left=spoke,
        left_at_s=state.now_s,
        said=("", ""),
    )
    onsets = tuple(each.onset_s for each in plucks)
    return found, (Accept(spoke, onsets), Sound("done" if found.complete else "next"))


def _has_gone_on(state: Round, odd: tuple[Taken, ...], agreeing: tuple[Taken, ...]) -> bool:
    """Whether plucks that agree, after others that do not, are the following spoke's already."""
    place = state.place + 1
    if place == len(state.plan):
        first = state.accepted.get(state.plan[0], ())
        return any(agree(one.lines, each.lines) for one in agreeing for each in first)
    if not state.sides or state.plan[place] in state.accepted:
        return False
    known: dict[str, list[float]] = {}
    for spoke, taken in state.accepted.items():
        known.setdefault(state.sides[spoke], []).append(taken[-1].value.pitch_hz)
    awaited, following = (Place(spoke, state.sides[spoke]) for spoke in state.plan[state.place : place + 1])
    pitches = [each.value.pitch_hz for each in odd]
    return log_odds_gone_on(awaited, following, pitches, agreeing[-1].value.pitch_hz, known) > 0


def _gone_on(state: Round, odd: tuple[Taken, ...], agreeing: tuple[Taken, ...]) -> tuple[Round, tuple[Effect, ...]]:
    """The awaited spoke keeps what it has, and the following one was plucked."""
    before = state.spoke
    found, (kept, _) = _accepted(state, _agreeing(odd))
    if found.complete:
        found, effects = _closing(found, agreeing[-1])
    else:
        found, effects = _accepted(found, agreeing)
    said = (
        f"spoke {before} was left before its plucks agreed: the next one was heard, and is taken as that; b goes back"
    )
    return replace(found, said=("gone-on", said)), (kept, *effects)


def _next_open(state: Round, place: int) -> int:
    """The next place whose spoke is not yet accepted."""
    while place < len(state.plan) and state.plan[place] in state.accepted:
        place += 1
    return place


def _one_more(state: Round, spoke: int, one: Taken) -> tuple[Round, tuple[Effect, ...]]:
    """A late pluck of the spoke just left counts for it, and keeps the way to it open."""
    plucks = (*state.accepted[spoke], one)
    accepted = MappingProxyType({**state.accepted, spoke: plucks})
    return replace(state, accepted=accepted, left_at_s=max(state.left_at_s, one.onset_s)), (
        Accept(spoke, (one.onset_s,)),
    )


def _closing(state: Round, one: Taken) -> tuple[Round, tuple[Effect, ...]]:
    """The first spoke again after the last one: if it sounds the same, the count is proven."""
    first = state.accepted.get(state.plan[0], ())
    closed = any(agree(one.lines, each.lines) for each in first)
    if not closed:
        said = ("not-closed", "this does not sound like the first spoke: a spoke was left out or plucked twice")
        return replace(state, closed=False, said=said), (Sound("again"),)
    accepted = MappingProxyType({**state.accepted, state.plan[0]: (*first, one)})
    effects = (Accept(state.plan[0], (one.onset_s,)), Sound("done"))
    return replace(state, accepted=accepted, closed=True, ended=True, said=("", "")), effects


def _tapped(state: Round, event: Knocked) -> tuple[Round, tuple[Effect, ...]]:
    """Taps wait for each other; what they mean is told when no more can come."""
    if state.paused or state.ended:
        return state, ()
    last_s = state.taps_s[-1] if state.taps_s else -10.0
    gap_s = event.onset_s - last_s
    if gap_s < _TAPS_S[0]:
        return state, ()
    taps = (*state.taps_s, event.onset_s) if gap_s <= _TAPS_S[1] else (event.onset_s,)
    return replace(state, taps_s=taps), ()


def _passed(state: Round) -> tuple[Round, tuple[Effect, ...]]:
    """Two taps go on, three go back; taps before the first pluck open the round."""
    if not state.taps_s or state.now_s - state.taps_s[-1] < _TAPS_DONE_S:
        return state, ()
    count, state = len(state.taps_s), replace(state, taps_s=())
    if not state.accepted and not state.taken:
        return state, ()
    if count == 2:
        return _asked(state, Asked("skip"))
    return _asked(state, Asked("back")) if count == 3 else (state, ())


def _asked(state: Round, event: Asked) -> tuple[Round, tuple[Effect, ...]]:
    match event.action:
        case "quit":
            return replace(state, ended=True), ()
        case "pause":
            return replace(state, paused=not state.paused, taken=()), ()
        case "note":
            return replace(state, said=("noted", f"noted: {event.text}")), (Note(state.spoke, event.text),)
        case "skip":
            place = min(state.place + 1, len(state.plan))
            return replace(state, place=place, taken=(), left=None, said=("", "")), (Sound("next"),)
        case "back":
            return _at(state, max(state.place - 1, 0))
        case "redo":
            return _redo(state)
        case "jump":
            if event.spoke not in state.plan:
                return replace(state, said=("no-spoke", f"{event.spoke} is no spoke of this round")), ()
            return _at(state, state.plan.index(event.spoke))
        case "out":
            if not state.out:
                return replace(state, said=("none-out", "no spoke is known to be out of its limits")), ()
            return _at(replace(state, plan=state.out, closed=None), 0)


def _redo(state: Round) -> tuple[Round, tuple[Effect, ...]]:
    """The awaited spoke from its first pluck; if it has none yet, the one before it."""
    if state.taken or state.place == 0:
        return replace(state, taken=(), shown=None, said=("", "")), ()
    return _at(state, state.place - 1)


def _at(state: Round, place: int) -> tuple[Round, tuple[Effect, ...]]:
    """Go to a place; what was accepted there no longer counts."""
    spoke = state.plan[place]
    effects: tuple[Effect, ...] = (Withdraw(spoke),) if spoke in state.accepted else ()
    accepted = MappingProxyType({number: each for number, each in state.accepted.items() if number != spoke})
    return replace(state, place=place, taken=(), left=None, accepted=accepted, ended=False, said=("", "")), effects


def _renamed(state: Round, event: Named) -> Round:
    """Take over the names the whole round gives, and go on after the last of them."""
    known = {each.onset_s: each for plucks in state.accepted.values() for each in plucks}
    accepted: dict[int, tuple[Taken, ...]] = {}
    for onset_s, one in sorted(known.items()):
        spoke = event.spokes.get(onset_s)
        spoke = spoke if spoke is not None else _spoke_before(state, onset_s)
        if spoke is not None and spoke in state.plan:
            accepted[spoke] = (*accepted.get(spoke, ()), one)
    if not accepted:
        return state
    last = max(accepted, key=lambda spoke: accepted[spoke][-1].onset_s)
    return replace(state, accepted=MappingProxyType(accepted), place=state.plan.index(last) + 1)


def _spoke_before(state: Round, onset_s: float) -> int | None:
    """Whose a pluck was before it was named anew."""
    return next(
        (spoke for spoke, plucks in state.accepted.items() if any(each.onset_s == onset_s for each in plucks)), None
    )
