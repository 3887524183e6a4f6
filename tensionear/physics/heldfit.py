"""From the partials of pinched spokes to their tension, a side's spokes together. Imports ``held`` and pitch.

Unknown for each spoke: ln T, where the fingers held it, how its fingers and ends differ from its fellows' and between the
planes. Shared: end stiffness, its planes, the place, the fingers' spring, damper and mass, how fast the spokes die by
themselves, and what is known within a tolerance. Each partial is matched to one mode by frequency and decay; Gauss-Newton
with the tails of Student's t, spokes eliminated by their Schur complement. What decays fast tells the fingers, what has a
node at them the tension.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from tensionear.pitch.alone import RingLine

from .beam import BendingPlane
from .held import FARTHEST_M, HELD_MODES, HeldModel, HeldModes, HeldState
from .spoke import Stretch

Array = NDArray[np.float64]

_STUDENT = 3.0
_LOCALS, _FIXED_SHARED = 12, 12
#: Middle of what is believed and standard deviation, of logs: ends; fingers' spring, damper and mass; decay at 1 kHz; its power.
_END, _SPRING, _DAMPER, _WEIGHT, _DECAY, _POWER = (
    math.log(28.0),
    math.log(2e4),
    math.log(8.0),
    math.log(1.5e-3),
    1.25,
    0.75,
)
_SHARED_SD = (1.15, 1.15, 0.25, 0.25, 0.25, 0.25, 1.0e-3, 1.2, 1.0, 1.3, 0.6, 0.25)
_OWN_SD = (3.0, 1.8e-3, 0.35, 0.35, 0.35, 0.25, 0.25, 0.25, 0.22, 0.22, 0.22, 0.22)
_OPEN_SD = (3.0, 1.8e-3, 1.2, 1.0, 1.3, 0.25, 0.25, 0.25, 0.7, 0.7, 0.7, 0.7)  # while nothing is known of the side
_OWN_LIMIT = (0.12, 1.0e-3, *[0.5] * 6, *[0.4] * 4)
_LOG_RANGE = math.log(60.0), math.log(3000.0)
_MODEL_SD, _BLEND, _BLEND_SD = 5e-4, 0.006, 0.35  # of ln f; nearer planes may be heard as one; of their distance
_DECAY_SD, _GONE = 0.35, 160.0
_UNMATCHED, _LEAST_LOST, _FAINT_DB = 9.0, 0.3, 26.0
_TOLERANCES, _LAST = (0.012, 0.008, 0.006, 0.005, 0.004, 0.0035), 0.0035
_REACH = 3.0  # standard deviations
_SCAN, _STEP, _NEAR = (math.log(250.0), math.log(1900.0)), 0.03, 0.3
_SHIFTS_M = (-2.4e-3, 0.0, 2.4e-3)
_FINGERS = ((1e4, 4.0, 1e-4), (2e4, 8.0, 1e-3), (2e4, 8.0, 3e-3), (2e4, 15.0, 8e-3))
_SCAN_ENDS = (-0.8, 0.7)
_WIDTH, _DECAY_WIDTH, _SURE_DECAY, _MISSED = 0.007, 0.8, 30.0, 0.25
_EACH, _APART, _ROUNDS, _SETTLED = 3, 0.05, 3, 0.004
_OTHER, _SURE = 0.02, 99.0
_ALIKE_SD, _ALIKE_NU = 0.09, 3.0  # of ln T: spokes of a side, a slack one among them


@dataclass(frozen=True, slots=True, eq=False)
class HeldSide:
    """What is known of a side's pinched spokes: the spoke, where it crosses (m from the hub), bending planes that differ, and
    tolerances as in ``inverse.SpokeModel`` (sources, 4)."""

    stretches: tuple[Stretch, ...]
    place_m: float
    planes: tuple[BendingPlane, ...]
    tolerances: Array


@dataclass(frozen=True, slots=True, eq=False)
class HeldFit:
    """Posterior of a side: ``log_tension`` (spokes,); ``individual`` (spokes,) variance with the shared held; ``loading``
    (spokes, shared) and ``shared_covariance``; ``matched`` lines, ``misfit``, and by how much the best other
    solution is dearer."""

    log_tension: Array
    individual: Array
    loading: Array
    shared: Array
    shared_covariance: Array
    matched: NDArray[np.intp]
    misfit: Array
    margin: Array

    def covariance(self) -> Array:
        """Of all ln T, shape (spokes, spokes)."""
        return np.asarray(np.diag(self.individual) + self.loading @ self.shared_covariance @ self.loading.T)


def fit_held(side: HeldSide, heard: Sequence[Sequence[RingLine]]) -> HeldFit:
    """Fit a side's pinched spokes; ``heard`` has the lines of each."""
    problem = _Problem(side, heard)
    shared = np.zeros(problem.shared_size)
    open_sd = np.array(_OPEN_SD)
    tried = [problem.settle(start, shared, open_sd, _TOLERANCES) for start in problem.starts(shared, _SCAN, _FINGERS)]
    own = cheapest(tried)
    middle = float(np.median(own[:, 0]))
    own = cheapest([(each, cost + unlike(each, middle)) for each, cost in tried])
    shared[7:10] = np.median(own[:, 2:5], axis=0)
    for each, _ in tried:
        each[:, 2:5] -= shared[7:10]
    own_sd = np.array(_OWN_SD)
    for _ in range(_ROUNDS):
        middle = float(np.median(own[:, 0]))
        own = problem.gathered(tried, middle)
        own, shared = problem.joint(own, shared)
        fingers = [tuple(np.exp(problem.middle[7:10] + shared[7:10]))]
        near = middle - _NEAR, middle + _NEAR
        starts = [own, *problem.starts(shared, near, fingers)]
        tried = [problem.settle(start, shared, own_sd, _TOLERANCES[-3:]) for start in starts]
        again = problem.gathered(tried, middle)
        moved = float(np.max(np.abs(again[:, 0] - own[:, 0])))
        own = again
        if moved < _SETTLED:
            break
    own, shared = problem.joint(own, shared)
    return problem.summary(own, shared, [(each, cost + unlike(each, middle)) for each, cost in tried], middle)


