"""What a round says of which pluck is which: evidence for the chain. Imports chain, fingerprint, struck, sidegroups.

Three kinds of evidence, each weighed against what any other sound would give: how alike two successive plucks sound, against
how alike plucks of different spokes sound *in this take* - on an even wheel both are the same, the evidence is nil, and doubt
appears by itself; the pitch of the side, wide enough for a slack spoke; the rhythm of the hand.
"""

from __future__ import annotations

import itertools
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from .chain import AGAIN, ANYWHERE, CLOSE, LEAP, NEVER, ON, SKIP_ONE, SKIP_THREE, SKIP_TWO, WAYS, Chain
from .fingerprint import log_other_density, log_same_density
from .roundplan import RoundPlan
from .sidegroups import Groups, log_places, normal, of_higher
from .struck import CLEAR, Struck, log_pitches, prints_of

Array = NDArray[np.float64]
Indices = NDArray[np.intp]

_SUREST = 0.999  # no candidate is surer than this to be a pluck: what tells knocks and voices from plucks errs too
_STRAY_COST = 22.0  # candidates are not looked at together if passing over all between them costs more (in ln)


@dataclass(frozen=True, slots=True)
class Hand:
    """How often a hand plucks a spoke again, leaves one out, and stops early; whoever is tidy in one is so in the others."""

    again: float
    skip: float
    stop: float


#: Guesses: what people do, and what onset detection loses; each is as probable as the others until the take is heard.
_HANDS = (Hand(0.006, 1e-3, 1e-3), Hand(0.03, 3e-3, 2e-3), Hand(0.08, 3e-3, 4e-3))
_NEXT_SKIP, _LEAP, _ASKED = 0.2, 1e-8, 1e-14
_GIVEN_UP = 1e-4  # a round broken off at any spoke
_LATE_START = 0.1  # a round is begun where it was said to begin more surely than it is gone through
_CLOSING = 0.1
_MAYBE_FIRST = 0.1  # probability from which a candidate before the first clear pluck may be the first

#: Fall of the old lines in the tenth of a second before a pluck, dB (middle, sd): of rings left alone, most and the rest,
#: and of rings that a finger stopped; seen in 1733 simulated plucks. How often a finger stops the ring before it plucks the
#: same spoke again, and before it plucks another.
_LEFT_FALL, _LEFT_FALL_REST, _REST_SHARE, _STOPPED_FALL = (2.5, 2.2), (5.0, 5.0), 0.12, (10.5, 4.5)
_STOPPED_AGAIN, _STOPPED_OTHER = 0.5, 0.01

#: Two knocks open a round: how often, how far apart they are, and how long before the first pluck; share of candidates
#: that are no plucks.
_CUES, CUE_APART_S, CUE_BEFORE_S, _STRAYS = 0.15, (0.12, 0.75), (0.3, 3.0), 0.15

_SHORT_S, _SHORT_POOR = 0.25, 0.5

_TOLD_APART_CENTS, _MOST, _FEW = 6.0, 0.5, 4  # repeats are rarely farther apart

#: How many candidates sing within a few percent of other spokes: of plucks, and of what was taken for one; the sd of that,
#: and how wide all others spread, in ln f.
_SINGS_ALIKE, _STRAY_SINGS_ALIKE, _PITCH_SD, _ANY_PITCH, _FEWEST_PITCHES = 0.97, 0.6, 0.02, 2.0, 6

_FEWEST_GAPS, _GAP_SD = 5, (0.15, 0.5)  # of ln gap
_OFF_BEAT, _ANY_GAP = 0.15, 1 / 3.0  # share of steps off the beat, density of ln gap of whatever
_SOONEST_S, _TOO_SOON = 0.3, 0.03  # no hand is at the next spoke sooner; if it seems so, onsets were misjudged
_QUICK_S, _QUICK_SHARE = (0.05, 0.3), 0.4  # a slip is plucked again at once
_PAUSE_SHARE = 0.5  # of spokes left out that cost the hand, or the ear, their time


@dataclass(frozen=True, slots=True, eq=False)
class Pairs:
    """Pairs of candidates that may follow each other: ``first`` and ``second``, shapes (pairs,), and ``reach`` of each."""

    first: Indices
    second: Indices
    reach: Indices


