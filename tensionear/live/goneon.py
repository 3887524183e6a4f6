"""Did the hand go on to the next spoke while one more pluck was awaited? Pure; imports events only.

Someone who did not hear the two low tones plucks the next spoke twice, and these two agree. What tells it is where the
pitches belong: the sides of most wheels sound unlike, and a bad pluck of a spoke is seldom far from its pitch.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

_SIDE_SD = 0.04  # of ln pitch: spokes of one side; 8 % of tension. Judgement, seen on simulated wheels
_ANY_SD = 0.30  # a side of which nothing is known yet, about what is known of the other
_BAD_SD, _BAD_FAR_SHARE, _BAD_RANGE = 0.05, 0.3, 1.4  # a bad pluck: near its spoke, or anywhere in two octaves
#: ln odds of having gone on: one odd pluck before is more often just a bad one; as many as a spoke needs seldom are.
_PRIOR_ONE, _PRIOR_MORE = -1.5, 1.0


@dataclass(frozen=True, slots=True)
class Place:
    """A spoke that is awaited: its side."""

    spoke: int
    side: str


def log_odds_gone_on(
    awaited: Place, following: Place, odd_hz: Sequence[float], agreed_hz: float, known: Mapping[str, Sequence[float]]
) -> float:
    """ln of the odds that plucks that agree are the following spoke's and the odd ones before them the awaited one's.

    Parameters
    ----------
    awaited, following : Place
    odd_hz : sequence of float
        Pitches of the plucks before, which do not agree with those that do; not empty.
    agreed_hz : float
        Pitch of those that agree.
    known : mapping of str to sequence of float
        Pitches of accepted spokes, by side.
    """
    odd = odd_hz[0]
    gone = _log_side(odd, awaited.side, known) + _log_side(agreed_hz, following.side, known)
    stayed = _log_side(agreed_hz, awaited.side, known) + _log_bad(odd, agreed_hz)
    return gone - stayed + (_PRIOR_ONE if len(odd_hz) == 1 else _PRIOR_MORE)


def _log_side(hz: float, side: str, known: Mapping[str, Sequence[float]]) -> float:
    """ln density of ln pitch on a side."""
    own = known.get(side) or ()
    if own:
        sd = _SIDE_SD * math.sqrt(1 + 1 / len(own))
        return math.log(0.95 * _normal(_away(hz, own), sd) + 0.05 * _normal(_away(hz, own), _ANY_SD))
    others = [each for pitches in known.values() for each in pitches]
    return math.log(_normal(_away(hz, others) if others else 0.0, _ANY_SD))


def _log_bad(hz: float, spoke_hz: float) -> float:
    near = _normal(_away(hz, (spoke_hz,)), _BAD_SD)
    return math.log((1 - _BAD_FAR_SHARE) * near + _BAD_FAR_SHARE / _BAD_RANGE)


def _away(hz: float, others: Sequence[float]) -> float:
    return math.log(hz) - sum(math.log(each) for each in others) / len(others)


def _normal(x: float, sd: float) -> float:
    return math.exp(-0.5 * min((x / sd) ** 2, 400.0)) / (sd * math.sqrt(2 * math.pi))