def unlike(own: Array, middle: float) -> Array:
    """What it costs a spoke to be so far off its side: Student's t, so that a slack one may be, (spokes,)."""
    return np.asarray(_ALIKE_NU * np.log1p(((own[:, 0] - middle) / _ALIKE_SD) ** 2 / _ALIKE_NU))


def cheapest(settled: Sequence[tuple[Array, Array]]) -> Array:
    """The cheapest of several solutions (locals, cost) for each spoke."""
    best = np.argmin([cost for _, cost in settled], axis=0)
    return np.array(np.stack([own for own, _ in settled])[best, np.arange(len(best))])


@dataclass(frozen=True, slots=True, eq=False)
class _Rows:
    """Residuals over their sd (spokes, lines, 2: ln f, ln decay), slopes by locals and shared, and which lines are matched."""

    residual: Array
    by_own: Array
    by_shared: Array
    matched: NDArray[np.bool_]


class _Problem:
    def __init__(self, side: HeldSide, heard: Sequence[Sequence[RingLine]]) -> None:
        self.tolerances = side.tolerances
        self.models = [HeldModel(side.stretches, side.place_m, plane) for plane in side.planes]
        self.column = {"flat": 2, "edge": 3}
        self.bending = [self.column[plane] for plane in side.planes]
        shape = len(heard), max(len(each) for each in heard)
        self.log, self.u, self.decay, self.u_decay = np.zeros(shape), np.ones(shape), np.zeros(shape), np.ones(shape)
        self.there, self.weight = np.zeros(shape, bool), np.zeros(shape)
        for row, each in enumerate(heard):
            loudest = max((line.level_db for line in each), default=0.0)
            for at, line in enumerate(each):
                self.log[row, at] = math.log(line.frequency_hz)
                self.u[row, at] = line.u_frequency_hz / line.frequency_hz
                self.decay[row, at], self.u_decay[row, at] = math.log(line.decay_rate), line.u_log_decay
                self.weight[row, at] = np.clip(1 - (loudest - line.level_db) / _FAINT_DB, 0.1, 1)
                self.there[row, at] = True
        sources = len(side.tolerances)
        self.shared_size = _FIXED_SHARED + sources
        self.shared_sd = np.array([*_SHARED_SD, *[1.0] * sources])
        self.middle = np.array([_END, _END, 0, 0, 0, 0, 0, _SPRING, _DAMPER, _WEIGHT, _DECAY, _POWER])

    def state(self, own: Array, shared: Array, plane: int) -> HeldState:
        """Spokes as the model takes them."""
        base = self.middle + shared[:_FIXED_SHARED]
        sign = 1 - 2 * plane
        spring, damper, weight = np.exp(base[7:10] + own[:, 2:5] + sign * own[:, 5:8]).T
        hub = np.exp(base[0] + base[2 + 2 * plane] + own[:, 8 + 2 * plane])
        nipple = np.exp(base[1] + base[3 + 2 * plane] + own[:, 9 + 2 * plane])
        change = shared[_FIXED_SHARED:] @ self.tolerances
        one = np.ones(len(own))
        shift = np.clip(own[:, 1] + shared[6], -FARTHEST_M, FARTHEST_M)
        bending = change[self.bending[min(plane, len(self.bending) - 1)]]
        return HeldState(
            own[:, 0], shift, hub, nipple, spring, damper, weight, change[0] * one, change[1] * one, bending * one
        )  # fmt: skip

    def modes(self, own: Array, shared: Array) -> list[HeldModes]:
        """Of both planes."""
        models = (self.models[0], self.models[-1])
        return [model.evaluate(self.state(own, shared, plane)) for plane, model in enumerate(models)]

    def starts(
        self, shared: Array, log_range: tuple[float, float], fingers: Sequence[tuple[float, ...]]
    ) -> list[Array]:
        """Likely starts of all spokes, each (spokes, locals)."""
        grid = [
            (t, shift, end, *np.log(finger))
            for t in np.arange(*log_range, _STEP)
            for shift in _SHIFTS_M
            for end in _SCAN_ENDS
            for finger in fingers
        ]
        own = np.zeros((len(grid), _LOCALS))
        own[:, :2] = [each[:2] for each in grid]
        own[:, 2:5] = np.array([each[3:] for each in grid]) - self.middle[7:10] - shared[7:10]
        own[:, 8:] = np.array([each[2] for each in grid])[:, None]
        modes = self.modes(own, shared)[: len(self.models)]
        logs = np.concatenate([each.log_frequency for each in modes], axis=1)
        decay = np.concatenate([self._total(each, shared) for each in modes], axis=1)
        loud = np.exp(decay) < _SURE_DECAY
        found: list[list[Array]] = [[] for _ in range(_EACH)]
        for spoke in range(len(self.log)):
            there = self.there[spoke]
            line, rate, weight = self.log[spoke, there], self.decay[spoke, there], self.weight[spoke, there]
            met = np.exp(-0.5 * ((line[None, :, None] - logs[:, None, :]) / _WIDTH) ** 2)
            met *= np.exp(-0.5 * ((rate[None, :, None] - decay[:, None, :]) / _DECAY_WIDTH) ** 2)
            within = loud & (logs < line.max() + 0.01) & (logs > line.min() - 0.01)
            missed = np.sum(within * (1 - met.max(axis=1)), axis=1)
            score = (weight[None, :] * met.max(axis=2)).sum(axis=1) - _MISSED * missed
            for place in range(_EACH):
                best = int(np.argmax(score))
                found[place].append(own[best])
                score = np.where(np.abs(own[:, 0] - own[best, 0]) < _APART, -np.inf, score)
        starts = np.array(found)
        starts[:, :, 8:] *= 0.5
        return list(starts)

    def gathered(self, tried: Sequence[tuple[Array, Array]], middle: float) -> Array:
        """The cheapest solution of each spoke, being like its side counted in; fingers from what is shared on."""
        best = cheapest([(each, cost + unlike(each, middle)) for each, cost in tried])
        sd = np.array(_OWN_SD)
        best[:, 1:] = np.clip(best[:, 1:], -_REACH * sd[1:], _REACH * sd[1:])
        return best

    def _total(self, modes: HeldModes, shared: Array) -> Array:
        """ln of decay rates, with what the spokes lose by themselves."""
        return np.asarray(np.log(np.maximum(modes.decay_rate, 1e-6) + self._alone(modes, shared)))

    def _alone(self, modes: HeldModes, shared: Array) -> Array:
        power = self.middle[11] + shared[11]
        return np.asarray(np.exp(self.middle[10] + shared[10] + power * (modes.log_frequency - math.log(1000.0))))

    def settle(self, own: Array, shared: Array, own_sd: Array, tolerances: Sequence[float]) -> tuple[Array, Array]:
        """Every spoke by itself, what is shared held: locals, and cost (spokes,)."""
        for tolerance in (*tolerances, _LAST, _LAST):
            rows = self.rows(own, shared, tolerance)
            weight = _weights(rows.residual)
            normal = np.einsum("plk,plka,plkb->pab", weight, rows.by_own, rows.by_own) + np.diag(own_sd**-2)
            right = np.einsum("plk,plka,plk->pa", weight, rows.by_own, rows.residual) - _pull(own, own_sd)
            own = _bounded(own, np.linalg.solve(normal, right[..., None])[..., 0], own_sd)
        return own, self.cost(self.rows(own, shared, _LAST), own, own_sd)

    def joint(self, own: Array, shared: Array) -> tuple[Array, Array]:
        """All spokes with what they share: the best of what Gauss-Newton steps come by."""
        best, lowest, own_sd = (own, shared), math.inf, np.array(_OWN_SD)
        for tolerance in (0.006, 0.005, 0.004, *[_LAST] * 9):
            rows, step_own, step_shared, *_ = self._solve(own, shared, tolerance)
            if tolerance == _LAST:
                cost = float(self.cost(rows, own, own_sd).sum() + np.sum((shared / self.shared_sd) ** 2))
                if cost < lowest:
                    best, lowest = (own, shared), cost
            own = _bounded(own, step_own, own_sd)
            step = np.clip(step_shared, -self.shared_sd, self.shared_sd) * 0.8
            shared = np.clip(shared + step, -_REACH * self.shared_sd, _REACH * self.shared_sd)
        return best

    def _solve(self, own: Array, shared: Array, tolerance: float) -> tuple[_Rows, Array, Array, Array, Array, Array]:
        """Rows there, step of the spokes and of the shared, inverse of the spokes' own, Schur complement, how spokes follow."""
        own_sd = np.array(_OWN_SD)
        rows = self.rows(own, shared, tolerance)
        weight = _weights(rows.residual)
        normal = np.einsum("plk,plka,plkb->pab", weight, rows.by_own, rows.by_own) + np.diag(own_sd**-2)
        cross = np.einsum("plk,plka,plks->pas", weight, rows.by_own, rows.by_shared)
        common = np.einsum("plk,plks,plkt->st", weight, rows.by_shared, rows.by_shared) + np.diag(self.shared_sd**-2)
        right = np.einsum("plk,plka,plk->pa", weight, rows.by_own, rows.residual) - _pull(own, own_sd)
        right_shared = np.einsum("plk,plks,plk->s", weight, rows.by_shared, rows.residual) - shared / self.shared_sd**2
        inverse = np.linalg.inv(normal)
        through = inverse @ cross
        schur = common - np.einsum("pas,pat->st", cross, through)
        step_shared = np.linalg.solve(schur, right_shared - np.einsum("pas,pa->s", through, right))
        step_own = np.einsum("pab,pb->pa", inverse, right) - through @ step_shared
        return rows, step_own, step_shared, inverse, schur, -through

    def cost(self, rows: _Rows, own: Array, own_sd: Array) -> Array:
        """Minus twice the log posterior of each spoke but for a constant."""
        data = np.sum(_STUDENT * np.log1p(rows.residual**2 / _STUDENT), axis=(1, 2))
        lost = _UNMATCHED * np.sum(self.there * np.maximum(self.weight, _LEAST_LOST) * ~rows.matched, axis=1)
        return np.asarray(data + lost + np.sum((own[:, 1:] / own_sd[1:]) ** 2, axis=1))

    def rows(self, own: Array, shared: Array, tolerance: float) -> _Rows:
        """Lines against the modes they are matched to."""
        from scipy.optimize import linear_sum_assignment

        modes = self.modes(own, shared)
        logs = np.concatenate([each.log_frequency for each in modes], axis=1)
        decay = np.concatenate([self._total(each, shared) for each in modes], axis=1)
        by_log = [self._spread(plane, each.by_frequency) for plane, each in enumerate(modes)]
        by_decay = [self._decay_slopes(plane, each, shared) for plane, each in enumerate(modes)]
        spokes, lines = self.log.shape
        residual = np.zeros((spokes, lines, 2))
        by_own, by_shared = np.zeros((spokes, lines, 2, _LOCALS)), np.zeros((spokes, lines, 2, self.shared_size))
        matched = np.zeros((spokes, lines), bool)
        for spoke in range(spokes):
            away = (self.log[spoke][:, None] - logs[spoke]) / np.hypot(tolerance, self.u[spoke])[:, None]
            decay_sd = np.hypot(_DECAY_SD, self.u_decay[spoke])
            faster = (self.decay[spoke][:, None] - decay[spoke]) / decay_sd[:, None]
            cost = np.minimum(away**2 + np.minimum(faster**2, 6.0), _UNMATCHED)
            cost[~self.there[spoke]] = _UNMATCHED
            cost[:, decay[spoke] > math.log(_GONE)] = _UNMATCHED
            taken, mode = linear_sum_assignment(cost)
            good = cost[taken, mode] < _UNMATCHED - 1e-9
            line, mode = taken[good], mode[good]
            matched[spoke, line] = True
            sd = np.hypot(np.hypot(self.u[spoke][line], _MODEL_SD), _blend(logs[spoke], mode))
            residual[spoke, line, 0] = (self.log[spoke][line] - logs[spoke, mode]) / sd
            residual[spoke, line, 1] = faster[line, mode]
            for plane in range(2):
                here = mode // HELD_MODES == plane
                at, m = line[here], mode[here] % HELD_MODES
                for row, (own_slope, shared_slope), scale in (
                    (0, by_log[plane], sd[here]),
                    (1, by_decay[plane], decay_sd[at]),
                ):
                    by_own[spoke, at, row] = own_slope[spoke, m] / scale[:, None]
                    by_shared[spoke, at, row] = shared_slope[spoke, m] / scale[:, None]
        return _Rows(residual, by_own, by_shared, matched)

    def _decay_slopes(self, plane: int, modes: HeldModes, shared: Array) -> tuple[Array, Array]:
        """Slopes of ln of the whole decay rate."""
        alone = self._alone(modes, shared)
        total = np.maximum(modes.decay_rate, 1e-6) + alone
        own, common = self._spread(plane, modes.by_decay / total[..., None])
        common[..., 10] += alone / total
        common[..., 11] += alone / total * (modes.log_frequency - math.log(1000.0))
        return own, common

    def _spread(self, plane: int, by: Array) -> tuple[Array, Array]:
        """Slopes by BY turned into those by locals and shared."""
        own, shared = np.zeros((*by.shape[:2], _LOCALS)), np.zeros((*by.shape[:2], self.shared_size))
        own[..., :2] = by[..., :2]
        own[..., 2:5] = by[..., 4:7]
        own[..., 5:8] = (1 - 2 * plane) * by[..., 4:7]
        own[..., 8 + 2 * plane : 10 + 2 * plane] = by[..., 2:4]
        shared[..., 0:2] = by[..., 2:4]
        shared[..., 2 + 2 * plane : 4 + 2 * plane] = by[..., 2:4]
        shared[..., 6] = by[..., 1]
        shared[..., 7:10] = by[..., 4:7]
        column = self.bending[min(plane, len(self.bending) - 1)]
        shared[..., _FIXED_SHARED:] = by[..., 7:10] @ self.tolerances[:, [0, 1, column]].T
        return own, shared

    def summary(self, own: Array, shared: Array, tried: Sequence[tuple[Array, Array]], middle: float) -> HeldFit:
        """The posterior there; ``tried`` are other solutions with their costs."""
        own_sd = np.array(_OWN_SD)
        rows, _, _, inverse, schur, loading = self._solve(own, shared, _LAST)
        cost = self.cost(rows, own, own_sd) + unlike(own, middle)
        margin = np.full(len(own), _SURE)
        for other, dear in tried:
            margin = np.where(np.abs(other[:, 0] - own[:, 0]) > _OTHER, np.minimum(margin, dear - cost), margin)
        sane = rows.matched & (np.abs(rows.residual[:, :, 0]) < 4)
        misfit = np.sum(np.where(sane, rows.residual[:, :, 0] ** 2, 0), axis=1) / np.maximum(sane.sum(axis=1) - 2, 1)
        return HeldFit(
            own[:, 0],
            inverse[:, 0, 0],
            loading[:, 0],
            shared,
            np.asarray(np.linalg.inv(schur)),
            rows.matched.sum(axis=1),
            misfit,
            margin,
        )


def _blend(logs: Array, mode: NDArray[np.intp]) -> Array:
    """Standard deviation of ln f of lines that may be both planes' as one, (lines,)."""
    gap = np.abs(logs[mode][:, None] - logs[None, :])
    free = np.ones(len(logs), bool)
    free[mode] = False
    nearest = np.min(np.where(free[None, :], gap, np.inf), axis=1, initial=np.inf)
    return np.asarray(np.where(nearest < _BLEND, _BLEND_SD * np.minimum(nearest, _BLEND), 0.0))


def _weights(residual: Array) -> Array:
    """Of Student's t, as those of a Gaussian with the same pull."""
    return np.asarray(1.0 / (1 + residual**2 / _STUDENT))


def _pull(own: Array, own_sd: Array) -> Array:
    pull = own / own_sd**2
    pull[:, 0] = 0.0
    return np.asarray(pull)


def _bounded(own: Array, step: Array, own_sd: Array) -> Array:
    """A step within its limits, and within reach."""
    low, high = -_REACH * own_sd, _REACH * own_sd
    low[0], high[0] = _LOG_RANGE
    return np.clip(own + np.clip(step, -np.array(_OWN_LIMIT), _OWN_LIMIT), low, high)
