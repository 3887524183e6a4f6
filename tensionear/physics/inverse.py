"""From partials to tension: a joint fit of spokes that share their ends' kind and making. Imports ``believed``, ``spokemodel``.

Unknowns: each spoke its ln T and how its ends differ from its fellows'; shared by the group the base stiffness of hub and
nipple end, how the planes differ, and what is only known within a tolerance (length, density, modulus, section). One spoke
alone is a group of one. Nothing about the ends is assumed: their prior is flat in ln k over all that wheels show, written as
a mixture of overlapping Gaussians; each is solved on its own (Gauss-Newton, spokes eliminated by their Schur complement,
errors with the tails of Student's t, so that a false partial does not drag the rest) and weighs in by its Laplace evidence.

Tolerances enter exactly, by similarity: with L, EI and mu scaled by e^l, e^e, e^m,
ln f(T, k) = v(ln T + 2l - e, ln k + l - e) - 2l - m/2 + e/2, where v is the tabled spoke.
What thick ends change otherwise than the middle is added to first order (``ThickEnds``).
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field, fields

import numpy as np
from numpy.typing import NDArray

from .believed import SHARED_ENDS, EndsPrior, SharedPrior, flat_prior
from .modes import HIGHEST_TENSION_N, LOWEST_TENSION_N, MODES
from .shares import common_shares, individual_shares
from .spokemodel import Array, SpokeModel

#: Degrees of freedom. A fair partial counts in full but by no more, so that the uncertainty is not understated.
_STUDENT = 3.0
_ITERATIONS, _TRIAL_ITERATIONS = 14, 4
_PRUNE = 14.0
_LOCALS = 6  # ln T; hub and nipple end of the first plane; of the second; where lines of both planes lie between them
#: -1 and 1 are the planes themselves: a line heard alone is often one plane's, and a spoke's are all the same plane's.
_BETWEEN_SD = 0.7


@dataclass(frozen=True, slots=True, eq=False)
class Partials:
    """What was heard of a group: ln f and its standard deviation, shapes (spokes, 3, MODES); sd infinite where not heard.

    The rows are the first plane, the second plane, and lines that may be either's or a blend of both. The fit starts at
    ``start_log_tension`` (spokes,); where that is itself an observation, ``tension_sd`` (spokes,) is its standard deviation.
    """

    log_frequency: Array
    sd: Array
    start_log_tension: Array
    tension_sd: Array | None = None


@dataclass(frozen=True, slots=True, eq=False)
class GroupFit:
    """The posterior as a mixture of Gaussians, one for each part of the ends' prior that still counts.

    Shapes: ``weight`` (parts,); ``log_tension`` (parts, spokes) means; ``individual`` (parts, spokes) variances with the
    shared unknowns held; ``loading`` (parts, spokes, shared) and ``shared_covariance`` (parts, shared, shared) give the rest:
    covariance of ln T = diag(individual) + loading shared_covariance loading'. ``shared`` (parts, shared) are their means.
    ``predicted`` (spokes, 2, MODES) is ln f by the best part, ``sensitivity`` (spokes,) dlnT/dlnf of the first mode,
    ``misfit`` (spokes,) the mean square of the standardised residuals of each spoke's partials without the few robustly
    set aside, ``residual`` (spokes, 3, MODES) those residuals for the best part. ``own_share`` (parts, spokes, 4) and
    ``common_share`` (parts, spokes, shared + 1) are what ``individual`` and the rest add up from (``shares``); ``learned``
    tells whether a calibration stood in the place of the flat prior.
    """

    weight: Array
    log_tension: Array
    individual: Array
    loading: Array
    shared: Array
    shared_covariance: Array
    predicted: Array
    sensitivity: Array
    misfit: Array
    residual: Array
    cost: float
    prior: EndsPrior
    own_share: Array
    common_share: Array
    learned: bool
    sources: tuple[str, ...] = field(default=())

    def moments(self) -> tuple[Array, Array, Array]:
        """Mean of ln T, its standard deviation, and the individual part of that, shapes (spokes,)."""
        mean = self.weight @ self.log_tension
        common = np.einsum("cis,cst,cit->ci", self.loading, self.shared_covariance, self.loading)
        variance = self.weight @ (self.individual + common + (self.log_tension - mean) ** 2)
        return mean, np.sqrt(variance), np.sqrt(self.weight @ self.individual)

    def interval(self, spoke: int, probability: float = 0.95) -> tuple[float, float]:
        """Central interval of ln T of one spoke, from the mixture."""
        common = np.einsum("cs,cst,ct->c", self.loading[:, spoke], self.shared_covariance, self.loading[:, spoke])
        sd = np.sqrt(self.individual[:, spoke] + common)
        middle = self.log_tension[:, spoke]
        tail = (1 - probability) / 2
        return _mixture_quantile(self.weight, middle, sd, tail), _mixture_quantile(self.weight, middle, sd, 1 - tail)

    def deviations(self, members: NDArray[np.intp], kept: NDArray[np.intp]) -> tuple[Array, Array]:
        """Relative deviation of each member's tension from the mean of the ``kept``, and its standard deviation."""
        tension = np.exp(self.log_tension)
        share = np.zeros_like(tension)
        share[:, kept] = tension[:, kept] / tension[:, kept].sum(axis=1, keepdims=True)
        level = tension[:, kept].mean(axis=1, keepdims=True)
        relative = tension[:, members] / level - 1
        slope = (1 + relative)[:, :, None] * (np.eye(tension.shape[1])[members] - share[:, None, :])
        own = np.einsum("cij,cj->ci", slope**2, self.individual)
        through = slope @ self.loading
        common = np.einsum("cis,cst,cit->ci", through, self.shared_covariance, through)
        mean = self.weight @ relative
        return mean, np.sqrt(self.weight @ (own + common + (relative - mean) ** 2))


