"""A joint fit tied to known tensions, and what of it holds for other spokes. Imports ``inverse``.

The fit is a mixture of Gaussians and a known tension a linear observation of it, so tying is exact algebra in each part: with
ln T_i = a_i + L_i s + e_i (``GroupFit``) and a known y_i = ln T_i + g + n_i, where g is the gauge's own error in common and n_i
each reading's, s and g get an information update, e_i its share k_i = var(e_i) / (var(e_i) + var(n_i)), and each part weighs in
by how well it foretold the y.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from .believed import SHARED_ENDS, SharedPrior
from .inverse import GroupFit
from .spokemodel import Array

#: What a fit calls the unknown that all known tensions share.
GAUGE = "gauge"
#: Parts of a posterior that weigh less are not handed on.
_SLIGHT = 0.01


@dataclass(frozen=True, slots=True, eq=False)
class KnownTensions:
    """Known ln T of some members of a group.

    ``at`` (known,) their places in the group, ``log_tension`` (known,), ``own_sd`` (known,) what is each value's own, > 0, and
    ``common_sd`` what all share, >= 0; standard deviations of ln T.
    """

    at: NDArray[np.intp]
    log_tension: Array
    own_sd: Array
    common_sd: float


@dataclass(frozen=True, slots=True)
class Carried:
    """How far what was learned from one wheel holds for the next of its build.

    ``ends_sd`` is how far the ends' ln k differ from wheel to wheel, ``kept`` the correlation of a tolerance (length, density
    ...) between two wheels: 1 if the error is the build's alone, 0 if each wheel has its own.
    """

    ends_sd: float = 0.1
    kept: float = 0.7


def tie(fit: GroupFit, known: KnownTensions) -> GroupFit:
    """The fit given the known tensions; the gauge's error in common is its last shared unknown."""
    at, parts = known.at, len(fit.weight)
    loading = fit.loading[:, at]
    noise = fit.individual[:, at] + known.own_sd**2
    size = fit.shared.shape[1]
    prior = np.zeros((parts, size + 1, size + 1))
    prior[:, :size, :size] = fit.shared_covariance
    prior[:, size, size] = known.common_sd**2
    rows = np.concatenate([loading, np.ones((parts, len(at), 1))], axis=2)
    error = known.log_tension - fit.log_tension[:, at]
    spread = rows @ prior @ rows.transpose(0, 2, 1) + noise[:, :, None] * np.eye(len(at))
    gain = np.linalg.solve(spread, rows @ prior).transpose(0, 2, 1)
    moved = np.einsum("cgk,ck->cg", gain, error)
    covariance = prior - gain @ rows @ prior
    told = np.einsum("ck,ck->c", error, np.linalg.solve(spread, error[:, :, None])[:, :, 0])
    log_weight = np.log(fit.weight) - 0.5 * (told + np.linalg.slogdet(spread)[1])
    weight = np.exp(log_weight - log_weight.max())

    share = np.zeros_like(fit.individual)
    share[:, at] = fit.individual[:, at] / noise
    log_tension = fit.log_tension + np.einsum("cis,cs->ci", fit.loading, moved[:, :size])
    left = error - np.einsum("cks,cs->ck", rows, moved)
    log_tension[:, at] += share[:, at] * left
    wider = np.concatenate([fit.loading * (1 - share)[:, :, None], -share[:, :, None]], axis=2)
    return replace(
        fit,
        weight=weight / weight.sum(),
        log_tension=log_tension,
        individual=fit.individual * (1 - share),
        loading=wider,
        shared=np.concatenate([fit.shared + moved[:, :size], moved[:, size:]], axis=1),
        shared_covariance=(covariance + covariance.transpose(0, 2, 1)) / 2,
        sources=(*fit.sources, GAUGE),
    )


def foretold(fit: GroupFit, at: NDArray[np.intp]) -> tuple[Array, Array]:
    """Mean and covariance of ln T of some members, from the whole mixture, shapes (n,) and (n, n)."""
    mean = fit.weight @ fit.log_tension[:, at]
    loading = fit.loading[:, at]
    away = fit.log_tension[:, at] - mean
    inner = loading @ fit.shared_covariance @ loading.transpose(0, 2, 1) + away[:, :, None] * away[:, None, :]
    return mean, np.tensordot(fit.weight, inner, 1) + np.diag(fit.weight @ fit.individual[:, at])


def posterior(fit: GroupFit) -> SharedPrior:
    """What the fit has learned of all the group shares, the gauge left out."""
    size = SHARED_ENDS + len([source for source in fit.sources if source != GAUGE])
    kept = np.flatnonzero(fit.weight > _SLIGHT * fit.weight.max())
    weight = fit.weight[kept] / fit.weight[kept].sum()
    return SharedPrior(weight, fit.shared[kept, :size], fit.shared_covariance[kept, :size, :size])


def carry(learned: SharedPrior, how: Carried) -> SharedPrior:
    """What was learned from one wheel, as it holds for another of its build."""
    size = learned.mean.shape[1]
    share = np.ones(size)
    share[SHARED_ENDS:] = how.kept
    added = np.zeros(size)
    added[:2] = how.ends_sd**2
    added[SHARED_ENDS:] = 1 - how.kept**2
    covariance = learned.covariance * np.outer(share, share) + np.diag(added)
    return replace(learned, mean=learned.mean * share, covariance=covariance)


def tolerances_of(learned: SharedPrior) -> tuple[Array, Array]:
    """Mean and covariance of the standardised tolerances, shapes (sources,) and (sources, sources)."""
    mean = learned.weight @ learned.mean[:, SHARED_ENDS:]
    away = learned.mean[:, SHARED_ENDS:] - mean
    covariance = learned.covariance[:, SHARED_ENDS:, SHARED_ENDS:] + away[:, :, None] * away[:, None, :]
    return mean, np.tensordot(learned.weight, covariance, 1)


def inform(prior: SharedPrior, mean: Array, covariance: Array) -> SharedPrior:
    """A prior given what another measurement found of the tolerances, which itself began from them as stated.

    Parameters
    ----------
    prior : SharedPrior
    mean, covariance : ndarray, shapes (sources,) and (sources, sources)
        Of the standardised tolerances after the other measurement, which took each as 0 +/- 1 before.
    """
    inverse = np.linalg.inv(covariance)
    size, vectors = np.linalg.eigh((inverse + inverse.T) / 2 - np.eye(len(mean)))
    told = (vectors * np.maximum(size, 0.0)) @ vectors.T
    before = np.linalg.inv(prior.covariance)
    precision = before.copy()
    precision[:, SHARED_ENDS:, SHARED_ENDS:] += told
    right = np.einsum("cgh,ch->cg", before, prior.mean)
    pull = right.copy()
    pull[:, SHARED_ENDS:] += inverse @ mean
    covariances = np.linalg.inv(precision)
    means = np.einsum("cgh,ch->cg", covariances, pull)
    gain = np.sum(means * pull, axis=1) - np.sum(prior.mean * right, axis=1)
    log_weight = np.log(prior.weight) + 0.5 * (gain + np.linalg.slogdet(before)[1] - np.linalg.slogdet(precision)[1])
    weight = np.exp(log_weight - log_weight.max())
    covariances = (covariances + covariances.transpose(0, 2, 1)) / 2
    return replace(prior, weight=weight / weight.sum(), mean=means, covariance=covariances)
