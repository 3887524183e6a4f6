"""A round named: which strikes are which spokes, and the rings each spoke gets. Imports listening, wheel, readings.plucks."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from tensionear.listening import Strike
from tensionear.pitch.lines import Heard
from tensionear.wheel.sequence import Candidate, Naming, Struck
from tensionear.wheel.sidefit import Rings

from .plucks import fault_of, first_modes, reason_of

_WIDEST_DOUBT = 10 / 1731.23  # of ln f: 10 cents; candidates further apart give no number
_LIKELY = 0.95  # a doubtful spoke gets a number only if it is this probably one of candidates that sound alike


@dataclass(frozen=True, slots=True)
class SpokeRings:
    """What a spoke is read from: its rings, and in words what is doubtful about them (None if nothing).

    ``plucks``: how many plucks of its own are to be expected among those that sound like this.
    """

    rings: Rings
    strikes: tuple[int, ...]
    doubt: str | None
    plucks: float


def struck_of(strikes: Sequence[Strike]) -> list[Struck]:
    """Strikes as the naming takes them."""
    found = []
    for strike in strikes:
        heard = strike.heard[strike.best]
        main, _ = first_modes(heard, True)
        usable = [line for line in heard.lines if line.mode is not None]
        found.append(
            Struck(
                onset_s=strike.onset_s,
                probability=0.0 if fault_of(strike) == "clipped" else strike.probability,
                line_hz=np.array([line.frequency_hz for line in usable]),
                line_level_db=np.array([line.energy_db for line in usable]),
                pitch_hz=main.frequency_hz if main else None,
                fall_db=strike.fall_db,
            )
        )
    return found


def rings_of(
    strikes: Sequence[Strike], naming: Naming, kind_of: Mapping[int, int], states: np.ndarray
) -> dict[int, SpokeRings]:
    """The rings of every spoke that can be read.

    Parameters
    ----------
    strikes : sequence of Strike
    naming : Naming
    kind_of : mapping of int to int
        Which of a strike's ``heard`` belongs to a spoke.
    states : ndarray
        ln T of the grid's states.
    """
    found = {}
    for spoke, candidates in naming.candidates.items():
        usable = []
        for each in candidates:
            heard = strikes[each.index].heard[kind_of[spoke]]
            first = np.log([line.frequency_hz for line in heard.first_modes(0)])
            if len(first) and heard.candidates and fault_of(strikes[each.index]) is None:
                usable.append(_Usable(each, heard, first))
        rings = _weighed(usable, naming, spoke, states)
        if rings is not None:
            found[spoke] = rings
    return found


@dataclass(frozen=True, slots=True, eq=False)
class _Usable:
    """A candidate that can be read, with what was heard of it and ln of its first modes in Hz: one, or one a plane."""

    named: Candidate
    heard: Heard
    first: np.ndarray

    def away_from(self, other: _Usable) -> float:
        """How much higher it sounds, by the first modes that are nearest: a pluck may sound one plane only, or either."""
        apart = self.first[:, None] - other.first
        return float(apart.flat[np.argmin(np.abs(apart))])


def _weighed(usable: Sequence[_Usable], naming: Naming, spoke: int, states: np.ndarray) -> SpokeRings | None:
    """Its own plucks where they are sure; else the likeliest one, moved to the weighted mean of the candidates' pitch."""
    if not usable:
        return None
    sure = [each for each in usable if naming.spokes[each.named.index] == spoke and naming.sure[each.named.index]]
    likeliest = max(usable, key=lambda each: each.named.probability)
    chosen = sure or [likeliest]
    heard = tuple(each.heard for each in chosen)
    start = float(states[heard[0].candidates[0].state_index])
    numbers = tuple(each.named.index for each in chosen)
    if sure:
        return SpokeRings(Rings(heard, start), numbers, None, len(sure))
    alike = [each for each in usable if abs(each.away_from(likeliest)) < _WIDEST_DOUBT]
    # One of these at least is the spoke's own: either its first pluck is among them, or the likeliest is its own.
    if max(sum(each.named.first for each in alike), likeliest.named.probability) < _LIKELY:
        return None
    weight = np.array([each.named.probability for each in alike])
    away = np.array([each.away_from(likeliest) for each in alike])
    mean = float(np.average(away, weights=weight))
    spread = float(np.sqrt(np.average((away - mean) ** 2, weights=weight)))
    doubt = "which pluck is this spoke's is not sure; its candidates sound alike"
    return SpokeRings(Rings(heard, start, mean, spread), numbers, doubt, float(weight.sum()))


def refusal_of(strike: Strike, index: int, naming: Naming, skip: Sequence[int]) -> str | None:
    """Why a strike is not used in the round, or None."""
    fault = fault_of(strike)
    if fault is not None:
        return fault
    if index + 1 in skip:
        return "skipped"
    if naming.spokes[index] is None:
        return reason_of(strike) if strike.probability < 0.8 else "unplaced"
    return None
