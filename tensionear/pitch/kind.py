"""What struck: a plucked spoke, or a tool, a voice, noise. Features of the first third of a second. Imports ``spectrum``.

A spoke's lines, once there, stay and keep their pitch; a knocked rim's die within a tenth of a second; a voice glides.
Everything is measured on the power that came *with* this onset: what rang before is taken off line by line.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from .spectrum import Array, Peaks

_WINDOW_S = 0.060
_BEFORE_AT_S, _EARLY_AT_S, _LATE_AT_S = -0.066, 0.012, (0.110, 0.160)
_TRACK_S, _TRACK_STEP_S, _TRACKS = 0.040, 0.020, 5
_MOST_PEAKS = 24
_BEFORE_FACTOR = 1.5
_SAME_HZ = 6.0


@dataclass(frozen=True, slots=True)
class Features:
    """Features of an onset.

    ``persist_db``: power of the new lines after a tenth of a second relative to the start (the stronger of two looks).
    ``drift_cents``: how far the new lines move in 100 ms, weighted by power. ``fresh_db``: power of the new lines
    relative to all there is. ``lines``: effective number of new lines. ``rise_db``: how much louder the whole sound became.
    """

    persist_db: float
    drift_cents: float
    fresh_db: float
    lines: float
    rise_db: float


#: Logistic regression on simulated rounds (``benchmarks/simulator``: tidy, untidy, slack, even, missing), in the order of
#: ``pluck_probability``; the intercept first.
_WEIGHTS = (-1.775, 3.965, -0.027, -0.491, 0.691, -0.803, -1.032, 0.381)
_KNOCK_PERSIST_DB, _VOICE_DRIFT_CENTS, _WEAK_NOVELTY_DB = -12.0, 25.0, 9.0


def pluck_probability(features: Features, score: float, novelty_db: float) -> float:
    """How probable it is that a spoke was plucked, 0..1.

    Parameters
    ----------
    features : Features
    score : float
        Of the best series of partials a spoke could have (``series.scan``), dB.
    novelty_db : float
        How sharply the onset rose.
    """
    values = (
        1.0,
        min(score, 200.0) / 50,
        max(features.persist_db, -20.0) / 5,
        np.log(max(features.drift_cents, 1.0)),
        max(features.fresh_db, -10.0) / 5,
        novelty_db / 10,
        np.log(max(features.lines, 0.5)),
        np.clip(features.rise_db, -2.0, 12.0) / 5,
    )
    return float(1 / (1 + np.exp(-np.dot(_WEIGHTS, values))))


def what_else(features: Features, novelty_db: float) -> str:
    """What an onset that is no pluck most likely was: ``knock``, ``voice``, ``weak`` or ``noise``."""
    if features.persist_db < _KNOCK_PERSIST_DB and novelty_db > _WEAK_NOVELTY_DB:
        return "knock"
    if features.drift_cents > _VOICE_DRIFT_CENTS and novelty_db > _WEAK_NOVELTY_DB:
        return "voice"
    return "weak" if novelty_db > _WEAK_NOVELTY_DB else "noise"


#: Of an onset after which no series of partials was heard at all.
NOTHING = Features(-30.0, 50.0, -30.0, 1.0, 0.0)


@dataclass(frozen=True, slots=True, eq=False)
class Lines:
    """Lines that are known to ring: frequency in Hz and amplitude re full scale, shapes (lines,)."""

    frequency_hz: Array
    amplitude: Array

    def power_near(self, frequency_hz: Array) -> Array:
        """The most power these lines together can have at each frequency, between two beats."""
        near = np.abs(frequency_hz[:, None] - self.frequency_hz) < _SAME_HZ
        return np.asarray((near @ self.amplitude) ** 2)


def onset_features(
    sound: Array, lead_s: float, rate_hz: float, peaks: Sequence[Peaks], old: Lines, rise_db: float
) -> Features:
    """Measure an onset; ``sound`` (n,) has it ``lead_s`` from its start, ``old`` is what still rings by what was heard before."""
    frequency = np.concatenate([found.frequency_hz for found in peaks])
    level = np.concatenate([found.level_db for found in peaks])
    frequency = frequency[np.argsort(-level, kind="stable")][:_MOST_PEAKS]
    if len(frequency) == 0:
        return Features(-30.0, 50.0, -30.0, 0.0, rise_db)

    waves = np.exp(-2j * np.pi / rate_hz * np.outer(frequency, np.arange(round(_WINDOW_S * rate_hz))))

    def power(at_s: float) -> Array:
        return np.asarray(np.abs(_look(sound, _place(sound, lead_s + at_s, rate_hz), waves)) ** 2)

    before = np.maximum(power(_BEFORE_AT_S), old.power_near(frequency))
    early = power(_EARLY_AT_S)
    late = np.maximum(power(_LATE_AT_S[0]), power(_LATE_AT_S[1]))
    fresh = np.maximum(early - _BEFORE_FACTOR * before, 0) + 1e-30
    share = fresh / fresh.sum()
    left = np.clip(late / np.maximum(early, 1e-30), 0, 4)
    persist = 10 * np.log10(float(np.sum(share * left)) + 1e-3)
    total = float(np.mean(sound[_place(sound, lead_s + 0.012, rate_hz) :][: round(0.06 * rate_hz)] ** 2)) + 1e-30
    return Features(
        persist,
        _drift(sound, lead_s, rate_hz, frequency, waves[:, : round(_TRACK_S * rate_hz)], share),
        10 * np.log10(float(fresh.sum()) / 2 / total + 1e-3),
        float(1 / np.sum(share**2)),
        rise_db,
    )


def _look(sound: Array, first: int, waves: np.ndarray) -> np.ndarray:
    """Complex amplitude, by a window's start, of each of the waves (lines, n) from the sample ``first`` on; zero where there
    is no sound."""
    piece = sound[first : first + waves.shape[1]]
    if len(piece) < 8:
        return np.zeros(len(waves), complex)
    window = np.hanning(len(piece) + 2)[1:-1]
    return np.asarray(waves[:, : len(piece)] @ (piece * window * (2 / window.sum())))


def _drift(sound: Array, lead_s: float, rate_hz: float, frequency: Array, waves: np.ndarray, share: Array) -> float:
    """Weighted mean of |slope of frequency|, in cents a 100 ms, from the curvature of each line's phase."""
    places = [_place(sound, lead_s + _EARLY_AT_S + k * _TRACK_STEP_S, rate_hz) for k in range(_TRACKS)]
    turned = np.exp(-2j * np.pi / rate_hz * np.outer(places, frequency))
    looks = turned * [_look(sound, first, waves) for first in places]
    phase = np.unwrap(np.angle(looks), axis=0)
    time = np.arange(_TRACKS) * _TRACK_STEP_S
    curvature = np.polyfit(time, phase, 2)[0] / np.pi  # Hz a second
    cents = np.abs(curvature) * 0.1 / frequency * 1731.2
    return float(np.sum(share * np.minimum(cents, 200.0)))


def _place(sound: Array, at_s: float, rate_hz: float) -> int:
    return min(max(0, round(at_s * rate_hz)), len(sound))