def fit_group(
    models: tuple[SpokeModel, ...],
    which: NDArray[np.intp],
    heard: Partials,
    prior: EndsPrior,
    learned: SharedPrior | None = None,
) -> GroupFit:
    """Fit a group.

    Parameters
    ----------
    models : tuple of SpokeModel
        The kinds of spoke in the group; all have the same sources of tolerance.
    which : ndarray of int, shape (spokes,)
        Which model each spoke is.
    heard : Partials
    prior : EndsPrior
    learned : SharedPrior, optional
        What a calibration says of all they share, in the place of the flat prior.
    """
    problem = _Problem(models, which, heard, prior, learned)
    state = problem.start()
    for _ in range(_TRIAL_ITERATIONS):
        state = problem.improve(state)
    state = problem.pruned(state, _PRUNE * 2)
    for _ in range(_ITERATIONS):
        before = state.cost
        state = problem.improve(state)
        if float(np.max(np.abs(before - state.cost))) < 1e-3:
            break
    return problem.summary(problem.pruned(state, _PRUNE))


@dataclass(frozen=True, slots=True, eq=False)
class _Normal:
    """Normal equations of all parts, and the cost there."""

    own: Array
    cross: Array
    shared: Array
    right_own: Array
    right_shared: Array
    cost: Array
    residual: Array

    def take(self, kept: NDArray[np.intp]) -> _Normal:
        return _Normal(*(getattr(self, each.name)[kept] for each in fields(self)))

    def where(self, chosen: NDArray[np.bool_], other: _Normal) -> _Normal:
        """These of the chosen parts, those of the others."""
        pairs = ((getattr(self, each.name), getattr(other, each.name)) for each in fields(self))
        return _Normal(*(np.where(chosen.reshape(-1, *[1] * (own.ndim - 1)), own, its) for own, its in pairs))


@dataclass(frozen=True, slots=True, eq=False)
class _State:
    """Values of all parts: locals (parts, spokes, 6), shared (parts, shared), part of the prior and step (parts,); and
    what follows from them."""

    own: Array
    shared: Array
    part: NDArray[np.intp]
    step: Array
    normal: _Normal

    @property
    def cost(self) -> Array:
        """Of each part, shape (parts,)."""
        return self.normal.cost

    def take(self, kept: NDArray[np.intp]) -> _State:
        return _State(self.own[kept], self.shared[kept], self.part[kept], self.step[kept], self.normal.take(kept))


