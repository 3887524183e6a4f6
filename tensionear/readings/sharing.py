"""Whether spokes touch where they cross, by ear: partners that touch share their partials. Imports listening, wheel."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np
from numpy.typing import NDArray

from tensionear.listening import Strike
from tensionear.wheel.sequence import Naming

from .plucks import fault_of

Array = NDArray[np.float64]

_LOWEST_HZ, _HIGHEST_HZ, _MOST, _WITHIN_DB = 250.0, 2600.0, 10, 32.0
_SAME = 0.0009  # of f
_OFFSETS = (1, 3, 5, 7)
_TOUCHING, _APART = 0.35, 0.2  # of the strong partials, that partners share more than others do, mean of the sides


def shared_share(strikes: Sequence[Strike], chosen: Mapping[int, int], numbers: Sequence[int]) -> float | None:
    """How much more of their partials partners share than others do; None if too few spokes were heard.

    Parameters
    ----------
    strikes : sequence of Strike
    chosen : mapping of int to int
        Which strike is a spoke's own.
    numbers : sequence of int
        Spokes of one side round the rim; they run clockwise and anticlockwise in turn. Which meet is not known: those of
        the offset that share most are compared with those of the others.
    """
    lines = {number: _strong(strikes[index]) for number, index in chosen.items() if number in numbers}
    if len(lines) < 6:
        return None
    shares = []
    for begin in (0, 1):
        for offset in _OFFSETS:
            if 2 * offset > len(numbers):
                continue
            pairs = [(numbers[at], numbers[(at + offset) % len(numbers)]) for at in range(begin, len(numbers), 2)]
            each = [_met(lines[one], lines[other]) for one, other in pairs if one in lines and other in lines]
            shares.append(float(np.median(each)) if len(each) >= 3 else 0.0)
    return float(max(shares) - np.median(shares)) if len(shares) >= 3 else None


def by_sound(strikes: Sequence[Strike], naming: Naming, sides: Sequence[Sequence[int]]) -> str:
    """What the sound of a round tells of its crossings, in words; nothing where it does not. ``sides``: spokes round the rim."""
    chosen = {
        spoke: index
        for index, spoke in enumerate(naming.spokes)
        if spoke is not None and naming.sure[index] and fault_of(strikes[index]) is None
    }
    shares = [share for side in sides if (share := shared_share(strikes, chosen, side)) is not None]
    return said_of(float(np.mean(shares)) if shares else None)


def said_of(more: float | None) -> str:
    """What the sound tells, in words, where partners share so much more of their partials than others; maybe nothing."""
    if more is None or _APART < more < _TOUCHING:
        return ""
    if more <= _APART:
        return "; by their sound they do not: partners share no more partials than other spokes"
    return "; by their sound they do: partners share their partials"


def _strong(strike: Strike) -> Array:
    """ln f of its strongest new peaks, with their weights, (2, peaks)."""
    peaks = strike.heard[strike.best].peaks[0]
    use = (peaks.height_db > 0) & (peaks.frequency_hz > _LOWEST_HZ) & (peaks.frequency_hz < _HIGHEST_HZ)
    order = np.argsort(-np.where(use, peaks.level_db, -np.inf))[: min(_MOST, int(use.sum()))]
    order = order[peaks.level_db[order] > peaks.level_db[order[0]] - _WITHIN_DB] if len(order) else order
    return np.log(peaks.frequency_hz[order])


def _met(one: Array, other: Array) -> float:
    """Share of the strong partials of either that the other has too."""
    if not len(one) or not len(other):
        return 0.0
    apart = np.abs(one[:, None] - other)
    return float(np.mean(np.concatenate([apart.min(axis=0), apart.min(axis=1)]) < _SAME))
