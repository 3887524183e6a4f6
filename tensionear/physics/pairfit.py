"""From the shared partials of touching pairs to the tension of either spoke, a side's pairs together. Imports ``pair``, pitch.

Unknown for each pair: both ln T, how its ends differ from its fellows' in either plane, where on each spoke the crossing is,
and for either plane how much harder the first was plucked (a gain, and how that changes with frequency). Shared: end
stiffness, its planes, what is known within a tolerance, the place and stiffness of the contact. Each line is matched to one mode
by frequency and by its ratio of levels; Gauss-Newton with the tails of Student's t, pairs eliminated by their Schur complement.
Frequencies alone cannot tell which of two spokes is the tighter: the ratios do, and the mirrored solution is weighed.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from tensionear.pitch.shared import SharedLine

from .pair import AXLE, PAIR_MODES, WHEEL, PairModel, PairModes, PairState, axle_contact, wheel_plane_contact
from .pairvalues import PairsFit, PairSide

Array = NDArray[np.float64]

_STUDENT = 3.0
_END, _END_SD, _PLANE_SD, _SPOKE_SD = math.log(28.0), 1.15, 0.25, 0.22
_PLACE_SD_M, _IN_OUT_SD_M, _OWN_PLACE_SD_M = 1.0e-3, 0.7e-3, 0.3e-3
_CONTACT_SD, _OWN_CONTACT_SD = 0.4, 0.12  # of ln k: of a side, of one pair for its angle
_GAIN_SD, _SLOPE_SD = 1.2, 0.4
_RATIO_SD, _CLOSE, _CLOSE_RATIO_SD = 0.45, 0.02, 0.7
_MODEL_SD = 4e-4
_LOCALS, _FIXED_SHARED = 17, 10
_TOLERANCES = (0.012, 0.008, 0.006, 0.005, 0.004, 0.0035)
_UNMATCHED, _LEAST_LOST = 9.0, 0.4
_LOG_RANGE, _NEAR, _STEP = (math.log(250.0), math.log(1800.0)), 0.3, 0.035
_DIFFERENCES = (0.0, 0.03, 0.07, 0.13, 0.22, 0.34, 0.5)
_START_ENDS = (-0.9, 0.6)
_REACH = 2.8  # standard deviations
_BASES = (-0.9, 0.9)
_EACH_SIGN, _APART, _ROUNDS, _MOVED = 2, 0.06, 3, 0.01
_SURE, _OTHER, _OTHER_SHARE = 99.0, 0.025, 0.5  # of cost; of ln T and of the difference: nearer is the same solution
_START_WIDTH, _START_RATIO = 0.009, 0.9
_FAINT_DB = 26.0
_LOW_MODES, _MISSING = 2, 0.7


def fit_pairs(side: PairSide, heard: Sequence[Sequence[SharedLine]]) -> PairsFit:
    """Fit a side's touching pairs; ``heard`` has the shared lines of each, ratios as first over second spoke."""
    problem = _Problem(side, heard)
    flat = np.zeros(problem.shared_size)
    first = cheapest(
        [problem.settle(start, flat, _TOLERANCES)[1:] for start in problem.starts(flat, _START_ENDS, _LOG_RANGE)]
    )
    begun = [problem.begun(first, hub, nipple) for hub in _BASES for nipple in _BASES]
    own, shared = min(begun, key=lambda each: problem.total(*each))
    tried: list[tuple[Array, Array]] = []
    for _ in range(_ROUNDS):
        middle = float(np.median(own[:, :2]))
        starts = [own, problem.mirrored(own), *problem.starts(shared, (0.0,), (middle - _NEAR, middle + _NEAR))]
        tried = [problem.settle(start, shared, _TOLERANCES[-3:])[1:] for start in starts]
        again = cheapest(tried)
        moved = np.abs(again[:, :2] - own[:, :2]).max() > _MOVED
        own, shared = problem.joint(again, shared)
        if not moved:
            break
    return problem.summary(own, shared, tried)


@dataclass(frozen=True, slots=True, eq=False)
class _Rows:
    """Residuals over their sd (pairs, lines, 2: ln f, ratio), slopes by locals and shared, and which lines are matched."""

    residual: Array
    by_own: Array
    by_shared: Array
    matched: NDArray[np.bool_]
    low_wheel: NDArray[np.bool_]