class _Problem:
    """The fixed side of a fit: data, priors, tables. Shared unknowns: base hub, base nipple, four plane shifts, tolerances."""

    def __init__(
        self,
        models: tuple[SpokeModel, ...],
        which: NDArray[np.intp],
        heard: Partials,
        prior: EndsPrior,
        learned: SharedPrior | None,
    ) -> None:
        self.models, self.which, self.heard, self.prior = models, which, heard, prior
        self.used = np.isfinite(heard.sd)
        self.inverse_sd = np.where(self.used, 1 / np.where(self.used, heard.sd, 1.0), 0.0)
        self.data = np.where(self.used, heard.log_frequency, 0.0)
        self.bent = SHARED_ENDS + len(models[0].tolerances)
        sources = len(models[0].tolerances) + len(models[0].bends)
        self.shared_size = SHARED_ENDS + sources
        self.learned = learned is not None
        self.believed = flat_prior(prior, sources) if learned is None else learned
        self.precision = np.asarray(np.linalg.inv(self.believed.covariance), dtype=np.float64)
        offset = np.linalg.slogdet(self.believed.covariance)[1] - 2 * np.log(self.believed.weight)
        self.offset = offset - offset.min()
        self.own_sd = np.tile(np.array([3.0, *[prior.spoke_sd] * 4, _BETWEEN_SD]), (len(which), 1))
        if heard.tension_sd is not None:
            self.own_sd[:, 0] = heard.tension_sd
        self.lowest, self.highest = math.log(LOWEST_TENSION_N * 1.02), math.log(HIGHEST_TENSION_N * 0.98)

    def start(self) -> _State:
        parts, spokes = len(self.believed.weight), len(self.which)
        own = np.zeros((parts, spokes, _LOCALS))
        own[:, :, 0] = self.heard.start_log_tension
        part = np.arange(parts)
        shared = self.believed.mean.copy()
        return _State(own, shared, part, np.ones(parts), self._normal(own, shared, part))

    def improve(self, state: _State) -> _State:
        """One Gauss-Newton step of every part, halved for those whose cost would rise."""
        step_own, step_shared, *_ = _solve(state.normal)
        limit = np.array([0.4, *[1.0] * 5])
        step_own = np.clip(step_own, -limit, limit) * state.step[:, None, None]
        step_shared = np.clip(step_shared, -1.5, 1.5) * state.step[:, None]
        own, shared = state.own + step_own, state.shared + step_shared
        own[:, :, 0] = np.clip(own[:, :, 0], self.lowest, self.highest)
        normal = self._normal(own, shared, state.part)
        better = normal.cost < state.cost
        keep = better[:, None]
        return _State(
            np.where(keep[:, :, None], own, state.own),
            np.where(keep, shared, state.shared),
            state.part,
            np.where(better, np.minimum(1.0, 2 * state.step), 0.35 * state.step),
            normal.where(better, state.normal),
        )

    def pruned(self, state: _State, within: float) -> _State:
        """Leave out parts whose cost is too far above the best."""
        return state.take(np.flatnonzero(state.cost < state.cost.min() + within))

    def summary(self, state: _State) -> GroupFit:
        normal = state.normal
        _, _, inverse_own, schur, loading = _solve(normal)
        covariance: Array = np.asarray(np.linalg.inv(schur), dtype=np.float64)
        log_evidence = (
            -0.5 * normal.cost
            - 0.5 * np.linalg.slogdet(schur)[1]
            + 0.5 * np.sum(np.linalg.slogdet(inverse_own)[1], axis=1)
        )
        weight = np.exp(log_evidence - log_evidence.max())
        best = int(np.argmax(weight))
        residual = normal.residual[best]
        size = np.abs(residual)
        sane = self.used & (size < 4)
        misfit = np.sum(np.where(sane, size**2, 0), axis=(1, 2)) / np.maximum(np.sum(sane, axis=(1, 2)) - 2, 1)
        value, slopes, _ = self._predict(state.own, state.shared)
        robust = self.inverse_sd**2 / (1 + normal.residual**2 / _STUDENT)
        return GroupFit(
            weight / weight.sum(),
            state.own[:, :, 0],
            inverse_own[:, :, 0, 0],
            loading[:, :, 0, :],
            state.shared,
            covariance,
            value[best, :, :2],
            1 / slopes[best, :, 0, 0, 0],
            misfit,
            residual,
            float(normal.cost.min()),
            self.prior,
            individual_shares(inverse_own, slopes, robust, self.own_sd),
            common_shares(loading[:, :, 0, :], covariance, self.precision[state.part]),
            self.learned,
            self.models[0].sources,
        )

    def _predict(self, own_values: Array, shared_values: Array) -> tuple[Array, Array, Array]:
        """ln f (parts, spokes, 3, MODES) and its slopes by locals (.., 6) and shared (.., shared)."""
        parts, spokes = own_values.shape[:2]
        value = np.empty((parts, spokes, 3, MODES))
        by_own = np.zeros((parts, spokes, 3, MODES, _LOCALS))
        by_shared = np.zeros((parts, spokes, 3, MODES, self.shared_size))
        for number, model in enumerate(self.models):
            members = np.flatnonzero(self.which == number)
            change = shared_values[:, 6 : self.bent] @ model.tolerances  # (parts, 4): length, mass, flat, edge
            for plane in range(2):
                length, mass, stiffness = change[:, 0], change[:, 1], change[:, 2 + plane]
                log_t = own_values[:, members, 0] + (2 * length - stiffness)[:, None]
                shift = (length - stiffness)[:, None]
                hub = shared_values[:, 0, None] + shared_values[:, 2 + 2 * plane, None] + shift
                hub = hub + own_values[:, members, 1 + 2 * plane]
                nipple = shared_values[:, 1, None] + shared_values[:, 3 + 2 * plane, None] + shift
                nipple = nipple + own_values[:, members, 2 + 2 * plane]
                logs, slopes = model.tables[plane].log_frequencies(log_t.ravel(), hub.ravel(), nipple.ravel())
                shape = (parts, len(members), MODES)
                offset = (-2 * length - 0.5 * mass + 0.5 * stiffness)[:, None, None]
                bend = (shared_values[:, self.bent :] @ model.bends[:, plane])[:, None, :]
                value[:, members, plane] = logs.reshape(shape) + offset + bend
                by_t, by_hub, by_nipple = (slope.reshape(shape) for slope in slopes)
                own, shared = np.zeros((*shape, _LOCALS)), np.zeros((*shape, self.shared_size))
                own[..., 0] = by_t
                for column, slope in ((1, by_hub), (2, by_nipple)):
                    own[..., column + 2 * plane] = slope
                    shared[..., column - 1] = slope
                    shared[..., column + 1 + 2 * plane] = slope
                total = by_t + by_hub + by_nipple
                by_length, by_stiffness = by_t + total - 2, 0.5 - total
                tolerance = model.tolerances
                shared[..., self.bent :] = model.bends[:, plane].T
                shared[..., 6 : self.bent] = (
                    by_length[..., None] * tolerance[:, 0]
                    - 0.5 * tolerance[:, 1]
                    + by_stiffness[..., None] * tolerance[:, 2 + plane]
                )
                if model.thick_ends is not None:
                    added = model.thick_ends.log_frequencies(plane, log_t.ravel(), hub.ravel(), nipple.ravel())
                    added = added.reshape(*shape, -1)
                    shared[..., 6 : self.bent] += added
                    value[:, members, plane] += np.einsum("pimt,pt->pim", added, shared_values[:, 6 : self.bent])
                by_own[:, members, plane], by_shared[:, members, plane] = own, shared
        between = own_values[:, :, 5, None]
        apart = (value[:, :, 0] - value[:, :, 1]) / 2
        value[:, :, 2] = (value[:, :, 0] + value[:, :, 1]) / 2 + between * apart
        for slopes in (by_own, by_shared):
            first, second = slopes[:, :, 0], slopes[:, :, 1]
            slopes[:, :, 2] = (first + second) / 2 + between[..., None] * (first - second) / 2
        by_own[:, :, 2, :, 5] = apart
        return value, by_own, by_shared

    def _normal(self, own_values: Array, shared_values: Array, part: NDArray[np.intp]) -> _Normal:
        value, by_own, by_shared = self._predict(own_values, shared_values)
        parts, spokes = own_values.shape[:2]
        residual = (self.data - value) * self.inverse_sd
        squared = residual**2
        data_cost = _STUDENT * np.log1p(squared / _STUDENT) * self.used
        pull_own = own_values / self.own_sd
        pull_own[:, :, 0] = 0.0
        if self.heard.tension_sd is not None:
            pull_own[:, :, 0] = (own_values[:, :, 0] - self.heard.start_log_tension) / self.heard.tension_sd
        precision = self.precision[part]
        away = shared_values - self.believed.mean[part]
        pull_shared = np.einsum("cgh,ch->cg", precision, away)
        cost = data_cost.sum(axis=(1, 2, 3)) + (pull_own**2).sum(axis=(1, 2)) + (pull_shared * away).sum(axis=1)
        cost = cost + self.offset[part]
        robust = self.inverse_sd**2 / (1 + squared / _STUDENT)
        weight = robust.reshape(parts, spokes, -1)
        error = (self.data - value).reshape(parts, spokes, -1)
        own_rows = by_own.reshape(parts, spokes, -1, _LOCALS)
        shared_rows = by_shared.reshape(parts, spokes, -1, self.shared_size)
        weighted = own_rows * weight[..., None]
        weighted_shared = shared_rows * weight[..., None]
        own = weighted.transpose(0, 1, 3, 2) @ own_rows + np.eye(_LOCALS) / self.own_sd[:, :, None] ** 2
        cross = weighted.transpose(0, 1, 3, 2) @ shared_rows
        rows = spokes * own_rows.shape[2]
        flat, flat_weighted = (x.reshape(parts, rows, -1) for x in (shared_rows, weighted_shared))
        shared = flat_weighted.transpose(0, 2, 1) @ flat + precision
        right_own = np.einsum("csrl,csr->csl", weighted, error) - pull_own / self.own_sd
        right_shared = np.einsum("crg,cr->cg", flat_weighted, error.reshape(parts, rows)) - pull_shared
        return _Normal(own, cross, shared, right_own, right_shared, cost, residual)


