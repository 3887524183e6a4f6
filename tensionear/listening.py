"""A source of sound heard from end to end: every onset with what it most likely was. Imports capture, pitch, errors.

Nothing here knows which spoke is which. Each onset is heard once for every kind of spoke it might be; of a recording's sound
nothing is kept but the lines and the rings of the last plucks, so that an hour takes no more memory than a minute.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from .capture.channels import best_channel
from .capture.checks import check_rate, checked
from .capture.grid import Regrid
from .capture.plucks import WHOLE, Pace, Pluck, PluckFinder
from .capture.recording import AudioSource, Samples
from .errors import SoundError
from .pitch.hearing import SKIP_S, hear, survey
from .pitch.kind import NOTHING, Features, Lines, onset_features, pluck_probability
from .pitch.lines import Expectation, Heard, KeptRing, Ringing, ringing_after
from .pitch.series import find_series
from .pitch.spectrum import Array

_BEFORE_END_S = 0.006
_USUAL_DECAY, _DECAYS = 3.0, (0.5, 10.0)  # 1/s
_KEPT_BEFORE_S = 0.15
_MOST_KEPT = 200  # rings of a recording, 0.2 MB each: a round with its repeats
_RINGS = 0.3  # probability from which an onset's lines are expected to ring on
_FALL_LINES, _FALL_WITHIN_DB, _FALL_WINDOW_S = 12, 20.0, 0.020
_FALL_FROM_S, _FALL_TO_S = (0.126, 0.106, 0.086), (0.016, 0.006)  # before the onset, where the windows end
_WORTH_A_LOOK, _WORTH_FITTING = 3.0, 0.008  # a rank and a probability below which an onset is not looked into
_CLEAR, _REMEMBERED = 0.95, 12  # plucks this probable tell what is usual, the last so many of them


@dataclass(frozen=True, slots=True, eq=False)
class Strike:
    """An onset and what was heard of it.

    ``heard`` has one entry a kind of spoke; ``best`` is the one whose series fits best. ``probability`` that a spoke was
    plucked; ``fall_db``: how far what rang before fell in the last tenth of a second (``fall_before``). ``kept`` is its sound,
    for a second look, of the last plucks of a recording.
    """

    onset_s: float
    ring_s: float
    novelty_db: float
    clipped: bool
    clipped_ring: bool
    gated: bool
    fall_db: float
    features: Features
    probability: float
    heard: tuple[Heard, ...]
    best: int
    kept: KeptRing | None = None

    @property
    def level_db(self) -> float:
        """Level of its strongest peak."""
        return float(np.max(self.heard[self.best].peaks[0].level_db, initial=-200.0))


@dataclass(frozen=True, slots=True)
class Listened:
    """A whole recording, heard; ``plucks`` are the sounds of the strikes where they were kept, else none."""

    strikes: tuple[Strike, ...]
    duration_s: float
    sample_rate_hz: float
    warnings: tuple[str, ...]
    plucks: tuple[Pluck, ...] = ()


class Listener:
    """Hears a stream of plucks one after the other and remembers what still rings."""

    def __init__(self, expectations: Sequence[Expectation]) -> None:
        self._expectations = tuple(expectations)
        self._old: tuple[Ringing, ...] = ()
        self._usual: tuple[deque[float], ...] = tuple(deque(maxlen=_REMEMBERED) for _ in self._expectations)

    def hear(self, pluck: Pluck) -> Strike:
        """What an onset was."""
        ring, before = pluck.after(SKIP_S), pluck.before(_BEFORE_END_S)
        fall = fall_before(pluck, self._old)
        seen = tuple(
            survey(ring, before, pluck.rate_hz, expected, self._old, pluck.onset_s, usual)
            for expected, usual in zip(self._expectations, self._usual, strict=True)
        )
        best = int(np.argmax([each.candidates[0].rank if each.candidates else 0.0 for each in seen]))
        rank = seen[best].candidates[0].rank if seen[best].candidates else 0.0
        features = self._features(pluck, best, seen[best]) if rank > _WORTH_A_LOOK else NOTHING
        probability = pluck_probability(features, rank, pluck.novelty_db, self._expectations[best].ring)
        heard = seen
        if probability > _WORTH_FITTING:
            heard = tuple(
                hear(ring, pluck.rate_hz, expected, each, self._old)
                for expected, each in zip(self._expectations, seen, strict=True)
            )
        if probability > _CLEAR:
            for expected, usual, each in zip(self._expectations, self._usual, heard, strict=True):
                if each.candidates:
                    usual.append(float(expected.grid.state[each.candidates[0].state_index]))
        kept = None
        if probability > _RINGS:
            kept = self._kept(pluck, ring, before, heard[best])
            self._old = ringing_after(heard[best], pluck.onset_s, self._old)
        return Strike(
            pluck.onset_s,
            pluck.ring_s,
            pluck.novelty_db,
            pluck.clipped,
            pluck.clipped_ring,
            pluck.gated,
            fall,
            features,
            probability,
            heard,
            best,
            kept,
        )

    def _kept(self, pluck: Pluck, ring: Array, before: Array, heard: Heard) -> KeptRing:
        """What a second look needs of the sound."""
        last = before[-round(_KEPT_BEFORE_S * pluck.rate_hz) :]
        swing = heard.first_modes(0)
        rate = float(np.clip(swing[0].decay_rate if swing else _USUAL_DECAY, *_DECAYS))
        sound, quiet = ring.astype(np.float32), last.astype(np.float32)
        return KeptRing(sound, quiet, pluck.rate_hz, SKIP_S, self._old, heard.stretch, rate)

    def _features(self, pluck: Pluck, kind: int, seen: Heard) -> Features:
        ringing = Lines(
            np.array([line.frequency_hz for line in self._old]),
            np.array([10 ** (line.level_at(pluck.onset_s) / 20) for line in self._old]),
        )
        series = find_series(seen.peaks, self._expectations[kind].grid, seen.candidates[0])
        partials = np.exp(np.concatenate([logs for logs in series.log_frequency if logs is not None]))
        return onset_features(
            pluck.samples.astype(np.float64), pluck.lead_s, pluck.rate_hz, seen.peaks, ringing, partials
        )


class Hearing:
    """One channel of a stream of blocks heard as it comes; whatever the lengths of the blocks, the strikes are the same.

    Parameters
    ----------
    sample_rate_hz : float
        At least 16 kHz.
    channel : int
        Counted from 0.
    expectations : sequence of Expectation
    pace : Pace
        ``WHOLE`` for readings.
    """

    def __init__(
        self,
        sample_rate_hz: float,
        channel: int,
        expectations: Sequence[Expectation],
        pace: Pace = WHOLE,
    ) -> None:
        self._finder, self._listener = PluckFinder(sample_rate_hz, pace), Listener(expectations)
        self._regrid = Regrid(channel, self._finder.chunk_frames)

    def push(self, block: Samples) -> list[tuple[Pluck, Strike]]:
        """Take the next block, shape (frames, channels), and give the strikes that are complete, each with its sound."""
        plucks = [pluck for chunk in self._regrid.push(block) for pluck in self._finder.push(chunk)]
        return [(pluck, self._listener.hear(pluck)) for pluck in plucks]

    def flush(self) -> list[tuple[Pluck, Strike]]:
        """Give what is left at the end of the stream."""
        plucks = [pluck for chunk in self._regrid.flush() for pluck in self._finder.push(chunk)]
        return [(pluck, self._listener.hear(pluck)) for pluck in (*plucks, *self._finder.flush())]


def listen_through(source: AudioSource, expectations: Sequence[Expectation]) -> Listened:
    """Hear a source from its start to its end.

    Raises
    ------
    SoundError
        If it is no sound: too low a rate, silent, not a number, nothing in it.
    """
    check_rate(source.name, source.sample_rate_hz)
    channel = best_channel(source)
    hearing = Hearing(source.sample_rate_hz, channel.index, expectations)
    frames = 0
    strikes: list[Strike] = []
    for block in checked(source.blocks(), source.name, source.sample_rate_hz):
        frames += len(block)
        strikes += [strike for _, strike in hearing.push(block)]
        strikes[:-_MOST_KEPT] = (without_sound(each) for each in strikes[:-_MOST_KEPT])
    strikes += [strike for _, strike in hearing.flush()]
    warnings = tuple(text for text in (channel.text, *source.notes()) if text)
    if frames == 0:
        raise SoundError(f"{source.name} holds no sound (0 samples); record again")
    return Listened(tuple(strikes), frames / source.sample_rate_hz, source.sample_rate_hz, warnings)


def without_sound(strike: Strike) -> Strike:
    """A strike that cannot be looked at again, its sound let go."""
    return strike if strike.kept is None else replace(strike, kept=None)


def heard_again(listened: Listened, expectations: Sequence[Expectation]) -> Listened:
    """The sounds that were kept, heard for other spokes."""
    listener = Listener(expectations)
    return replace(listened, strikes=tuple(listener.hear(pluck) for pluck in listened.plucks))


def fall_before(pluck: Pluck, old: Sequence[Ringing]) -> float:
    """How far the lines that rang before fell in the last tenth of a second before an onset, in dB.

    A ring left alone falls by 1 to 4 dB; a spoke that a finger touches to pluck it again falls silent first. 0 where nothing
    rang, or where too little of the sound before is held.
    """
    loud = sorted(old, key=lambda line: -line.level_at(pluck.onset_s))[:_FALL_LINES]
    loud = [line for line in loud if line.level_at(pluck.onset_s) > loud[0].level_at(pluck.onset_s) - _FALL_WITHIN_DB]
    size = round(_FALL_WINDOW_S * pluck.rate_hz)
    if not loud or len(pluck.before(max(_FALL_FROM_S))) < size:
        return 0.0
    turns = -2j * np.pi * np.array([line.frequency_hz for line in loud]) / pluck.rate_hz
    window = np.hanning(size + 2)[1:-1]
    waves = np.exp(np.outer(turns, np.arange(size))) * (window * (2 / window.sum()))

    def level_db(end_s: float) -> float:
        return float(10 * np.log10(np.sum(np.abs(waves @ pluck.before(end_s)[-size:]) ** 2) + 1e-16))

    return float(np.mean([level_db(end_s) for end_s in _FALL_FROM_S])) - min(level_db(end_s) for end_s in _FALL_TO_S)
