"""Which pluck is which spoke, by position in the round; pitch is evidence only. Imports fingerprint, roundplan, errors.

A hidden Markov model over positions. From one pluck to the next the hand goes on to the next spoke, stays (a repeat), or
leaves spokes out; a candidate may be no pluck at all. Evidence: how alike two successive plucks sound, against how alike
plucks of different spokes sound *in this take* - on an even wheel both are the same, the evidence is nil, and doubt appears by
itself; the side's pitch, wide enough for a slack spoke; the rhythm. Forward-backward gives the probability of every label.
"""

from __future__ import annotations

import itertools
from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from tensionear.errors import UsageError

from .fingerprint import distance_cents, log_other_density, log_same_density
from .roundplan import RoundPlan

Array = NDArray[np.float64]

SURE = 0.95
_FAINTEST = 0.02  # candidates less probable than this are not looked at
_CLEAR = 0.5
_ADVANCE, _REPEAT = 0.93, 0.06
_SKIPS, _SKIPS_COUNT_SHORT = (1e-4, 2e-5, 5e-6), (8e-3, 1.5e-3, 3e-4)  # one, two, three spokes left out
_TAIL, _TAIL_NEXT = 1e-4, 0.05
_QUICK_S, _QUICK_FACTOR, _STOPPED_FACTOR = 0.3, 25.0, 4.0
_SIDE_OUTLIER, _SIDE_WIDEST = 0.07, 1.5  # share and width (of ln f) of the uniform part of a side's pitch
_GROUPS_APART = 2.2  # widths between the middles from which two sides are told by pitch
_CLOSING_CUED, _CLOSING = 0.5, 0.1
_GAP_SD, _OFF_BEAT = (0.15, 0.5), 0.01  # of ln gap; how likely a step off the beat is at the least
_CUE_S, _CUE_BEFORE_S, _CUE_PERSIST_DB = (0.12, 0.75), 3.0, -11.0
_IMPOSSIBLE = -1e9


@dataclass(frozen=True, slots=True, eq=False)
class Struck:
    """One candidate: when, how probably a pluck, its lines, first mode, level, and whether the ring before it was stopped."""

    onset_s: float
    probability: float
    line_hz: Array
    line_level_db: Array
    pitch_hz: float | None
    level_db: float
    damped_before: bool
    persist_db: float | None


@dataclass(frozen=True, slots=True)
class Naming:
    """Which candidate is which spoke.

    ``spokes``, ``probability`` and ``sure`` have one entry a candidate (None: no pluck). ``candidates`` gives for each spoke
    the candidates it may be, with probabilities. ``closed``: the first spoke was plucked again at the end; ``cue``: two
    rim knocks came first. ``warnings`` are sentences.
    """

    spokes: tuple[int | None, ...]
    probability: tuple[float, ...]
    sure: tuple[bool, ...]
    candidates: Mapping[int, tuple[tuple[int, float], ...]]
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
    cue = _has_cue(struck)
    chain = _Chain(
        [struck[index] for index in kept], plan, {kept.index(n - 1): s for n, s in assign.items() if n - 1 in kept}, cue
    )
    posterior = chain.posterior()
    return _named(struck, plan, kept, posterior, cue, set(assign))