def chain_of(
    struck: Sequence[Struck], plan: RoundPlan, fixed: Mapping[int, int], cued: NDArray[np.bool_], groups: Groups | None
) -> Chain:
    """Everything known of a round.

    Parameters
    ----------
    struck : sequence of Struck
        Candidates in order of time.
    plan : RoundPlan
    fixed : mapping of int to int
        Candidate (from 0) to column of its spoke (from 1).
    cued : ndarray of bool, shape (candidates,)
        Whether two sounds come before each candidate as a cue does (``cues``).
    groups : Groups or None
        Where the sides sing, if they do not sing alike.
    """
    count = len(struck)
    chance = np.clip([each.probability for each in struck], 1e-4, _SUREST)
    pluck, stray = np.log(chance), np.log(1 - chance)
    for index in fixed:
        pluck[index], stray[index] = 0.0, NEVER
    clear = np.flatnonzero(chance > CLEAR)
    pitch = log_pitches(struck)
    pluck += np.where([index in fixed for index in range(count)], 0.0, _as_the_others(pitch, clear))
    pairs = _pairs(stray)
    evidence = _between(struck, pairs, clear, of_higher(pitch, groups))
    evidence[CLOSE] += _like_first(struck, clear)
    evidence[:, 0] += np.log(1 - _CUES + np.where(cued, _CUES / _STRAYS**2, 0.0))
    sides, side_prior = log_places(pitch, plan, groups)
    hands = [_priors(hand, count) for hand in _HANDS]
    place = _held(sides, fixed)
    way = np.stack([evidence + prior for prior in hands])
    way[:, ANYWHERE] = NEVER
    for index in fixed:
        way[:, ANYWHERE, :, index] = np.log(_ASKED)
    end = np.stack([_ending(hand, len(plan.spokes)) for hand in _HANDS])
    return Chain(
        reach=pairs.reach,
        way=np.repeat(way, len(place), axis=0),
        place=np.tile(place, (len(_HANDS), 1, 1)),
        pluck=pluck,
        stray=stray,
        end=np.repeat(end, len(place), axis=0),
        prior=np.tile(np.log(side_prior), len(_HANDS)),
    )


def telling(struck: Sequence[Struck], plan: RoundPlan, groups: Groups | None) -> bool:
    """Whether the sound of this take tells a repeat from the next spoke; yes while few are heard.

    It does if the sides are told by pitch and take turns, or if most spokes are told from others of about their pitch.
    """
    clear = np.flatnonzero([each.probability > CLEAR for each in struck])
    pitch = log_pitches(struck)
    turns = [one != other for one, other in itertools.pairwise(plan.sides)]
    if groups is not None and sum(turns) > _MOST * len(turns):
        return True
    apart, one_group = _apart(struck, clear, of_higher(pitch, groups))
    near = apart[one_group]
    return len(near) < _FEW or float(np.mean(near > _TOLD_APART_CENTS)) > _MOST


def _pairs(stray: Array) -> Pairs:
    """Pairs with not too much between them to be all strays; nodes count from 1, node 0 is before the first."""
    passed = np.concatenate([[0.0], np.cumsum(np.maximum(stray, -2 * _STRAY_COST))])
    earliest = [int(np.searchsorted(-passed[: j + 1], -passed[j] - _STRAY_COST)) for j in range(len(stray))]
    reach = np.array(earliest, np.intp)
    found = [(node - 1, j) for j, start in enumerate(reach) for node in range(max(int(start), 1), j + 1)]
    both = np.array(found, np.intp).reshape(-1, 2)
    return Pairs(both[:, 0], both[:, 1], reach)


def _priors(hand: Hand, count: int) -> Array:
    """ln prior of each way, shape (ways, nodes, candidates)."""
    found = np.full((WAYS, count + 1, count), np.log(_LEAP))
    found[AGAIN] = np.log(hand.again)
    found[ON] = np.log(1 - hand.again - hand.skip)
    for power, way in enumerate((SKIP_ONE, SKIP_TWO, SKIP_THREE)):
        found[way] = np.log(hand.skip) + power * np.log(_NEXT_SKIP)
        found[way, 0] += np.log(_LATE_START)
    found[CLOSE] = np.log(_CLOSING)
    return found


