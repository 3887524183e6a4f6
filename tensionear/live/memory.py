"""What is remembered of a round: strikes worth listing, last words by onset, accepted plucks. Imports its siblings.

From it the round is read, and what is kept of a pluck is put together.
"""

from __future__ import annotations

from bisect import insort
from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace

from tensionear.capture.plucks import Pluck
from tensionear.listening import Listened, Strike, without_sound
from tensionear.reading import Reading
from tensionear.readings.plucks import listed

from .ear import SAME_S, Rehearing
from .events import Lines, Value
from .keeping import KeptPluck, Restored
from .machine import Round, Taken
from .subject import Counted, Names, Subject, lines_of
from .told import Setup

_HELD_PLUCKS, _HELD_RINGS = 12, 200


class Memory:
    """Grows with the round; sound is held of the last plucks only, or of all where ``hears_again``."""

    def __init__(self, hears_again: bool) -> None:
        self.strikes: list[Strike] = []  # whole ones worth listing
        self.sounds: list[Pluck] = []  # theirs, where they are heard again
        self._hears_again = hears_again
        self.accepted: dict[int, list[Counted]] = {}
        self._last_words: dict[float, tuple[Strike, Pluck]] = {}
        self._from_sounds: list[float] = []  # onsets of strikes that were heard from kept sounds

    def restore(self, kept: Sequence[Restored], rehearing: Rehearing) -> dict[int, tuple[Taken, ...]]:
        """Hear plucks that were kept again, in order of time, and give them by spoke."""
        accepted: dict[int, tuple[Taken, ...]] = {}
        for each in kept:
            lines = Lines((each.value.pitch_hz,), (0.0,))
            heard = None if each.sound is None else rehearing.hear(each.sound, each.onset_s)
            if heard is not None:
                strike, pluck = heard
                self._keep_whole(strike, pluck)
                self._from_sounds.append(strike.onset_s)
                self.accepted.setdefault(each.spoke, []).append(Counted(strike, each.value))
                lines = lines_of(strike)
            accepted[each.spoke] = (*accepted.get(each.spoke, ()), Taken(each.onset_s, lines, each.value))
        return accepted

    def last_word(self, strike: Strike, pluck: Pluck) -> None:
        """Hold a pluck until it is known whether it counts."""
        self._last_words[strike.onset_s] = (strike, pluck)
        for old in list(self._last_words)[:-_HELD_PLUCKS]:
            del self._last_words[old]

    def whole(self, strike: Strike, pluck: Pluck) -> bool:
        """Take a whole ring in place of its last word; False if it is not worth listing."""
        if not listed(Listened((strike,), 0.0, 0.0, ())):
            return False
        self._forget_sound_of(strike.onset_s)
        self._keep_whole(strike, pluck)
        for onset_s in self._last_words:
            if abs(onset_s - strike.onset_s) < SAME_S:
                self._last_words[onset_s] = (strike, pluck)
        return True

    def _keep_whole(self, strike: Strike, pluck: Pluck) -> None:
        insort(self.strikes, strike, key=lambda each: each.onset_s)
        if len(self.strikes) > _HELD_RINGS:
            self.strikes[-_HELD_RINGS - 1] = without_sound(self.strikes[-_HELD_RINGS - 1])
        if self._hears_again:
            insort(self.sounds, replace(pluck, onset_s=strike.onset_s), key=lambda each: each.onset_s)

    def _forget_sound_of(self, onset_s: float) -> None:
        """A strike heard from its kept sound gives way to the same one heard in its recording."""
        for old in [each for each in self._from_sounds if abs(each - onset_s) < SAME_S]:
            self._from_sounds.remove(old)
            self.strikes = [each for each in self.strikes if each.onset_s != old]
            self.sounds = [each for each in self.sounds if each.onset_s != old]

    def hear_again(self, before: Restored, strike: Strike, pluck: Pluck) -> Taken:
        """An accepted pluck is heard in its recording again."""
        self.last_word(strike, pluck)
        others = [
            each for each in self.accepted.get(before.spoke, ()) if abs(each.strike.onset_s - before.onset_s) >= SAME_S
        ]
        counted = [*others, Counted(strike, before.value)]
        self.accepted[before.spoke] = sorted(counted, key=lambda each: each.strike.onset_s)
        return Taken(before.onset_s, lines_of(strike), before.value)

    def accept(self, spoke: int, kept: Sequence[KeptPluck]) -> None:
        """These plucks count as this spoke's."""
        own = self.accepted.setdefault(spoke, [])
        own += [Counted(self._last_words[each.onset_s][0], each.value) for each in kept]

    def kept(self, spoke: int, values: Mapping[float, Value]) -> tuple[KeptPluck, ...]:
        """Plucks (by onset) of a spoke as they are kept, those whose sound is still held."""
        return tuple(
            KeptPluck(onset_s, spoke, value, self._last_words[onset_s][1])
            for onset_s, value in values.items()
            if onset_s in self._last_words
        )

    def listened(self, now_s: float, rate_hz: float, warnings: tuple[str, ...]) -> Listened:
        """Everything heard so far, as a recording's would be."""
        return Listened(tuple(self.strikes), now_s, rate_hz, warnings)


def names_of(state: Round, listened: Listened) -> Names:
    """Which of the listed strikes (from 0) is which spoke, as the round has them."""
    onsets = {strike.onset_s: index for index, strike in enumerate(listed(listened))}
    found = {}
    for spoke, taken in state.accepted.items():
        for each in taken:
            index = near(onsets, each.onset_s)
            if index is not None:
                found[index] = spoke
    return Names(found, state.closed is True)


def reading_job(setup: Setup, subject: Subject, listened: Listened, names: Names) -> Callable[[], Reading]:
    """The reading of the round so far as a job that another thread may do: it touches nothing of the session."""
    if setup.named_by_whole:
        return lambda: subject.read(setup.file, listened, setup.first, setup.options)
    return lambda: subject.read_named(setup.file, listened, names, setup.options)


def tensions_of(state: Round, reading: Reading | None) -> dict[int, float]:
    """What is known of the spokes: by the reading of the round, else by their last plucks."""
    found = {
        spoke: value for spoke, taken in state.accepted.items() if (value := taken[-1].value.tension_n) is not None
    }
    if reading is not None:
        found |= {each.spoke: each.tension_n for each in reading.spokes if each.tension_n is not None}
    return found


def near(by_onset: Mapping[float, int], onset_s: float) -> int | None:
    """What stands at the onset closest to this one, if it is the same."""
    if not by_onset:
        return None
    nearest = min(by_onset, key=lambda each: abs(each - onset_s))
    return by_onset[nearest] if abs(nearest - onset_s) < SAME_S else None
