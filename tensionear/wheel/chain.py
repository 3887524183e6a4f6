"""Forward and backward over the positions of a round: how probable each pluck is at each of them. Imports numpy only.

The hidden state is the position of the hand, kept at the last candidate that *was* a pluck: candidates between two plucks are
strays, each at its own price. So what is said about a pair of plucks - how alike they sound, how long the hand took - is said
about the pair that the path takes, whatever lies between.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]

#: Ways from one pluck to the next: the same spoke; the next; one, two, three left out; more of them left out; the round's
#: first spoke again after its last; from anywhere to anywhere (only where a user says so).
AGAIN, ON, SKIP_ONE, SKIP_TWO, SKIP_THREE, LEAP, CLOSE, ANYWHERE = range(8)
WAYS = 8
NEVER = -1e4  # ln of no chance


@dataclass(frozen=True, slots=True, eq=False)
class Chain:
    """All that is known of a round, as ln of likelihoods; ``hypotheses`` are ways of looking at the whole of it.

    Candidates count from 0, nodes from 0 with node 0 before the first of them; positions of the plan stand in columns
    1 to ``positions``, column 0 is before the round and the last one is the closing pluck.

    Parameters
    ----------
    reach : ndarray of int, shape (candidates,)
        Earliest node that may come directly before each candidate.
    way : ndarray, shape (hypotheses, ways, candidates + 1, candidates)
        From a node to a candidate by each way.
    place : ndarray, shape (hypotheses, candidates, positions + 2)
        Each candidate at each position.
    pluck, stray : ndarray, shape (candidates,)
        Each candidate being a pluck, and being none.
    end : ndarray, shape (hypotheses, positions + 2)
        The round ending there.
    prior : ndarray, shape (hypotheses,)
    """

    reach: NDArray[np.intp]
    way: Array
    place: Array
    pluck: Array
    stray: Array
    end: Array
    prior: Array

    def posterior(self) -> tuple[Array, Array]:
        """Probability of each candidate at each position, over all hypotheses.

        Returns
        -------
        at : ndarray, shape (candidates, positions + 1)
            The last column is the closing pluck; what a row lacks to 1 is the probability of being no pluck.
        first : ndarray, shape (candidates, positions + 1)
            The same for being the first pluck at that position; a column's sum is the probability that it was plucked.
        """
        moves = _moves(self.place.shape[2])
        ahead, ahead_scale, again = self._ahead(moves)
        behind, behind_scale = self._behind(moves)
        level = ahead_scale + behind_scale
        # The total of a hypothesis: every path has a first pluck, or none at all.
        total = np.log(np.maximum(behind[:, 0, 0], 1e-300)) + behind_scale[:, 0]
        weight = np.exp(self.prior + total - np.max(self.prior + total))
        weight /= weight.sum()
        found = ahead * behind * np.exp(np.minimum(level - total[:, None], 700))[:, :, None]
        at, first = (np.einsum("h,hjp->jp", weight, part)[1:, 1:] for part in (found, found * (1 - again)))
        return np.asarray(at), np.asarray(first)

    def _ahead(self, moves: Array) -> tuple[Array, Array, Array]:
        """Likelihood of all up to each node with a pluck at each position there, the ln of its scale, the share of repeats."""
        hypotheses, count, size = self.place.shape
        again = np.zeros((hypotheses, count + 1, size))
        found, scale = np.zeros((hypotheses, count + 1, size)), np.zeros((hypotheses, count + 1))
        found[:, 0, 0] = 1.0
        passed = np.concatenate([[0.0], np.cumsum(self.stray)])
        for j in range(1, count + 1):
            start = self.reach[j - 1]
            between = passed[j - 1] - passed[start:j]
            log_way = self.way[:, :, start:j, j - 1] + (scale[:, start:j] + between)[:, None, :]
            top = log_way.max(axis=(1, 2))
            taken = np.exp(log_way - top[:, None, None]) @ found[:, start:j]
            new = np.einsum("hwp,wpq->hq", taken, moves, optimize=True)
            again[:, j] = (taken[:, AGAIN] @ moves[AGAIN]) / np.maximum(new, 1e-300)
            new *= np.exp(self.place[:, j - 1])
            found[:, j], scale[:, j] = _scaled(new, top + self.pluck[j - 1])
        return found, scale, again

    def _behind(self, moves: Array) -> tuple[Array, Array]:
        """Likelihood of all after each node given a pluck at each position there, and the ln of its scale."""
        hypotheses, count, size = self.place.shape
        found, scale = np.zeros((hypotheses, count + 1, size)), np.zeros((hypotheses, count + 1))
        arrive = np.zeros_like(found)
        last = np.array([np.searchsorted(self.reach, i, side="right") for i in range(count + 1)])
        passed = np.concatenate([[0.0], np.cumsum(self.stray)])
        for i in range(count, -1, -1):
            ending = self.end + (passed[count] - passed[i])
            top = ending.max(axis=1)
            new = np.zeros((hypotheses, size))
            stop = last[i]
            if stop > i:
                between = passed[i:stop] - passed[i] + self.pluck[i:stop]
                log_way = self.way[:, :, i, i:stop] + (scale[:, i + 1 : stop + 1] + between)[:, None, :]
                top = np.maximum(top, log_way.max(axis=(1, 2)))
                taken = np.exp(log_way - top[:, None, None]) @ arrive[:, i + 1 : stop + 1]
                new = np.einsum("hwq,wpq->hp", taken, moves, optimize=True)
            new += np.exp(ending - top[:, None])
            found[:, i], scale[:, i] = _scaled(new, top)
            if i > 0:
                arrive[:, i] = found[:, i] * np.exp(self.place[:, i - 1])
        return found, scale


def _scaled(values: Array, log_scale: Array) -> tuple[Array, Array]:
    """Values with their sum taken into the scale, so that long rounds do not underflow."""
    total = np.maximum(values.sum(axis=1), 1e-300)
    return values / total[:, None], log_scale + np.log(total)


def _moves(size: int) -> Array:
    """Which columns each way leads to, 0 or 1, shape (ways, from, to)."""
    found = np.zeros((WAYS, size, size))
    start, end = np.indices((size, size))
    plan = (end >= 1) & (end < size - 1) & (start < size - 1)
    found[AGAIN] = (start == end) & (start >= 1)
    for way, step in ((ON, 1), (SKIP_ONE, 2), (SKIP_TWO, 3), (SKIP_THREE, 4)):
        found[way] = plan & (end - start == step)
    found[LEAP] = plan & (end - start > 4)
    found[CLOSE, size - 2, size - 1] = 1.0
    found[ANYWHERE] = (end >= 1) & (end < size - 1)
    return found
