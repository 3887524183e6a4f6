"""Which pluck is which spoke, by position in the round; pitch is evidence only. Imports evidence, sidegroups, struck.

A hidden Markov model over positions. From one pluck to the next the hand goes on to the next spoke, stays (a repeat), or
leaves spokes out; a candidate may be no pluck at all. Several views of the whole round - a tidy or an untidy hand, either side
being the higher - stand side by side, and what the take says decides between them. Forward-backward gives the probability of
every label.
"""

from __future__ import annotations

import itertools
from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from tensionear.errors import UsageError

from .evidence import chain_of, cues, telling
from .roundplan import RoundPlan
from .sidegroups import Groups, groups_by_place, groups_of
from .struck import CLEAR, Struck

__all__ = ["Candidate", "Naming", "Struck", "name_plucks"]

Array = NDArray[np.float64]

SURE, SURE_PLUCK = 0.95, 0.8
_PASSES = 2  # of naming, each with the pitches of the sides as the one before it found them
_SURE_BY_COUNT = 0.99  # where spokes all sound alike and only the count speaks
_FAINTEST = 0.03  # candidates less probable than this are not looked at
_WORTH_TELLING = 1e-3
#: More candidates than this are no round: so many a spoke, and so many besides.
_MOST_A_SPOKE, _MOST_BESIDES = 6, 60


@dataclass(frozen=True, slots=True)
class Candidate:
    """A pluck that may be a spoke's: how probably it is, and how probably it is the first of that spoke's plucks."""

    index: int
    probability: float
    first: float


@dataclass(frozen=True, slots=True)
class Naming:
    """Which candidate is which spoke.

    ``spokes``, ``probability`` and ``sure`` have one entry a candidate (None: no pluck). ``candidates`` gives for each spoke
    the candidates it may be. ``closed``: the first spoke was plucked again at the end; ``cue``: two
    rim knocks came first. ``warnings`` are sentences.
    """

    spokes: tuple[int | None, ...]
    probability: tuple[float, ...]
    sure: tuple[bool, ...]
    candidates: Mapping[int, tuple[Candidate, ...]]
    closed: bool
    cue: bool
    warnings: tuple[str, ...]


def name_plucks(struck: Sequence[Struck], plan: RoundPlan, assign: Mapping[int, int], skip: Collection[int]) -> Naming:
    """Name the candidates of a round.

    Parameters
    ----------
    struck : sequence of Struck
        In order of time.
    plan : RoundPlan
    assign : mapping of int to int
        Candidate (from 1) to spoke, certain.
    skip : collection of int
        Candidates (from 1) that are none.

    Raises
    ------
    UsageError
        If a spoke is assigned that is not in the plan.
    """
    for number, spoke in assign.items():
        if spoke not in plan.spokes:
            raise UsageError(f"--assign {number}={spoke}: spoke {spoke} is not plucked in this round; check the number")
    kept = [
        index
        for index, each in enumerate(struck)
        if index + 1 not in skip and (each.probability >= _FAINTEST or index + 1 in assign)
    ]
    if len(kept) > _MOST_A_SPOKE * len(plan.spokes) + _MOST_BESIDES:
        return _too_many(len(struck), len(kept), len(plan.spokes))
    cued = cues(struck)
    fixed = {kept.index(n - 1): plan.spokes.index(spoke) + 1 for n, spoke in assign.items() if n - 1 in kept}
    looked_at = [struck[index] for index in kept]
    groups = groups_of(looked_at)
    at, first = chain_of(looked_at, plan, fixed, cued[kept], groups).posterior()
    for _ in range(_PASSES):
        groups = groups_by_place(looked_at, plan, at[:, :-1]) or groups
        at, first = chain_of(looked_at, plan, fixed, cued[kept], groups).posterior()
    return _named(struck, plan, kept, at, first, cued, set(assign), _needed(looked_at, plan, groups))


def _too_many(struck: int, kept: int, spokes: int) -> Naming:
    """No names for a recording that holds far more plucks than one round can."""
    text = f"{kept} plucks for {spokes} spokes: this is more than one round; cut the recording into its rounds"
    return Naming((None,) * struck, (0.0,) * struck, (False,) * struck, {}, False, False, (text,))


