"""Where the variance of each tension of a joint fit comes from, input by input. Imports nothing of the package.

The fit is least squares on inputs that are all observations of something: each partial, and each value stated with a standard
uncertainty. To first order an unknown is then a linear function of the inputs x_i, and with the normal matrix H, the slopes
J_i of what input i observes and its standard uncertainty u_i

    c_i = (H^-1 J_i^T) / u_i^2,    sum_i c_i^2 u_i^2 = H^-1

is the law of propagation (JCGM 100:2008, eq. 11a) and adds up to the posterior variance. The variance of ln T falls in two:
that with all shared unknowns held, and what these bring in through the loading l, l S l^T.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]

#: Columns of ``individual_shares``.
FIRST_MODE, OVERTONES, OWN_ENDS, OTHER = range(4)


def individual_shares(inverse: Array, rows: Array, weight: Array, own_sd: Array) -> Array:
    """What adds up to the variance of ln T of each spoke, the shared unknowns held.

    Parameters
    ----------
    inverse : ndarray, shape (parts, spokes, locals, locals)
        H^-1 of each spoke's own unknowns: ln T, four ends, where lines of both planes lie.
    rows : ndarray, shape (parts, spokes, 3, modes, locals)
        Slopes of ln f.
    weight : ndarray, shape (parts, spokes, 3, modes)
        1/u^2 of each ln f as the fit took it; 0 where not heard.
    own_sd : ndarray, shape (spokes, locals)
        Prior standard deviations.

    Returns
    -------
    ndarray, shape (parts, spokes, 4)
        Of the first mode, of the overtones, of how the spoke's own ends differ from its fellows', of the rest.
    """
    first = inverse[:, :, 0, :]
    heard = np.einsum("csl,csrml->csrm", first, rows) ** 2 * weight
    stated = (first / own_sd) ** 2
    shares = [heard[..., 0].sum(axis=2), heard[..., 1:].sum(axis=(2, 3))]
    shares += [stated[..., 1:5].sum(axis=2), stated[..., 0] + stated[..., 5]]
    return np.stack(shares, axis=-1)


def common_shares(loading: Array, covariance: Array, precision: Array) -> Array:
    """What adds up to the variance that shared unknowns bring to ln T of each spoke.

    Parameters
    ----------
    loading : ndarray, shape (parts, spokes, shared)
        Slopes of ln T by the shared unknowns.
    covariance, precision : ndarray, shape (parts, shared, shared)
        Of the shared unknowns: the posterior covariance S, and the inverse of the prior covariance.

    Returns
    -------
    ndarray, shape (parts, spokes, shared + 1)
        Of what was believed of each shared unknown before; last, of the sound of all spokes of the group. Where beliefs are
        correlated only their sum has a meaning.
    """
    through = loading @ covariance
    believed = through * (through @ precision)
    total = np.sum(through * loading, axis=-1, keepdims=True)
    return np.concatenate([believed, total - believed.sum(axis=-1, keepdims=True)], axis=-1)