def _solve(normal: _Normal) -> tuple[Array, Array, Array, Array, Array]:
    """Steps of locals and shared, inverse of the local blocks, Schur complement, and loadings of locals on shared."""
    inverse_own: Array = np.asarray(np.linalg.inv(normal.own), dtype=np.float64)
    through = inverse_own @ normal.cross
    schur = normal.shared - np.einsum("cslg,cslh->cgh", normal.cross, through)
    right = normal.right_shared - np.einsum("cslg,csl->cg", through, normal.right_own)
    step_shared = np.linalg.solve(schur, right[:, :, None])[:, :, 0]
    step_own = np.einsum("cslm,csm->csl", inverse_own, normal.right_own) - np.einsum(
        "cslg,cg->csl", through, step_shared
    )
    return step_own, step_shared, inverse_own, schur, -through


def _mixture_quantile(weight: Array, middle: Array, sd: Array, probability: float) -> float:
    """Quantile of a mixture of Gaussians by bisection."""
    low, high = float(np.min(middle - 8 * sd)), float(np.max(middle + 8 * sd))
    for _ in range(60):
        half = (low + high) / 2
        below = sum(
            w * 0.5 * (1 + math.erf((half - m) / (s * math.sqrt(2))))
            for w, m, s in zip(weight, middle, sd, strict=True)
        )
        low, high = (half, high) if below < probability else (low, half)
    return (low + high) / 2