class _Chain:
    """Forward-backward over the kept candidates; position ``count`` of the plan is the first spoke plucked again."""

    def __init__(self, struck: Sequence[Struck], plan: RoundPlan, fixed: Mapping[int, int], cue: bool) -> None:
        self._struck, self._plan, self._fixed = struck, plan, fixed
        self._count = len(plan.spokes)
        self._clear = [index for index, each in enumerate(struck) if each.probability > _CLEAR]
        self._cue = cue
        self._closes = cue or len(self._clear) > self._count
        self._short = len(self._clear) < self._count
        clear = self._clear
        apart = [
            self._distance(clear[a], clear[a + gap]) for gap in (2, 3, 4, 5) for a in range(max(0, len(clear) - gap))
        ]
        self._apart = np.array(apart)
        self._same, self._other = self._likeness()
        self._rhythm = self._rhythm_evidence()

    def posterior(self) -> Array:
        """Probability of each candidate (rows) to be at each position (columns; the last two: closing pluck, no pluck)."""
        runs = [self._run(evidence) for evidence in self._side_evidence()]
        return max(runs, key=lambda run: run[1])[0]

    def _likeness(self) -> tuple[Array, Array]:
        """ln density of the likeness to the clear pluck before, if it was the same spoke and if it was another."""
        clear = self._clear
        distances = np.full(len(self._struck), np.nan)
        for index in range(len(self._struck)):
            before = [other for other in clear if other < index]
            if before:
                distances[index] = self._distance(before[-1], index)
        known = np.isfinite(distances)
        same, other = np.zeros(len(distances)), np.zeros(len(distances))
        if known.any():
            same[known] = log_same_density(distances[known])
            other[known] = log_other_density(distances[known], self._apart)
        return same, other

    def _rhythm_evidence(self) -> Array:
        """ln likelihood of each candidate's gap to the clear pluck before, as a step of the hand, relative to any time.

        Steps have a log-normal gap learnt from the take; one that comes much too early is hardly a step.
        """
        onset = np.array([each.onset_s for each in self._struck])
        gaps = np.diff(onset[self._clear])
        evidence = np.zeros(len(onset))
        if len(gaps) < 4:
            return evidence
        middle = float(np.median(np.log(gaps)))
        sd = float(np.clip(1.4826 * np.median(np.abs(np.log(gaps) - middle)), *_GAP_SD))
        for index in range(len(onset)):
            before = [other for other in self._clear if other < index]
            if before:
                early = (np.log(max(onset[index] - onset[before[-1]], 1e-3)) - middle) / sd
                evidence[index] = max(-0.5 * min(early, 0.0) ** 2, np.log(_OFF_BEAT))
        return evidence

    def _distance(self, first: int, second: int) -> float:
        one, other = self._struck[first], self._struck[second]
        return distance_cents(one.line_hz, one.line_level_db, other.line_hz, other.line_level_db)

    def _side_evidence(self) -> list[Array]:
        """ln likelihood of each candidate's pitch at each position, for either side being the higher one.

        Sides are told apart only if their pitches form two groups; the wide part leaves room for a slack spoke.
        """
        nothing = np.zeros((len(self._struck), self._count + 1))
        pitch = np.array([np.log(each.pitch_hz) if each.pitch_hz else np.nan for each in self._struck])
        groups = _two_groups(pitch[self._clear])
        if groups is None:
            return [nothing]
        middles, sd = groups
        spokes = (*self._plan.spokes, self._plan.spokes[0])
        sides = (*self._plan.sides, self._plan.sides[0])
        first = np.array([side == "R" if side else spoke % 2 == 1 for spoke, side in zip(spokes, sides, strict=True)])
        found = []
        for right, left in (middles, middles[::-1]):
            evidence = nothing.copy()
            for middle, members in ((right, first), (left, ~first)):
                near = np.exp(-0.5 * ((pitch - middle) / sd) ** 2) / (sd * np.sqrt(2 * np.pi))
                value = np.log((1 - _SIDE_OUTLIER) * near + _SIDE_OUTLIER / _SIDE_WIDEST)
                evidence[:, members] = np.where(np.isfinite(value), value, 0.0)[:, None]
            found.append(evidence)
        return found

    def _run(self, evidence: Array) -> tuple[Array, float]:
        """Posterior as in ``posterior`` under this evidence, and its total ln likelihood."""
        count, steps = self._count, len(self._struck)
        size = count + 2  # before the first; the plan; the closing pluck
        forward = np.full((steps + 1, size), _IMPOSSIBLE)
        forward[0, 0] = 0.0
        moves = [self._moves(index, evidence[index]) for index in range(steps)]
        for index, (stay, move) in enumerate(moves):
            come = np.logaddexp.reduce(forward[index][:, None] + move, axis=0)
            forward[index + 1] = np.logaddexp(come, forward[index] + stay)
        backward = np.full((steps + 1, size), _IMPOSSIBLE)
        backward[steps] = self._ending()
        for index in range(steps - 1, -1, -1):
            stay, move = moves[index]
            go = np.logaddexp.reduce(move + backward[index + 1][None, :], axis=1)
            backward[index] = np.logaddexp(go, stay + backward[index + 1])
        total = np.logaddexp.reduce(forward[steps] + backward[steps])
        result = np.zeros((steps, count + 2))
        for index, (stay, move) in enumerate(moves):
            joint = forward[index][:, None] + move + backward[index + 1][None, :] - total
            result[index, : count + 1] = np.exp(np.logaddexp.reduce(joint, axis=0))[1:]
            result[index, count + 1] = float(
                np.exp(np.logaddexp.reduce(forward[index] + stay + backward[index + 1] - total))
            )
        return result, float(total)

    def _moves(self, index: int, evidence: Array) -> tuple[float, Array]:
        """ln probability of being no pluck, and of moving from each position to each other one with this candidate."""
        struck, count = self._struck[index], self._count
        size = count + 2
        chance = min(max(struck.probability, 1e-4), 0.9999)
        ahead = np.full((size, size), _IMPOSSIBLE)
        row, column = np.indices((size, size))
        step = column - row
        skips = _SKIPS_COUNT_SHORT if self._short else _SKIPS
        for length, prior in ((1, _ADVANCE), *((2 + each, prior) for each, prior in enumerate(skips))):
            ahead[step == length] = np.log(prior) + self._other[index] + self._rhythm[index]
        again = self._repeat_factor(index)
        ahead[(step == 0) & (row > 0)] = np.log(_REPEAT * again) + self._same[index]
        ahead[:, 1:] += evidence
        ahead[:, 0] = _IMPOSSIBLE
        ahead[:, size - 1] = _IMPOSSIBLE
        if self._closes and self._clear and index == self._clear[-1]:
            ahead[size - 2, size - 1] = (
                np.log(_CLOSING_CUED if self._cue else _CLOSING)
                + self._like_first(index)
                + self._other[index]
                + evidence[-1]
            )
        stay = float(np.log(1 - chance))
        if index in self._fixed:
            spoke = self._plan.spokes.index(self._fixed[index])
            ahead[:, np.arange(size) != spoke + 1] = _IMPOSSIBLE
            ahead[: spoke + 2, spoke + 1] = np.maximum(ahead[: spoke + 2, spoke + 1], -40.0)
            stay = _IMPOSSIBLE
        return stay, ahead + float(np.log(chance))

    def _like_first(self, index: int) -> float:
        """ln of how much likelier a candidate's likeness to the first pluck is if it is the same spoke."""
        if not self._clear or index == self._clear[0]:
            return 0.0
        distance = np.array([self._distance(self._clear[0], index)])
        return float(log_same_density(distance)[0] - log_other_density(distance, self._apart)[0])

    def _repeat_factor(self, index: int) -> float:
        """How much likelier a repeat is for coming quickly, or for a ring that stopped dead before it."""
        if index == 0:
            return 1.0
        quick = self._struck[index].onset_s - self._struck[index - 1].onset_s < _QUICK_S
        factor = (_QUICK_FACTOR if quick else 1.0) * (_STOPPED_FACTOR if self._struck[index].damped_before else 1.0)
        return min(factor, 0.9 / _REPEAT)

    def _ending(self) -> Array:
        """ln probability of ending at each position: at the last spoke, or with spokes missing at the end."""
        missing = np.maximum(self._count - np.arange(self._count + 2), 0)
        ending = np.where(missing > 0, np.log(_TAIL) + (missing - 1) * np.log(_TAIL_NEXT), 0.0)
        ending[0] = max(float(ending[0]), -50.0)
        return np.asarray(ending)