def _ending(hand: Hand, spokes: int) -> Array:
    """ln probability of ending in each column: at the last spoke, a few before it, or given up anywhere."""
    missing = np.maximum(spokes - np.arange(spokes + 2), 0)
    short = np.log(hand.stop * _NEXT_SKIP ** (missing - 1.0) + _GIVEN_UP)
    return np.where(missing > 0, short, 0.0)


def _as_the_others(pitch: Array, clear: Indices) -> Array:
    """ln of how much likelier each candidate's pitch is if it is a pluck: most spokes of a wheel sing about as others do."""
    others = pitch[clear][np.isfinite(pitch[clear])]
    if len(others) < _FEWEST_PITCHES:
        return np.zeros(len(pitch))
    near = np.mean(normal(pitch[:, None] - others, _PITCH_SD), axis=1)
    pluck, stray = (share * near + (1 - share) / _ANY_PITCH for share in (_SINGS_ALIKE, _STRAY_SINGS_ALIKE))
    return np.where(np.isfinite(pitch), np.log(pluck / stray), 0.0)


def _held(sides: Array, fixed: Mapping[int, int]) -> Array:
    """Places with the fixed candidates at theirs and nowhere else."""
    found = sides.copy()
    for index, column in fixed.items():
        found[:, index] = NEVER
        found[:, index, column] = 0.0
    return found


def _between(struck: Sequence[Struck], pairs: Pairs, clear: Indices, higher: NDArray[np.bool_]) -> Array:
    """ln evidence of each way between each node and candidate, against no connection; shape (ways, nodes, candidates)."""
    count = len(struck)
    found = np.zeros((WAYS, count + 1, count))
    if len(pairs.first) == 0:
        return found
    fall = np.array([each.fall_db for each in struck])[pairs.second]
    alike = _alike(struck, pairs, clear, higher) + _log_stopped(fall)
    on, again, left_out = _rhythm(struck, pairs, clear)
    steps = {AGAIN: alike + again, ON: on, SKIP_ONE: left_out[0], SKIP_TWO: left_out[1], SKIP_THREE: left_out[2]}
    for way, value in (steps | {LEAP: on, CLOSE: on}).items():
        found[way, pairs.first + 1, pairs.second] = value
    return found


def _log_stopped(fall_db: Array) -> Array:
    """ln of how much likelier a fall of the old ring is before the same spoke is plucked again than before another."""
    left = (1 - _REST_SHARE) * normal(fall_db - _LEFT_FALL[0], _LEFT_FALL[1]) + _REST_SHARE * normal(
        fall_db - _LEFT_FALL_REST[0], _LEFT_FALL_REST[1]
    )
    stopped = normal(np.minimum(fall_db - _STOPPED_FALL[0], 0.0), _STOPPED_FALL[1])
    again, other = (share * stopped + (1 - share) * left for share in (_STOPPED_AGAIN, _STOPPED_OTHER))
    return np.asarray(np.log(again / other))


def cues(struck: Sequence[Struck]) -> NDArray[np.bool_]:
    """Whether two sounds come before each candidate as two knocks come before a round's first pluck, shape (candidates,)."""
    onset = np.array([each.onset_s for each in struck])
    found = np.zeros(len(struck), bool)
    for index, at in enumerate(onset):
        start, stop = np.searchsorted(onset, [at - CUE_BEFORE_S[1], at - CUE_BEFORE_S[0]])
        apart = onset[start:stop] - onset[start:stop, None]
        found[index] = np.any((apart > CUE_APART_S[0]) & (apart < CUE_APART_S[1]))
    return found


def _alike(struck: Sequence[Struck], pairs: Pairs, clear: Indices, higher: NDArray[np.bool_]) -> Array:
    """ln of how much likelier each pair's likeness is if it is one spoke, against two of pitches as far apart as theirs.

    What others are like is seen in plucks two to five apart: of the same group of pitch for pairs of one group, else of two.
    """
    prints = prints_of(struck)
    apart, one_group = _apart(struck, clear, higher)
    distance = prints.distance_cents(pairs.first, pairs.second)
    near = log_other_density(distance, apart[one_group])
    far = log_other_density(distance, apart[~one_group])
    other = np.where(higher[pairs.first] == higher[pairs.second], near, far)
    return np.asarray(log_same_density(distance, _poor(struck, pairs)) - other)


