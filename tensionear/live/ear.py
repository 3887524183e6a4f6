"""Sound as it comes to strikes at three stages: a first look, a last word, and the whole ring. Imports listening, capture.

The whole ring is exactly what a recording gives; the two earlier stages are for whoever waits at the wheel.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np

from tensionear.capture.grid import regrid
from tensionear.capture.plucks import FIRST_LOOK, LAST_WORD, LEAD_S, WHOLE, Pluck, PluckFinder
from tensionear.capture.recording import Recording, Samples
from tensionear.listening import Hearing, Listener, Strike
from tensionear.pitch.lines import Expectation

#: ``late``: the whole ring of a pluck too faint for the quick detector; it is all that comes of it.
Stage = Literal["first", "last", "late", "whole"]

Sounded = tuple[Pluck, Strike]

SAME_S = 0.08  # onsets this close are one pluck, seen by two detectors
_PLUCK = 0.5
_KEPT_S = 4.0
_CHANNEL_S = 0.3


@dataclass(frozen=True, slots=True, eq=False)
class Heard:
    """A strike at a stage with its sound; the strike's ``onset_s`` counts from the start of the round."""

    stage: Stage
    strike: Strike
    pluck: Pluck


class LiveEar:
    """Hears a stream of blocks.

    Parameters
    ----------
    sample_rate_hz : float
    channels : int
    channel : int or None
        Counted from 0; None takes the one that carries most sound in its first moments.
    expectations : sequence of Expectation
    start_s : float
        Where in the round this stream begins.
    """

    def __init__(
        self, sample_rate_hz: float, channel: int | None, expectations: Sequence[Expectation], start_s: float = 0.0
    ) -> None:
        self._rate_hz, self._expectations, self._start_s = sample_rate_hz, expectations, start_s
        self._channel = channel
        self._waiting: list[Samples] = []
        self._frames = 0
        self._told: list[float] = []  # onsets of last words that were plucks
        self._paces: tuple[Hearing, ...] = ()
        if channel is not None:
            self._choose(channel)

    @property
    def now_s(self) -> float:
        """How much of the round has been heard."""
        return self._start_s + self._frames / self._rate_hz

    @property
    def channel(self) -> int:
        """The channel that is listened to."""
        return self._channel or 0

    def push(self, block: Samples) -> list[Heard]:
        """Take the next block, shape (frames, channels), and give what is complete."""
        self._frames += len(block)
        if self._paces:
            return self._heard(*(each.push(block) for each in self._paces))
        self._waiting.append(block)
        return [] if self._frames < _CHANNEL_S * self._rate_hz else self._begin()

    def flush(self) -> list[Heard]:
        """Give what is left at the end of the stream."""
        begun = self._begin() if self._waiting else []
        return [*begun, *self._heard(*(each.flush() for each in self._paces))] if self._paces else begun

    def _begin(self) -> list[Heard]:
        """Choose the channel and hear what has waited for that."""
        block = np.concatenate(self._waiting)
        self._waiting = []
        self._choose(_liveliest(block))
        return self._heard(*(each.push(block) for each in self._paces))

    def _choose(self, channel: int) -> None:
        self._channel = channel
        paces = (FIRST_LOOK, LAST_WORD, WHOLE)
        self._paces = tuple(Hearing(self._rate_hz, channel, self._expectations, pace) for pace in paces)

    def _heard(self, first: Sequence[Sounded], last: Sequence[Sounded], whole: Sequence[Sounded]) -> list[Heard]:
        found = [Heard("first", self._placed(strike), pluck) for pluck, strike in first]
        for pluck, strike in last:
            placed = self._placed(strike)
            if self._was_told(placed.onset_s):
                continue  # the quick detector gives an onset twice when the larger rise comes second
            if strike.probability > _PLUCK:
                self._told = [each for each in self._told if each > placed.onset_s - _KEPT_S] + [placed.onset_s]
            found.append(Heard("last", placed, pluck))
        for pluck, strike in whole:
            placed = self._placed(strike)
            if strike.probability > _PLUCK and not self._was_told(placed.onset_s):
                found.append(Heard("late", placed, pluck))
            found.append(Heard("whole", placed, pluck))
        return found

    def _was_told(self, onset_s: float) -> bool:
        return any(abs(onset_s - each) < SAME_S for each in self._told)

    def _placed(self, strike: Strike) -> Strike:
        return replace(strike, onset_s=strike.onset_s + self._start_s) if self._start_s else strike


class Rehearing:
    """Kept plucks heard again in order of time, each with what still rang of the ones before it."""

    def __init__(self, expectations: Sequence[Expectation]) -> None:
        self._listener = Listener(expectations)

    def hear(self, sound: Recording, onset_s: float) -> tuple[Strike, Pluck] | None:
        """What a pluck is heard as by now, and its sound, which begins a little before it. None if nothing is in it."""
        finder = PluckFinder(sound.sample_rate_hz)
        found = [each for chunk in regrid(sound.blocks(), 0, finder.chunk_frames) for each in finder.push(chunk)]
        near = [each for each in (*found, *finder.flush()) if abs(each.onset_s - LEAD_S) < SAME_S]
        if not near:
            return None
        clearest = max(near, key=lambda pluck: pluck.novelty_db)
        # The cut is heard as it was kept: an onset sought anew in it lies some tenths of a millisecond off, which is some
        # tenths of a per cent of tension.
        samples = sound.samples.reshape(-1).astype(np.float32)
        lead_s = min(LEAD_S, onset_s)
        pluck = replace(clearest, onset_s=onset_s, samples=samples, lead_s=lead_s, rate_hz=sound.sample_rate_hz)
        return self._listener.hear(pluck), pluck


def _liveliest(block: Samples) -> int:
    """The channel with most sound; a dead one next to a live one has none."""
    change = np.diff(block.astype(np.float64), axis=0)
    return int(np.argmax(np.mean(change**2, axis=0))) if len(change) else 0