def _needed(struck: Sequence[Struck], plan: RoundPlan, groups: Groups | None) -> float:
    """How probable a label must be to be sure: where spokes sound alike nothing is, unless the count comes out."""
    if telling(struck, plan, groups):
        return SURE
    return _SURE_BY_COUNT if sum(each.probability > CLEAR for each in struck) == len(plan.spokes) else 1.0


def _named(
    struck: Sequence[Struck],
    plan: RoundPlan,
    kept: Sequence[int],
    at: Array,
    first: Array,
    cued: NDArray[np.bool_],
    fixed: set[int],
    needed: float,
) -> Naming:
    """Labels from the posterior (kept candidates, positions and the closing pluck)."""
    count = len(plan.spokes)
    spokes: list[int | None] = [None] * len(struck)
    probability, sure = [0.0] * len(struck), [False] * len(struck)
    candidates: dict[int, list[Candidate]] = {spoke: [] for spoke in plan.spokes}
    by_spoke = at[:, :count].copy()
    by_spoke[:, 0] += at[:, count]
    for row, firsts, index in zip(by_spoke, first, kept, strict=True):
        best = int(np.argmax(row))
        for position in np.flatnonzero(row > _WORTH_TELLING):
            chance = Candidate(index, float(row[position]), float(firsts[position]))
            candidates[plan.spokes[position]].append(chance)
        plucked = float(row.sum())
        if plucked > CLEAR:
            spokes[index], probability[index] = plan.spokes[best], float(min(row[best], 1.0))
            likely = struck[index].probability > CLEAR and plucked > SURE_PLUCK
            sure[index] = bool(likely and row[best] > needed * plucked) or index + 1 in fixed
    found = {spoke: tuple(each) for spoke, each in candidates.items() if each}
    closed = bool(np.any(at[:, count] > SURE))
    start = next((index for index, spoke in enumerate(spokes) if spoke is not None), None)
    cue = start is not None and bool(cued[start])
    return Naming(
        tuple(spokes), tuple(probability), tuple(sure), found, closed, cue, _warnings(struck, plan, spokes, sure)
    )


def _warnings(
    struck: Sequence[Struck], plan: RoundPlan, spokes: Sequence[int | None], sure: Sequence[bool]
) -> tuple[str, ...]:
    """What does not come out, and where to look."""
    plucked = [index for index, spoke in enumerate(spokes) if spoke is not None]
    if not plucked:
        return ()
    doubtful = [index for index in plucked if not sure[index]]
    unread = [spoke for spoke in plan.spokes if spoke not in {spokes[index] for index in plucked}]
    found = []
    if unread:
        where = _longest_gap(struck, spokes, plucked, set(doubtful)) if doubtful else _without_pluck(unread)
        found.append(f"{len(plan.spokes) - len(unread)} spokes plucked for {len(plan.spokes)}: {where}")
    if doubtful:
        certain = len(plucked) - len(doubtful)
        first, last = spokes[doubtful[0]], spokes[doubtful[-1]]
        span = f"spoke {first}" if first == last else f"spokes {first} to {last}"
        found.append(
            f"{certain} of {len(plucked)} labels are sure; {span}: which pluck is which is in doubt "
            "(--assign, --skip or --missing put it right)"
        )
    return tuple(found)


def _longest_gap(
    struck: Sequence[Struck], spokes: Sequence[int | None], plucked: Sequence[int], doubtful: set[int]
) -> str:
    """Where a pluck was most probably missed: in the longest pause beside a doubtful pluck."""
    steps = [(a, b) for a, b in itertools.pairwise(plucked) if a in doubtful or b in doubtful]
    if not steps:
        return "the only pluck is in doubt"
    before, _ = max(steps, key=lambda step: struck[step[1]].onset_s - struck[step[0]].onset_s)
    return f"the longest gap is after spoke {spokes[before]}"


def _without_pluck(unread: Sequence[int]) -> str:
    """Spokes without a pluck, in words."""
    numbers = ", ".join(str(spoke) for spoke in unread[:-1])
    return f"no pluck of spoke {unread[0]}" if len(unread) == 1 else f"no pluck of spokes {numbers} and {unread[-1]}"
