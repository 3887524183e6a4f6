"""Sounds that are no spoke of the wheel but ring or hum like one, and what recorders do to honest ones. Numpy, scipy only."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
from numpy.typing import NDArray
from scipy.signal import resample_poly

from benchmarks.simulator.disturbances import knock, speech
from benchmarks.simulator.room import (
    MICROPHONES,
    NoiseMix,
    band_rms,
    convolve,
    draw_microphone,
    draw_noise,
    draw_room,
    heard_response,
    quantised,
)

Array = NDArray[np.float64]
Samples = NDArray[np.float32]
Maker = Callable[[np.random.Generator, int], Array]

_RING_S = 0.3


def _ringing(rng: np.random.Generator, rate: int, hz: Array, level: Array, tau_s: Array, seconds: float) -> Array:
    """Decaying partials with random phases and a rise of half a millisecond."""
    time = np.arange(round(seconds * rate)) / rate
    kept = hz < 0.45 * rate
    waves = np.sin(2 * np.pi * np.outer(hz[kept], time) + rng.uniform(0, 2 * np.pi, (int(kept.sum()), 1)))
    sound = (level[kept, None] * np.exp(-time / tau_s[kept, None]) * waves).sum(axis=0)
    rise = round(0.0005 * rate)
    sound[:rise] *= np.linspace(0, 1, rise)
    return np.asarray(sound)


def tone(rng: np.random.Generator, rate: int) -> Array:
    """A pure tone switched on, 120 to 1500 Hz, steady or dying away."""
    steady = rng.uniform() < 0.5
    tau = np.array([1e3 if steady else rng.uniform(0.2, 1.0)])
    return _ringing(rng, rate, np.exp(rng.uniform(np.log([120]), np.log([1500]))), np.ones(1), tau, 1.5)


def hum(rng: np.random.Generator, rate: int) -> Array:
    """A motor or lamp switched on: 50 or 60 Hz with up to 25 overtones, the even ones stronger."""
    order = np.arange(1, int(rng.integers(6, 26)))
    level = np.where(order % 2 == 0, 1.0, 0.3) * rng.uniform(0.3, 1, order.size) / order ** rng.uniform(0.2, 1.0)
    return _ringing(rng, rate, float(rng.choice([50.0, 60.0])) * order, level, np.full(order.size, 1e3), 1.5)


def guitar(rng: np.random.Generator, rate: int) -> Array:
    """A string of an instrument: inharmonicity B of 2e-5 to 6e-4 (Fletcher, J. Acoust. Soc. Am. 36, 1964, gives the form)."""
    order, first = np.arange(1, 24), np.exp(rng.uniform(np.log(80), np.log(900)))
    hz = first * order * np.sqrt(1 + np.exp(rng.uniform(np.log(2e-5), np.log(6e-4))) * order**2)
    place = rng.uniform(0.08, 0.35)
    level = np.abs(np.sin(np.pi * order * place)) / order ** rng.uniform(0.8, 1.6)
    return _ringing(rng, rate, hz, level, rng.uniform(0.3, 1.2) * order**-0.6, 1.6)


def chord(rng: np.random.Generator, rate: int) -> Array:
    """Three or four notes of equal temperament struck or strummed together, harmonic overtones."""
    sound = np.zeros(round(1.7 * rate))
    root = 12 * rng.uniform(0, 2)
    for step in (0, int(rng.choice([3, 4])), 7, 12)[: int(rng.integers(3, 5))]:
        order = np.arange(1, 14)
        hz = 110 * 2 ** ((root + step) / 12) * order
        note = _ringing(rng, rate, hz, 1 / order ** rng.uniform(0.8, 1.5), np.full(13, rng.uniform(0.3, 1.0)), 1.5)
        start = round(rng.uniform(0, 0.03) * rate)
        sound[start : start + note.size] += note
    return sound


def bell(rng: np.random.Generator, rate: int) -> Array:
    """A bell: hum, prime, tierce, quint, nominal and above (ratios of a tuned bell, common knowledge, no source), doublets."""
    ratios = np.array([0.5, 1.0, 1.2, 1.5, 2.0, 2.5, 2.67, 3.0, 4.0, 5.33])
    hz = np.exp(rng.uniform(np.log(200), np.log(900))) * ratios * (1 + 0.01 * rng.normal(size=ratios.size))
    both = np.concatenate([hz, hz * (1 + rng.uniform(0.0005, 0.006, hz.size))])
    level = np.tile(rng.uniform(0.2, 1, hz.size), 2) * rng.uniform(0.3, 1, 2 * hz.size)
    return _ringing(rng, rate, both, level, rng.uniform(0.3, 2.0) * (200 / both) ** 0.4 + 0.05, 1.6)


def ring(rng: np.random.Generator, rate: int) -> Array:
    """A bare rim or tyre struck: modes of a free ring in its plane, f ~ n (n^2 - 1) / sqrt(n^2 + 1) (Love, from memory)."""
    order = np.arange(2, 12)
    shape = order * (order**2 - 1) / np.sqrt(order**2 + 1)
    hz = rng.uniform(60, 220) * shape / shape[0] * (1 + 0.02 * rng.normal(size=order.size))
    both = np.concatenate([hz, hz * (1 + rng.uniform(0.001, 0.02, hz.size))])
    level = rng.uniform(0.1, 1, both.size) * np.minimum(1, 900 / both)
    return _ringing(rng, rate, both, level, np.exp(rng.uniform(np.log(0.05), np.log(0.5))) * np.ones(both.size), 1.3)


def disc(rng: np.random.Generator, rate: int) -> Array:
    """A brake disc struck: modes of a free round plate with n nodal diameters, about n^1.8 (Leissa's tables, from memory)."""
    order = np.repeat(np.arange(2, 9), 2)
    hz = rng.uniform(350, 900) * (order / 2.0) ** 1.8 * (1 + 0.01 * rng.normal(size=order.size))
    level = rng.uniform(0.1, 1, order.size)
    return _ringing(rng, rate, hz, level, rng.uniform(0.1, 0.8, order.size), 1.3)


def card(rng: np.random.Generator, rate: int) -> Array:
    """A wheel turning with a card in its spokes: clicks at 12 to 60 a second."""
    sound = np.zeros(round(1.5 * rate))
    at, gap = 0.0, 1 / rng.uniform(12, 60)
    while at < 1.3:
        hit = knock(rng, rate) * rng.uniform(0.4, 1)
        first = round(at * rate)
        piece = sound[first : first + hit.size]
        piece += hit[: piece.size]
        at += gap * (1 + 0.03 * rng.normal())
    return sound


def voice(rng: np.random.Generator, rate: int) -> Array:
    """A word or two."""
    return np.asarray(speech(rng, rate, float(rng.uniform(0.4, 1.2))))


def struck(rng: np.random.Generator, rate: int) -> Array:
    """A tool that falls on the rim or bench."""
    return np.asarray(knock(rng, rate))


#: What is no spoke, by name.
STRANGERS: dict[str, Maker] = {
    "pure tone": tone,
    "hum switched on": hum,
    "instrument's string": guitar,
    "chord": chord,
    "bell": bell,
    "rim or tyre struck": ring,
    "disc struck": disc,
    "card in the spokes": card,
    "speech": voice,
    "tool knock": struck,
}


def stranger(name: str, seed: int) -> tuple[Samples, int]:
    """One of ``STRANGERS`` as recorded, 10 to 35 dB over the noise, in a room, by one of three microphones; its sample rate."""
    rng = np.random.default_rng([seed, sorted(STRANGERS).index(name), 909])
    rate = int(rng.choice([44_100, 48_000]))
    microphone = draw_microphone(rng, str(rng.choice(MICROPHONES)), rate)
    response = heard_response(draw_room(rng, rate), microphone)
    sound = STRANGERS[name](rng, rate)
    first = round(rng.uniform(0.35, 0.6) * rate)
    dry = np.zeros(first + sound.size + round(0.4 * rate))
    dry[first : first + sound.size] = sound
    clean = convolve(dry, response)
    noise = draw_noise(rng, NoiseMix(*rng.dirichlet([2.0, 0.7, 0.7])), microphone, clean.size, rate)
    noise *= band_rms(clean[first : first + round(_RING_S * rate)], rate) / 10 ** (rng.uniform(10, 35) / 20)
    return quantised(clean + noise, 10 ** (rng.uniform(-20, -1) / 20)), rate


def damped(samples: Samples, rate: int, onset_s: float, rng: np.random.Generator) -> Samples:
    """A finger that stays on the spoke: gone within 15 to 50 ms."""
    time = np.maximum(np.arange(samples.size) / rate - onset_s - 0.004, 0)
    return np.asarray(samples * np.exp(-time / rng.uniform(0.015, 0.05)), dtype=np.float32)


def echoed(samples: Samples, rate: int, onset_s: float, rng: np.random.Generator) -> Samples:
    """A wall: one to three late copies, 40 to 250 ms after, 4 to 15 dB down."""
    del onset_s
    found = samples.astype(np.float64)
    for _ in range(int(rng.integers(1, 4))):
        late = round(rng.uniform(0.04, 0.25) * rate)
        found[late:] += samples[:-late] * 10 ** (-rng.uniform(4, 15) / 20)
    return np.asarray(0.5 * found, dtype=np.float32)


def clipped(samples: Samples, rate: int, onset_s: float, rng: np.random.Generator) -> Samples:
    """Recorded 6 to 20 dB too loud."""
    del rate, onset_s
    scale = 10 ** (rng.uniform(6, 20) / 20) / np.abs(samples).max()
    return np.asarray(np.clip(samples * scale, -1, 1), dtype=np.float32)


def gated(samples: Samples, rate: int, onset_s: float, rng: np.random.Generator) -> Samples:
    """A gate that shuts 60 to 300 ms after the pluck."""
    found = samples.copy()
    shut = round((onset_s + rng.uniform(0.06, 0.3)) * rate)
    found[: round((onset_s - 0.01) * rate)] = 0
    found[shut:] = 0
    return found


def resampled(samples: Samples, rate: int, onset_s: float, rng: np.random.Generator) -> Samples:
    """Through a telephone's 8 or 11 kHz and back."""
    del onset_s
    low = int(rng.choice([8000, 11025]))
    return np.asarray(resample_poly(resample_poly(samples, low, rate), rate, low)[: samples.size], dtype=np.float32)


def sped(samples: Samples, rate: int, onset_s: float, rng: np.random.Generator) -> Samples:
    """Played back 1 % too fast or too slow."""
    del rate, onset_s
    speed = 1 + 0.01 * float(rng.choice([-1, 1]))
    at = np.arange(0, samples.size - 1, speed)
    return np.asarray(np.interp(at, np.arange(samples.size), samples), dtype=np.float32)


Altering = Callable[[Samples, int, float, np.random.Generator], Samples]
#: What becomes of an honest recording, by name.
ALTERED: dict[str, Altering] = {
    "ring damped by a finger": damped,
    "echo": echoed,
    "clipped": clipped,
    "gated": gated,
    "through 8 or 11 kHz": resampled,
    "played 1 % off pitch": sped,
}