def _two_groups(log_pitch: Array) -> tuple[tuple[float, float], float] | None:
    """Middles of a higher and a lower group, and 1.2 times their spread; None if there is one group only."""
    values = np.sort(log_pitch[np.isfinite(log_pitch)])
    if len(values) < 6:
        return None
    low, high = float(np.quantile(values, 0.2)), float(np.quantile(values, 0.8))
    for _ in range(12):
        upper = values > (low + high) / 2
        if upper.all() or not upper.any():
            return None
        low, high = float(np.median(values[~upper])), float(np.median(values[upper]))
    away = np.where(upper, np.abs(values - high), np.abs(values - low))
    sd = max(1.2 * 1.4826 * float(np.median(away)), 0.01)
    balanced = 0.2 < float(np.mean(upper)) < 0.8
    return ((high, low), sd) if balanced and high - low > _GROUPS_APART * sd else None


def _has_cue(struck: Sequence[Struck]) -> bool:
    """Whether two rim knocks, 0.12 to 0.75 s apart, come directly before the first clear pluck."""
    first = next((index for index, each in enumerate(struck) if each.probability > _CLEAR), None)
    if first is None or first < 2:
        return False
    one, two, pluck = struck[first - 2], struck[first - 1], struck[first]
    apart = two.onset_s - one.onset_s
    knocks = all(each.persist_db is not None and each.persist_db < _CUE_PERSIST_DB for each in (one, two))
    return _CUE_S[0] < apart < _CUE_S[1] and pluck.onset_s - two.onset_s < _CUE_BEFORE_S and knocks