def _apart(struck: Sequence[Struck], clear: Indices, higher: NDArray[np.bool_]) -> tuple[Array, NDArray[np.bool_]]:
    """Distances of clear plucks two to five apart, most probably of different spokes, and whether of one group of pitch."""
    first = np.concatenate([clear[:-gap] for gap in (2, 3, 4, 5)])
    second = np.concatenate([clear[gap:] for gap in (2, 3, 4, 5)])
    return prints_of(struck).distance_cents(first, second), higher[first] == higher[second]


def _poor(struck: Sequence[Struck], pairs: Pairs) -> Array:
    """How probably one of a pair was poorly heard: hardly a pluck at all, or with a ring soon cut short by the next."""
    onset = np.array([each.onset_s for each in struck])
    chance = np.array([each.probability for each in struck])
    likely = np.flatnonzero(chance > CLEAR / 2)
    after = np.searchsorted(likely, np.arange(len(struck)), side="right")
    following = np.append(onset[likely], np.inf)[after]
    good = np.clip(chance, 0, 1) * np.where(following - onset < _SHORT_S, 1 - _SHORT_POOR, 1.0)
    return np.asarray(1 - good[pairs.first] * good[pairs.second])


def _rhythm(struck: Sequence[Struck], pairs: Pairs, clear: Indices) -> tuple[Array, Array, list[Array]]:
    """ln evidence of each pair's gap for going on, for a repeat, and for one, two or three spokes left out, against any gap.

    Steps have a log-normal gap learnt from the take. A spoke left out takes no time where there is none, and its own time
    where it was plucked and not heard; a repeat comes at once, or on the beat.
    """
    onset = np.array([each.onset_s for each in struck])
    gaps = np.log(np.maximum(np.diff(onset[clear]), 1e-3))
    if len(gaps) < _FEWEST_GAPS:
        nothing = np.zeros(len(pairs.first))
        return nothing, nothing, [nothing] * 3
    middle = float(np.median(gaps))
    sd = float(np.clip(1.4826 * np.median(np.abs(gaps - middle)), *_GAP_SD))
    gap = np.log(np.maximum(onset[pairs.second] - onset[pairs.first], 1e-3))

    soon = np.where(np.exp(gap) < _SOONEST_S, _TOO_SOON, 1.0)

    def beat(beats: int) -> Array:
        off = gap - middle - np.log(beats)
        return np.asarray(((1 - _OFF_BEAT) * normal(off, sd) / _ANY_GAP + _OFF_BEAT) * soon)

    low, high = np.log(_QUICK_S)
    quick = np.where((gap > low) & (gap < high), 1 / (high - low) / _ANY_GAP, 0.0)
    again = _QUICK_SHARE * quick + (1 - _QUICK_SHARE) * beat(1)
    left_out = [np.log(_PAUSE_SHARE * beat(1 + skipped) + (1 - _PAUSE_SHARE) * beat(1)) for skipped in (1, 2, 3)]
    return np.log(beat(1)), np.log(again), left_out


def _like_first(struck: Sequence[Struck], clear: Indices) -> Array:
    """ln of how much likelier each candidate's likeness to the round's first pluck is if it is the same spoke.

    The first pluck is the first clear one, or a weak one before it, each as far as it is a pluck.
    """
    found = np.zeros(len(struck))
    if len(clear) < 2:
        return found
    prints = prints_of(struck)
    firsts = [index for index in range(clear[0] + 1) if struck[index].probability > _MAYBE_FIRST]
    weight = np.array([struck[index].probability for index in firsts])
    later = np.arange(clear[0] + 1, len(struck))
    ratio = np.zeros(len(later))
    for share, first in zip(weight / weight.sum(), firsts, strict=True):
        start = np.full(len(later), first)
        distance = prints.distance_cents(start, later)
        others = prints.distance_cents(np.full(max(len(clear) - 2, 0), first), clear[1:-1])
        same = log_same_density(distance, _poor(struck, Pairs(start, later, later)))
        ratio += share * np.exp(same - log_other_density(distance, others))
    found[later] = np.log(ratio)
    return found
