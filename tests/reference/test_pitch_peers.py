"""The pitch of one pluck against librosa's YIN and pYIN on synthetic plucks of known pitch.

The peers fit one period to all partials, and the partials of a stiff spoke lie sharp of a harmonic series. So they
give the pitch of the first partial when they hear it alone, and its octave when they hear the whole.
"""

import numpy as np
import pytest

import tensionear
from tests.reference.normalised import cents

RATE_HZ = 48_000
FLOOR_HZ, CEILING_HZ, FRAME = 100.0, 1200.0, 4096
# First mode Hz, stiffness number of a pinned beam, decay of the first mode s, partials.
TONES = [
    (151.3, 11.0, 0.50, 6),
    (196.7, 14.6, 0.45, 6),
    (246.9, 17.0, 0.40, 5),
    (291.2, 19.0, 0.35, 5),
    (333.3, 22.0, 0.32, 5),
    (382.3, 23.1, 0.30, 5),
    (416.0, 28.6, 0.28, 5),
    (486.5, 41.1, 0.25, 5),
    (563.1, 35.0, 0.22, 4),
    (712.9, 50.0, 0.18, 4),
]


def pluck(first_hz: float, xi: float, decay_s: float, partials: int) -> tuple[np.ndarray, np.ndarray]:
    """1.2 s of sound with the pluck at 0.2 s, 40 dB above white noise; and its first partial alone, for the peers.

    Partials at n sqrt((1 + n^2 B)/(1 + B)), B = pi^2/xi^2, levels 1/n, decays 1/sqrt(n), attack 1 ms.
    """
    t = np.arange(int(1.0 * RATE_HZ)) / RATE_HZ
    b = (np.pi / xi) ** 2
    attack = 1 - np.exp(-t / 0.001)
    rng = np.random.default_rng(round(first_hz * 10))
    parts = []
    for n in range(1, partials + 1):
        frequency = first_hz * n * np.sqrt((1 + n**2 * b) / (1 + b))
        phase = rng.uniform(0, 2 * np.pi)
        parts.append(attack * np.exp(-t * np.sqrt(n) / decay_s) * np.cos(2 * np.pi * frequency * t + phase) / n)
    silence = np.zeros(int(0.2 * RATE_HZ))
    noise = 0.01 / np.sqrt(2) * rng.standard_normal(len(silence) + len(t))
    whole = 0.25 * (np.concatenate([silence, np.sum(parts, axis=0)]) + noise)
    alone = 0.25 * (np.concatenate([silence, parts[0]]) + noise)
    return whole, alone


def read_pitch(samples: np.ndarray) -> float:
    tone = tensionear.read(tensionear.Recording(samples, RATE_HZ), spokes=1)
    (used,) = [pluck for pluck in tone.plucks if pluck.used]
    assert used.tension_n is None
    return used.frequency_hz


def yin(samples: np.ndarray) -> float:
    import librosa

    found = librosa.yin(ring(samples), fmin=FLOOR_HZ, fmax=CEILING_HZ, sr=RATE_HZ, frame_length=FRAME, center=False)
    return float(np.median(found))


def pyin(samples: np.ndarray) -> float:
    import librosa

    found, voiced, _ = librosa.pyin(
        ring(samples), fmin=FLOOR_HZ, fmax=CEILING_HZ, sr=RATE_HZ, frame_length=FRAME, center=False, resolution=0.05
    )
    return float(np.median(found[voiced]))


def ring(samples: np.ndarray) -> np.ndarray:
    """From 50 to 300 ms after the onset."""
    return samples[round(0.25 * RATE_HZ) : round(0.50 * RATE_HZ)]


@pytest.mark.parametrize("tone", TONES, ids=lambda tone: f"{tone[0]} Hz")
def test_pitch_is_that_of_the_first_mode(tone):
    whole, _ = pluck(*tone)
    assert abs(cents(read_pitch(whole), tone[0])) < 1.0


@pytest.mark.parametrize("peer", [yin, pyin])
@pytest.mark.parametrize("tone", TONES, ids=lambda tone: f"{tone[0]} Hz")
def test_pitch_agrees_with_independent_trackers(tone, peer):
    """First partial alone: to 10 cents. Whole sound: the octave, which they hear up to 80 cents sharp."""
    whole, alone = pluck(*tone)
    found = read_pitch(whole)
    assert abs(cents(found, peer(alone))) < 10.0
    assert -100.0 < cents(found, peer(whole)) < 0.0