class _Problem:
    def __init__(self, side: PairSide, heard: Sequence[Sequence[SharedLine]]) -> None:
        self.side = side
        contact = wheel_plane_contact(side.stretches, side.place_m, side.angle_rad)
        self.planes = (
            PairModel(side.stretches, side.place_m, axle_contact()),
            PairModel(side.stretches, side.place_m, contact),
        )
        lines = max(len(each) for each in heard)
        shape = len(heard), lines
        self.log, self.u, self.ratio, self.u_ratio = np.zeros(shape), np.ones(shape), np.zeros(shape), np.ones(shape)
        self.there = np.zeros(shape, bool)
        self.weight = np.zeros(shape)
        for row, each in enumerate(heard):
            loudest = max((line.level_db for line in each), default=0.0)
            for at, line in enumerate(each):
                self.log[row, at] = math.log(line.frequency_hz)
                self.u[row, at] = line.u_frequency_hz / line.frequency_hz
                self.ratio[row, at], self.u_ratio[row, at] = line.ratio, line.u_ratio
                self.weight[row, at] = np.clip(1 - (loudest - line.level_db) / _FAINT_DB, 0.1, 1)
                self.there[row, at] = True
        self.shared_size = _FIXED_SHARED + len(side.tolerances)
        self.shared_sd = np.array(
            [
                _END_SD,
                _END_SD,
                *[_PLANE_SD] * 4,
                _PLACE_SD_M,
                _IN_OUT_SD_M,
                _CONTACT_SD,
                _CONTACT_SD,
                *[1.0] * len(side.tolerances),
            ]
        )
        self.own_sd = np.array(
            [
                3.0,
                3.0,
                *[_SPOKE_SD] * 8,
                *[_OWN_PLACE_SD_M] * 2,
                _GAIN_SD,
                _GAIN_SD,
                _SLOPE_SD,
                _SLOPE_SD,
                _OWN_CONTACT_SD,
            ]
        )

        self.bounds = -_REACH * self.own_sd, _REACH * self.own_sd
        self.bounds[0][:2], self.bounds[1][:2] = math.log(60.0), math.log(3000.0)

    def state(self, own: Array, shared: Array, plane: int) -> PairState:
        """Pairs as the model takes them."""
        pairs = len(own)
        ends = own[:, 2 + 4 * plane : 6 + 4 * plane]
        hub = np.exp(_END + shared[0] + shared[2 + 2 * plane] + ends[:, :2])
        nipple = np.exp(_END + shared[1] + shared[3 + 2 * plane] + ends[:, 2:])
        change = shared[_FIXED_SHARED:] @ self.side.tolerances
        shift = own[:, 10:12] + shared[6] + np.array([0.5, -0.5]) * shared[7]
        one = np.ones(pairs)
        contact = shared[8 + plane] + (own[:, 16] if plane == WHEEL else 0.0)
        return PairState(
            np.exp(own[:, :2]), hub, nipple, shift, change[0] * one, change[1] * one, change[2] * one, contact * one
        )  # fmt: skip

    def starts(self, shared: Array, ends: Sequence[float], log_range: tuple[float, float]) -> list[Array]:
        """Likely starts of all pairs, each (pairs, locals): a few with either spoke the tighter, the ends of all so much (of
        ln k) stiffer than what is shared says."""
        mean = np.arange(*log_range, _STEP)
        grid = np.array([(t + d / 2, t - d / 2, end) for t in mean for d in _DIFFERENCES for end in ends])
        own = np.zeros((len(grid), _LOCALS))
        own[:, :2] = grid[:, :2]
        own[:, 2:10] = grid[:, 2:3]
        modes = [model.levels(self.state(own, shared, plane)) for plane, model in enumerate(self.planes)]
        logs = np.concatenate([each for each, _ in modes], axis=1)
        ratios = np.concatenate([each for _, each in modes], axis=1)
        low = np.concatenate([np.arange(PAIR_MODES) < _LOW_MODES] * 2)
        found: list[list[Array]] = [[] for _ in range(2 * _EACH_SIGN)]
        for pair in range(len(self.log)):
            width = np.hypot(_START_WIDTH, self.u[pair])[None, :, None]
            near = np.exp(-0.5 * ((self.log[pair][None, :, None] - logs[:, None, :]) / width) ** 2)
            weight = self.weight[pair][None, :, None] * self.there[pair][None, :, None] * near
            for first, sign in ((0, 1), (_EACH_SIGN, -1)):
                away = (self.ratio[pair][None, :, None] - sign * ratios[:, None, :]) / _START_RATIO
                met = weight * (0.3 + 0.7 * np.exp(-0.5 * away**2))
                missing = _MISSING * (1 - np.minimum(met.max(axis=1)[:, low] / 0.4, 1)).sum(axis=1)
                score = met.max(axis=2).sum(axis=1) - missing
                for place in range(_EACH_SIGN):
                    best = grid[int(np.argmax(score))]
                    start = np.zeros(_LOCALS)
                    start[:2] = best[:2] if sign > 0 else best[1::-1]
                    found[first + place].append(start)
                    score = np.where(np.abs(grid[:, :2] - best[:2]).max(axis=1) < _APART, -np.inf, score)
        return [np.array(each) for each in found]

    def mirrored(self, own: Array) -> Array:
        """The same pairs with their tensions exchanged."""
        other = own.copy()
        other[:, [0, 1]] = own[:, [1, 0]]
        other[:, 2:12] = 0.0
        return other

    def settle(
        self, own: Array, shared: Array, tolerances: Sequence[float] = _TOLERANCES
    ) -> tuple[_Rows, Array, Array]:
        """Every pair by itself, what is shared held: rows, locals, and cost (pairs,)."""
        for tolerance in (*tolerances, tolerances[-1], tolerances[-1]):
            rows = self.rows(own, shared, tolerance)
            weight = _weights(rows.residual)
            normal = np.einsum("plk,plka,plkb->pab", weight, rows.by_own, rows.by_own) + np.diag(self.own_sd**-2)
            right = np.einsum("plk,plka,plk->pa", weight, rows.by_own, rows.residual) - self._pull(own)
            step = np.linalg.solve(normal, right[..., None])[..., 0]
            own = own + np.clip(step, -_limits(), _limits())
            own = np.clip(own, *self.bounds)
        rows = self.rows(own, shared, tolerances[-1])
        return rows, own, self.cost(rows, own)

    def joint(self, own: Array, shared: Array) -> tuple[Array, Array]:
        """All pairs with what they share: the best of what Gauss-Newton steps come by."""
        best, lowest = (own, shared), math.inf
        reach = _REACH * self.shared_sd
        for tolerance in (0.008, 0.006, 0.005, 0.004, *[0.0035] * 8):
            rows, step_own, step_shared, *_ = self._solve(own, shared, tolerance)
            if tolerance == _TOLERANCES[-1]:
                cost = float(self.cost(rows, own).sum() + np.sum((shared / self.shared_sd) ** 2))
                if cost < lowest:
                    best, lowest = (own, shared), cost
            own = own + np.clip(step_own, -_limits(), _limits())
            own = np.clip(own, *self.bounds)
            shared = np.clip(shared + np.clip(step_shared, -self.shared_sd, self.shared_sd) * 0.8, -reach, reach)
        return best

    def begun(self, own: Array, hub: float, nipple: float) -> tuple[Array, Array]:
        """The joint fit from ends so much (of ln k) stiffer than usual."""
        shared = np.zeros(self.shared_size)
        shared[:2] = hub, nipple
        own = own.copy()
        own[:, 2:10] = 0.0
        return self.joint(self.settle(own, shared, _TOLERANCES[:3])[1], shared)

    def total(self, own: Array, shared: Array) -> float:
        """Cost of all pairs with that of what they share."""
        cost = self.cost(self.rows(own, shared, _TOLERANCES[-1]), own)
        return float(cost.sum() + np.sum((shared / self.shared_sd) ** 2))

    def _pull(self, own: Array) -> Array:
        pull = own / self.own_sd**2
        pull[:, :2] = 0.0
        return np.asarray(pull)

    def _solve(self, own: Array, shared: Array, tolerance: float) -> tuple[_Rows, Array, Array, Array, Array, Array]:
        """Rows there, step of the pairs and of the shared, inverse of the pairs' own, Schur complement, how pairs follow."""
        rows = self.rows(own, shared, tolerance)
        weight = _weights(rows.residual)
        normal = np.einsum("plk,plka,plkb->pab", weight, rows.by_own, rows.by_own) + np.diag(self.own_sd**-2)
        cross = np.einsum("plk,plka,plks->pas", weight, rows.by_own, rows.by_shared)
        common = np.einsum("plk,plks,plkt->st", weight, rows.by_shared, rows.by_shared) + np.diag(self.shared_sd**-2)
        right = np.einsum("plk,plka,plk->pa", weight, rows.by_own, rows.residual) - self._pull(own)
        right_shared = np.einsum("plk,plks,plk->s", weight, rows.by_shared, rows.residual) - shared / self.shared_sd**2
        inverse = np.linalg.inv(normal)
        through = inverse @ cross
        schur = common - np.einsum("pas,pat->st", cross, through)
        step_shared = np.linalg.solve(schur, right_shared - np.einsum("pas,pa->s", through, right))
        step_own = np.einsum("pab,pb->pa", inverse, right) - through @ step_shared
        return rows, step_own, step_shared, inverse, schur, -through

    def cost(self, rows: _Rows, own: Array) -> Array:
        """Minus twice the log posterior of each pair but for a constant."""
        data = np.sum(_STUDENT * np.log1p(rows.residual**2 / _STUDENT), axis=(1, 2))
        lost = _UNMATCHED * np.sum(self.there * np.maximum(self.weight, _LEAST_LOST) * ~rows.matched, axis=1)
        return np.asarray(data + lost + np.sum((own[:, 2:] / self.own_sd[2:]) ** 2, axis=1))

    def rows(self, own: Array, shared: Array, tolerance: float) -> _Rows:
        """Lines against the modes they are matched to."""
        from scipy.optimize import linear_sum_assignment

        modes: list[PairModes] = [
            model.evaluate(self.state(own, shared, plane)) for plane, model in enumerate(self.planes)
        ]
        logs = np.concatenate([each.log_frequency for each in modes], axis=1)
        gains = [
            own[:, 12 + p, None] + own[:, 14 + p, None] * (modes[p].log_frequency - math.log(900.0))
            for p in (AXLE, WHEEL)
        ]
        ratios = np.concatenate([each.ratio + gain for each, gain in zip(modes, gains, strict=True)], axis=1)
        by_log = [self._spread(plane, each.by_frequency) for plane, each in enumerate(modes)]
        by_ratio = [self._spread(plane, each.by_ratio) for plane, each in enumerate(modes)]
        close = np.concatenate([_closeness(each.log_frequency) for each in modes], axis=1)
        ratio_sd = np.where(close < _CLOSE, _CLOSE_RATIO_SD, _RATIO_SD)
        pairs, lines = self.log.shape
        residual = np.zeros((pairs, lines, 2))
        by_own, by_shared = np.zeros((pairs, lines, 2, _LOCALS)), np.zeros((pairs, lines, 2, self.shared_size))
        matched, low_wheel = np.zeros((pairs, lines), bool), np.zeros((pairs, lines), bool)
        for pair in range(pairs):
            away = (self.log[pair][:, None] - logs[pair]) / np.hypot(tolerance, self.u[pair])[:, None]
            spread = np.hypot(ratio_sd[pair], self.u_ratio[pair][:, None])
            apart = (self.ratio[pair][:, None] - ratios[pair]) / spread
            cost = np.minimum(away**2 + np.minimum(apart**2, 6.0), _UNMATCHED)
            cost[~self.there[pair]] = _UNMATCHED
            taken, mode = linear_sum_assignment(cost)
            good = cost[taken, mode] < _UNMATCHED - 1e-9
            line, mode = taken[good], mode[good]
            plane, own_mode = mode // PAIR_MODES, mode % PAIR_MODES
            sd = np.hypot(self.u[pair][line], _MODEL_SD)
            matched[pair, line] = True
            low_wheel[pair, line] = (plane == WHEEL) & (own_mode < 2) & (self.u_ratio[pair][line] < 1.0)
            residual[pair, line, 0] = (self.log[pair][line] - logs[pair, mode]) / sd
            residual[pair, line, 1] = apart[line, mode]
            for which in (AXLE, WHEEL):
                here = plane == which
                at, m = line[here], own_mode[here]
                for row, (own_slope, shared_slope), scale in (
                    (0, by_log[which], sd[here]),
                    (1, by_ratio[which], spread[line[here], mode[here]]),
                ):
                    by_own[pair, at, row] = own_slope[pair, m] / scale[:, None]
                    by_shared[pair, at, row] = shared_slope[pair, m] / scale[:, None]
                scale = spread[line[here], mode[here]]
                by_own[pair, at, 1, 12 + which] = 1 / scale
                by_own[pair, at, 1, 14 + which] = (modes[which].log_frequency[pair, m] - math.log(900.0)) / scale
        return _Rows(residual, by_own, by_shared, matched, low_wheel)

    def _spread(self, plane: int, by: Array) -> tuple[Array, Array]:
        """Slopes by BY turned into those by locals and shared."""
        own, shared = np.zeros((*by.shape[:2], _LOCALS)), np.zeros((*by.shape[:2], self.shared_size))
        own[..., :2] = by[..., :2]
        own[..., 2 + 4 * plane : 6 + 4 * plane] = by[..., 2:6]
        own[..., 10:12] = by[..., 6:8]
        hub, nipple = by[..., 2:4].sum(axis=-1), by[..., 4:6].sum(axis=-1)
        shared[..., 0], shared[..., 1] = hub, nipple
        shared[..., 2 + 2 * plane], shared[..., 3 + 2 * plane] = hub, nipple
        shared[..., 6] = by[..., 6:8].sum(axis=-1)
        shared[..., 7] = 0.5 * (by[..., 6] - by[..., 7])
        shared[..., 8 + plane] = by[..., 11]
        if plane == WHEEL:
            own[..., 16] = by[..., 11]
        shared[..., _FIXED_SHARED:] = by[..., 8:11] @ self.side.tolerances[:, :3].T
        return own, shared

    def margin(self, own: Array, shared: Array, tried: Sequence[tuple[Array, Array]]) -> Array:
        """By how much the best other solution of each pair, the other spoke the tighter, is dearer."""
        _, own, cost = self.settle(own, shared, _TOLERANCES[-2:])
        difference = own[:, 0] - own[:, 1]
        margin = np.full(len(own), _SURE)
        for other, dear in tried:
            away = np.abs(other[:, 0] - other[:, 1] - difference)
            opposite = away > np.maximum(_OTHER, _OTHER_SHARE * np.abs(difference))
            margin = np.where(opposite, np.minimum(margin, dear - cost), margin)
        return margin

    def summary(self, own: Array, shared: Array, tried: Sequence[tuple[Array, Array]]) -> PairsFit:
        """The posterior there; ``tried`` are other solutions with their costs."""
        mirror = self.margin(own, shared, tried)
        rows, _, _, inverse, schur, loading = self._solve(own, shared, _TOLERANCES[-1])
        count = rows.matched.sum(axis=1)
        sane = rows.matched & (np.abs(rows.residual[:, :, 0]) < 4)
        misfit = np.sum(np.where(sane, rows.residual[:, :, 0] ** 2, 0), axis=1) / np.maximum(sane.sum(axis=1) - 3, 1)
        return PairsFit(
            own[:, :2],
            inverse[:, :2, :2],
            loading[:, :2],
            shared,
            np.asarray(np.linalg.inv(schur)),
            count,
            np.sum(self.weight * rows.matched, axis=1) / self.weight.sum(axis=1),
            misfit,
            mirror,
            rows.low_wheel.sum(axis=1) >= 2,
            float(self.cost(rows, own).sum()),
        )


def cheapest(settled: Sequence[tuple[Array, Array]]) -> Array:
    """The cheapest of several solutions (locals, cost) for each pair."""
    best = np.argmin([cost for _, cost in settled], axis=0)
    return np.asarray(np.stack([own for own, _ in settled])[best, np.arange(len(best))])


def _weights(residual: Array) -> Array:
    """Of Student's t, as those of a Gaussian with the same pull."""
    return np.asarray(1.0 / (1 + residual**2 / _STUDENT))


def _limits() -> Array:
    return np.array([0.15, 0.15, *[0.4] * 8, *[6e-4] * 2, *[1.0] * 2, *[0.5] * 2, 0.15])


def _closeness(log_frequency: Array) -> Array:
    """Distance of each mode to its nearest neighbour of the plane, in ln f."""
    gap = np.abs(log_frequency[:, :, None] - log_frequency[:, None, :])
    gap += np.eye(log_frequency.shape[1])
    return np.asarray(gap.min(axis=2))
