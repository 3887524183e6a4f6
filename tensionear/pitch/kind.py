"""What struck: a plucked spoke, or a tool, a voice, noise. Features of the first third of a second. Imports ``spectrum``.

A spoke's lines, once there, stay and keep their pitch; a knocked rim's die within a tenth of a second; a voice glides.
Everything is measured on the power that came *with* this onset: what rang before is taken off line by line.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np

from .spectrum import Array, Peaks

_WINDOW_S = 0.060
_BEFORE_AT_S, _EARLY_AT_S, _LATE_AT_S = -0.066, 0.012, (0.110, 0.160)
_TRACK_S, _TRACK_STEP_S, _TRACKS = 0.040, 0.020, 5
_MOST_PEAKS = 24
_BEFORE_FACTOR = 1.5
_OWN, _OWN_HZ = 0.0065, 5.0  # of f, and at least: how near a line of the series a peak is one
_QUIET_S, _ATTACK_S, _LATER_S, _AT_LEAST = (-0.050, -0.006), (0.0, 0.010), (0.030, 0.070), 0.02
_SAME_HZ = 6.0


@dataclass(frozen=True, slots=True)
class Features:
    """Features of an onset.

    ``persist_db``: power of the new lines after a tenth of a second relative to the start (the stronger of two looks).
    ``drift_cents``: how far the new lines move in 100 ms, weighted by power. ``lines``: effective number of new lines, by
    amplitude; a knock that sets the wheel ringing has lines of many spokes. ``own``: share of their amplitude in the lines of
    one spoke's series, 0..1. ``attack_db``: power that came in the first 10 ms, over that which is there 30 to 70 ms on; a
    voice swells.
    """

    persist_db: float
    drift_cents: float
    lines: float
    own: float
    attack_db: float


#: How the spoke rings that may have been plucked: as one alone, or touching another.
Ring = Literal["free", "touching"]
#: Logistic regression on simulated rounds, in the order of ``regressors``: made by ``python -m benchmarks.pluck_weights``.
_WEIGHTS: dict[Ring, tuple[float, ...]] = {
    "free": (-8.25, 1.19, 1.87, 0.82, 6.29, -0.50, -2.96, -1.55, 1.38),
    "touching": (-11.67, 1.14, 3.92, 0.16, 5.96, 0.98, -3.61, -3.40, 1.22),
}
_KNOCK_PERSIST_DB, _VOICE_DRIFT_CENTS, _WEAK_NOVELTY_DB = -12.0, 25.0, 9.0


def regressors(features: Features, rank: float, novelty_db: float) -> Array:
    """What tells a pluck from other onsets, bent so that its log odds go by a weighted sum of it; shape (9,).

    A series that explains more and a sharper onset speak for a pluck up to a point; then a still sharper one speaks for a
    knock. Only many lines and much drift speak against it.
    """
    return np.array(
        [
            1.0,
            min(rank, 250.0) / 50,
            min(rank, 100.0) / 50,
            4 * min(features.own, 0.7),
            min(novelty_db, 10.0) / 10,
            novelty_db / 10,
            np.log(max(features.lines / 4, 1.0)),
            np.log(max(features.drift_cents / 30, 1.0)),
            np.clip(features.attack_db, -8.0, 0.0) / 5,
        ]
    )


def pluck_probability(features: Features, rank: float, novelty_db: float, ring: Ring = "free") -> float:
    """How probable it is that a spoke was plucked, 0..1.

    Parameters
    ----------
    features : Features
    rank : float
        Of the best series of partials a spoke could have (``series.rank``), dB.
    novelty_db : float
        How sharply the onset rose.
    ring : {"free", "touching"}
        How the spoke rings.
    """
    return float(1 / (1 + np.exp(-np.dot(_WEIGHTS[ring], regressors(features, rank, novelty_db)))))


def what_else(features: Features, novelty_db: float) -> str:
    """What an onset that is no pluck most likely was: ``knock``, ``voice``, ``weak`` or ``noise``."""
    if features.persist_db < _KNOCK_PERSIST_DB and novelty_db > _WEAK_NOVELTY_DB:
        return "knock"
    if features.drift_cents > _VOICE_DRIFT_CENTS and novelty_db > _WEAK_NOVELTY_DB:
        return "voice"
    return "weak" if novelty_db > _WEAK_NOVELTY_DB else "noise"


#: Of an onset after which no series of partials was heard at all.
NOTHING = Features(-30.0, 50.0, 1.0, 0.0, 0.0)


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
    sound: Array, lead_s: float, rate_hz: float, peaks: Sequence[Peaks], old: Lines, series_hz: Array
) -> Features:
    """Measure an onset.

    Parameters
    ----------
    sound : ndarray, shape (n,)
        With the onset ``lead_s`` from its start.
    lead_s, rate_hz : float
    peaks : sequence of Peaks
        Of the ring, by the long window and the short one.
    old : Lines
        What still rings by what was heard before.
    series_hz : ndarray, shape (partials,)
        The partials of the spoke that explains the ring best.
    """
    attack = _attack_db(sound, lead_s, rate_hz)
    frequency = np.concatenate([found.frequency_hz for found in peaks])
    level = np.concatenate([found.level_db for found in peaks])
    frequency = frequency[np.argsort(-level, kind="stable")][:_MOST_PEAKS]
    if len(frequency) == 0:
        return Features(-30.0, 50.0, 0.0, 0.0, attack)

    waves = np.exp(-2j * np.pi / rate_hz * np.outer(frequency, np.arange(round(_WINDOW_S * rate_hz))))

    def power(at_s: float) -> Array:
        return np.asarray(np.abs(_look(sound, _place(sound, lead_s + at_s, rate_hz), waves)) ** 2)

    before = np.maximum(power(_BEFORE_AT_S), old.power_near(frequency))
    early = power(_EARLY_AT_S)
    late = np.maximum(power(_LATE_AT_S[0]), power(_LATE_AT_S[1]))
    fresh = np.maximum(early - _BEFORE_FACTOR * before, 0) + 1e-30
    share = fresh / fresh.sum()
    left = np.clip(late / np.maximum(early, 1e-30), 0, 4)
    away = np.min(np.abs(frequency[:, None] - series_hz), axis=1, initial=np.inf)
    amplitude = np.sqrt(fresh)
    return Features(
        10 * np.log10(float(np.sum(share * left)) + 1e-3),
        _drift(sound, lead_s, rate_hz, frequency, waves[:, : round(_TRACK_S * rate_hz)], share),
        _effective(np.where(peaks[0].height_db > 0, 10 ** (peaks[0].level_db / 20), 0.0)[:_MOST_PEAKS]),
        float(np.sum(amplitude[away < np.maximum(_OWN * frequency, _OWN_HZ)]) / np.sum(amplitude)),
        attack,
    )


def _effective(amplitude: Array) -> float:
    """How many lines there would be if all were as strong."""
    return float(amplitude.sum() ** 2 / (np.sum(amplitude**2) + 1e-30))


def _attack_db(sound: Array, lead_s: float, rate_hz: float) -> float:
    """Power that came with the attack over the power that came and stays, of the differenced sound, where attacks are."""

    def power(window_s: tuple[float, float]) -> float:
        first, end = (_place(sound, lead_s + at_s, rate_hz) for at_s in window_s)
        return float(np.mean(np.diff(sound[first:end]) ** 2)) if end - first > 8 else 0.0

    before, attack, later = (power(window_s) for window_s in (_QUIET_S, _ATTACK_S, _LATER_S))
    came, stays = (max(each - before, 0) + _AT_LEAST * each + 1e-16 for each in (attack, later))
    return float(10 * np.log10(came / stays))


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
