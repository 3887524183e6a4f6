"""A second look at the rings of a side, with the ends that its first fit found. Imports listening, pitch, physics.

A ring that was taken for another state at first is heard again, where the narrower series explains it better by another.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from tensionear.listening import Strike
from tensionear.pitch.hearing import hear
from tensionear.pitch.lines import Expectation, Heard
from tensionear.pitch.series import Candidate, find_series, rank, scan
from tensionear.pitch.spectrum import Array

from .rounds import SpokeRings

#: Of ln f, between first modes: the same state, and what may be meant by the state that was heard.
_SAME, _NEAR = 12 / 1731.23, 60 / 1731.23
_BETTER, _ABOUT_AS_MUCH = 1.15, 0.7  # of the rank and of the score of any such, that another state must have


@dataclass(frozen=True, slots=True)
class Fellows:
    """Spokes fitted together, by number, with what their fit teaches to listen for in each, and their ln T."""

    spokes: Sequence[int]
    expected: Sequence[Expectation]
    log_tension: Array


def second_look(
    strikes: Sequence[Strike], groups: Sequence[Fellows], rings: Mapping[int, SpokeRings], kind_of: Mapping[int, int]
) -> tuple[Strike, ...]:
    """The strikes, those of a misheard spoke heard again; only rings whose sound was kept can be.

    Parameters
    ----------
    strikes : sequence of Strike
    groups : sequence of Fellows
    rings : mapping of int to SpokeRings
        By spoke, of the first look.
    kind_of : mapping of int to int
        Which of a strike's ``heard`` belongs to a spoke.
    """
    found = list(strikes)
    for group in groups:
        for at, (spoke, expected) in enumerate(zip(group.spokes, group.expected, strict=True)):
            others, kind = np.delete(group.log_tension, at), kind_of[spoke]
            for index in rings[spoke].strikes:
                heard = _again(strikes[index], kind, expected, others)
                if heard is not None:
                    every = found[index].heard
                    found[index] = replace(found[index], heard=(*every[:kind], heard, *every[kind + 1 :]))
    return tuple(found)


def _again(strike: Strike, kind: int, expected: Expectation, usual: Array) -> Heard | None:
    """What is heard with the narrower series where they tell of another state, else None; ``usual``: ln T of its fellows."""
    first, kept = strike.heard[kind], strike.kept
    main = first.first_modes(0)
    if kept is None or not main:
        return None
    candidates = rank(first.peaks, expected.grid, scan(first.peaks, expected.grid), usual)
    heard_at = np.log(main[0].frequency_hz)
    if not candidates or abs(_first_mode(first, expected, candidates[0]) - heard_at) < _SAME:
        return None
    best, *others = candidates
    near = [each for each in others if abs(_first_mode(first, expected, each) - heard_at) < _NEAR]
    if any(best.rank < _BETTER * each.rank or best.score < _ABOUT_AS_MUCH * each.score for each in near):
        return None
    again = hear(
        kept.ring.astype(np.float64), kept.rate_hz, expected, replace(first, lines=(), candidates=candidates), kept.old
    )
    return again if again.first_modes(0) else None


def _first_mode(heard: Heard, expected: Expectation, candidate: Candidate) -> float:
    """ln f of the first mode in the main plane, of the state that a candidate stands for."""
    return float(find_series(heard.peaks, expected.grid, candidate).log_frequency[0][0])