def _named(
    struck: Sequence[Struck], plan: RoundPlan, kept: Sequence[int], posterior: Array, cue: bool, fixed: set[int]
) -> Naming:
    count = len(plan.spokes)
    spokes: list[int | None] = [None] * len(struck)
    probability, sure = [0.0] * len(struck), [False] * len(struck)
    candidates: dict[int, list[tuple[int, float]]] = {spoke: [] for spoke in plan.spokes}
    closed = False
    for row, index in enumerate(kept):
        by_spoke = posterior[row, :count].copy()
        by_spoke[0] += posterior[row, count]
        closed = closed or bool(posterior[row, count] > SURE)
        best = int(np.argmax(by_spoke))
        for position in np.flatnonzero(by_spoke > 1e-3):
            candidates[plan.spokes[position]].append((index, float(by_spoke[position])))
        if by_spoke.sum() > 0.5:
            spokes[index], probability[index] = plan.spokes[best], float(by_spoke[best])
            sure[index] = bool(by_spoke[best] > SURE) or index + 1 in fixed
    found = {spoke: tuple(each) for spoke, each in candidates.items() if each}
    warnings = _warnings(struck, plan, spokes, sure)
    return Naming(tuple(spokes), tuple(probability), tuple(sure), found, closed, cue, warnings)


def _warnings(
    struck: Sequence[Struck], plan: RoundPlan, spokes: Sequence[int | None], sure: Sequence[bool]
) -> tuple[str, ...]:
    """What does not come out, and where to look."""
    plucked = [index for index, spoke in enumerate(spokes) if spoke is not None]
    read = {spokes[index] for index in plucked}
    found = []
    if len(read) < len(plan.spokes) and plucked:
        gaps = [struck[b].onset_s - struck[a].onset_s for a, b in itertools.pairwise(plucked)]
        where = f": the longest gap is after spoke {spokes[plucked[int(np.argmax(gaps))]]}" if gaps else ""
        found.append(f"{len(read)} spokes plucked for {len(plan.spokes)}{where}")
    doubtful = [index for index in plucked if not sure[index]]
    if doubtful:
        certain = len(plucked) - len(doubtful)
        first, last = spokes[doubtful[0]], spokes[doubtful[-1]]
        span = f"spoke {first}" if first == last else f"spokes {first} to {last}"
        found.append(
            f"{certain} of {len(plucked)} labels are sure; {span}: which pluck is which is in doubt "
            "(--assign, --skip or --missing put it right)"
        )
    return tuple(found)
