"""A source of sound cut into plucks: each onset with the ring that follows it. Imports ``onsets``, ``grid``, ``recording``.

The sound is put on a fixed grid, brought to 16..32 kHz and searched for onsets as it comes; nothing but the last seconds is
held. What struck - a finger, a tool, a voice - is not decided here.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from .grid import Decimator, regrid
from .onsets import Detector, OnsetDetector, QuickDetector, refine_onset
from .onsets import Onset as FoundOnset
from .recording import AudioSource, Samples

LEAD_S = 0.16
RING_S = 0.90
LOWEST_RATE_HZ = 16000.0
_BEFORE_NEXT_S = 0.008
_SEARCH_S = 0.030
_MERGE_S = 0.060
_HELD_S = 3.0
_RISE_BEFORE_S, _RISE_AFTER_S = 0.03, 0.04
_CLEAR_NOVELTY_DB, _RISE, _CLEAR_RISE = 10.0, 1.3, 5.0
_CLIP_LEVEL = 0.985
_FLAT_TOP, _FLAT_TOP_LEVEL = 4, 0.25
_AFTER_ATTACK_S = 0.025
_GATE_DB, _GATE_S = 40.0, 0.020


@dataclass(frozen=True, slots=True)
class Pace:
    """How soon a pluck is given: chunks of ``chunk_s``, a ring of ``ring_s``, and ``decided_after_s`` for what ends it.

    By ``decided_after_s`` after the end of a ring the ``detector`` knows every onset before that end.
    """

    chunk_s: float
    ring_s: float
    decided_after_s: float
    detector: Callable[[float], Detector]


#: The pace of every reading: the whole ring, and the slow detector that misses nothing.
WHOLE = Pace(0.1, RING_S, 0.4, OnsetDetector)
#: First look and last word for someone who waits at the wheel; clear onsets only.
FIRST_LOOK = Pace(0.02, 0.13, 0.03, QuickDetector)
LAST_WORD = Pace(0.02, 0.55, 0.03, QuickDetector)


@dataclass(frozen=True, slots=True)
class _Onset:
    """An onset at its refined time; ``louder`` says whether the sound as a whole rose, which ends the ring before it."""

    time_s: float
    novelty_db: float
    louder: bool


@dataclass(frozen=True, slots=True, eq=False)
class Pluck:
    """One onset and its ring.

    Parameters
    ----------
    onset_s : float
        Time in the recording.
    samples : ndarray of float32, shape (n,)
        From ``lead_s`` before the onset to shortly before the next one, 0.9 s after it at most.
    lead_s : float
    rate_hz : float
        16..32 kHz.
    novelty_db : float
        How sharply it rose (mean over bands).
    clipped, clipped_ring : bool
        Whether any of it is clipped, and whether it still is 25 ms after the onset.
    gated : bool
        Whether the ring was cut off by a noise gate (falls 40 dB in 20 ms, or exact silence).
    """

    onset_s: float
    samples: NDArray[np.float32]
    lead_s: float
    rate_hz: float
    novelty_db: float
    clipped: bool
    clipped_ring: bool
    gated: bool

    @property
    def ring_s(self) -> float:
        """How long the ring could be heard, in seconds."""
        return len(self.samples) / self.rate_hz - self.lead_s

    def after(self, start_s: float, longest_s: float = RING_S) -> NDArray[np.float64]:
        """The sound from ``start_s`` after the onset on, at most this long."""
        first = round((self.lead_s + start_s) * self.rate_hz)
        return self.samples[max(first, 0) : first + round(longest_s * self.rate_hz)].astype(np.float64)

    def before(self, end_s: float) -> NDArray[np.float64]:
        """The sound up to ``end_s`` before the onset."""
        return self.samples[: max(0, round((self.lead_s - end_s) * self.rate_hz))].astype(np.float64)


class PluckFinder:
    """Turns a stream of chunks on the fixed grid into plucks.

    Parameters
    ----------
    sample_rate_hz : float
        Of the source; at least 16 kHz.
    pace : Pace
        ``WHOLE`` for readings; the others are sooner and hear less.
    """

    def __init__(self, sample_rate_hz: float, pace: Pace = WHOLE) -> None:
        factor = max(1, math.floor(sample_rate_hz / LOWEST_RATE_HZ))
        self._pace = pace
        self.chunk_frames = factor * round(pace.chunk_s * sample_rate_hz / factor)
        self._source_rate_hz, self._rate_hz = sample_rate_hz, sample_rate_hz / factor
        self._decimator = Decimator(factor, sample_rate_hz)
        self._detector: Detector = pace.detector(self._rate_hz)
        self._held = np.zeros(0, np.float32)
        self._held_from = 0  # index of its first sample, at the working rate
        self._source_frames = 0
        self._clips: list[tuple[float, float]] = []
        self._waiting: list[_Onset] = []

    def push(self, chunk: NDArray[np.float32]) -> list[Pluck]:
        """Take the next chunk (``chunk_frames`` samples; the last may be shorter) and give the plucks that are complete."""
        self._clips += _clipped_spans(chunk, self._source_frames / self._source_rate_hz, self._source_rate_hz)
        self._source_frames += len(chunk)
        return self._take(self._decimator.push(chunk))

    def flush(self) -> list[Pluck]:
        """Give what is left at the end of the stream."""
        found = self._take(self._decimator.flush())
        self._add(self._detector.flush())
        return found + self._complete(at_end=True)

    def _take(self, sound: NDArray[np.float32]) -> list[Pluck]:
        self._held = np.concatenate([self._held, sound])
        self._add(self._detector.push(sound))
        found = self._complete(at_end=False)
        earliest = self._waiting[0].time_s - LEAD_S if self._waiting else math.inf
        now = (self._held_from + len(self._held)) / self._rate_hz
        keep_from = max(self._held_from, int(min(earliest - 0.1, now - _HELD_S) * self._rate_hz))
        self._held = self._held[keep_from - self._held_from :]
        self._held_from = keep_from
        self._clips = [span for span in self._clips if span[1] > keep_from / self._rate_hz]
        return found

    def _add(self, onsets: list[FoundOnset]) -> None:
        for onset in onsets:
            first = self._index(onset.time_s - _SEARCH_S)
            excerpt = self._held[first : self._index(onset.time_s + _SEARCH_S)]
            time_s = onset.time_s
            if len(excerpt) > 0.5 * 2 * _SEARCH_S * self._rate_hz:
                time_s = (self._held_from + first) / self._rate_hz + refine_onset(excerpt, self._rate_hz)
            if self._waiting and time_s - self._waiting[-1].time_s < _MERGE_S:
                continue
            needed = _RISE if onset.novelty_db > _CLEAR_NOVELTY_DB else _CLEAR_RISE
            self._waiting.append(_Onset(time_s, onset.novelty_db, self._rise(time_s) > needed))

    def _rise(self, time_s: float) -> float:
        """How much more power there is after this time than before it; beating rises too, but not much and not sharply."""
        before = self._held[self._index(time_s - _RISE_BEFORE_S) : self._index(time_s - 0.002)]
        after = self._held[self._index(time_s) : self._index(time_s + _RISE_AFTER_S)]
        if len(before) == 0 or len(after) == 0:
            return math.inf
        return float(np.mean(after.astype(np.float64) ** 2) / (np.mean(before.astype(np.float64) ** 2) + 1e-30))

    def _complete(self, at_end: bool) -> list[Pluck]:
        now = (self._held_from + len(self._held)) / self._rate_hz
        found = []
        while self._waiting:
            onset = self._waiting[0]
            end = onset.time_s + self._pace.ring_s
            louder = [later.time_s for later in self._waiting[1:] if later.louder]
            if louder:
                end = min(end, louder[0] - _BEFORE_NEXT_S)
            elif not at_end and now < end + self._pace.decided_after_s:
                break
            found.append(self._cut(onset, min(end, now)))
            self._waiting.pop(0)
        return found

    def _cut(self, onset: _Onset, end_s: float) -> Pluck:
        first = self._index(onset.time_s - LEAD_S)
        samples = self._held[first : self._index(end_s)].copy()
        samples.flags.writeable = False
        clips = [span for span in self._clips if span[0] < end_s and span[1] > onset.time_s - 0.005]
        late = any(span[1] > onset.time_s + _AFTER_ATTACK_S for span in clips)
        lead_s = onset.time_s - (self._held_from + first) / self._rate_hz
        gated = _is_gated(samples[max(0, round(lead_s * self._rate_hz)) :], self._rate_hz)
        return Pluck(
            onset.time_s,
            samples,
            lead_s,
            self._rate_hz,
            onset.novelty_db,
            bool(clips),
            late,
            gated,
        )

    def _index(self, time_s: float) -> int:
        """Place of a time in what is held."""
        return min(max(0, round(time_s * self._rate_hz) - self._held_from), len(self._held))


def find_plucks(source: AudioSource, channel: int) -> Iterator[Pluck]:
    """The plucks of a source, as they are complete; ``channel`` counts from 0."""
    finder = PluckFinder(source.sample_rate_hz)
    blocks: Iterator[Samples] = source.blocks()
    for chunk in regrid(blocks, channel, finder.chunk_frames):
        yield from finder.push(chunk)
    yield from finder.flush()


def _clipped_spans(chunk: NDArray[np.float32], start_s: float, rate_hz: float) -> list[tuple[float, float]]:
    """Where the chunk sticks at full scale, or stays exactly the same far from zero, as (start, end) in seconds."""
    size = np.abs(chunk)
    if len(size) < _FLAT_TOP or float(size.max()) < _FLAT_TOP_LEVEL:
        return []
    full = size >= _CLIP_LEVEL
    at = np.flatnonzero(full[1:] & full[:-1])
    same = (size[1:] == size[:-1]) & (size[1:] >= _FLAT_TOP_LEVEL)
    run = np.convolve(same, np.ones(_FLAT_TOP - 1), "valid") == _FLAT_TOP - 1
    places = np.union1d(at, np.flatnonzero(run))
    if len(places) == 0:
        return []
    cuts = np.flatnonzero(np.diff(places) > 0.02 * rate_hz)
    starts, ends = places[np.r_[0, cuts + 1]], places[np.r_[cuts, len(places) - 1]]
    return [(start_s + a / rate_hz, start_s + b / rate_hz) for a, b in zip(starts, ends, strict=True)]


def _is_gated(ring: NDArray[np.float32], rate_hz: float) -> bool:
    """Whether the ring falls by 40 dB within 20 ms, or into exact silence, after its attack."""
    step = round(0.005 * rate_hz)
    count = len(ring) // step
    if count < 12:
        return False
    energy = (ring[: count * step].astype(np.float64) ** 2).reshape(count, step).mean(axis=1)
    level = 10 * np.log10(energy[5:] + 1e-16)
    lag = round(_GATE_S / 0.005)
    return bool(np.any(level[:-lag] - level[lag:] > _GATE_DB))
