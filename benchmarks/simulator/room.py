"""What lies between the spoke and the file: room, microphone, noise. Numpy and scipy only.

The room is direct sound, early echoes and a decaying diffuse tail, together half as strong (in amplitude) as the direct
sound; the same room serves a whole round. The microphone colours sound and noise alike. The signal-to-noise ratio is
rms of the heard ring over its first 0.3 s over rms of the noise, both within 100..8000 Hz.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import fft
from scipy.signal import butter, oaconvolve, sosfilt, tf2sos

Array = NDArray[np.float64]

REVERBERANT_SHARE = 0.5
"""Amplitude of everything reflected over that of the direct sound."""
BAND_HZ = (100.0, 8000.0)
RING_S = 0.3
MICROPHONES = ("phone", "laptop", "headset")


def _early_echoes(rng: np.random.Generator, rate: float, size: int) -> Array:
    """Five to twelve reflections within 3..35 ms."""
    echoes = np.zeros(size)
    for delay in rng.uniform(0.003, 0.035, rng.integers(5, 13)):
        echoes[int(delay * rate)] += rng.choice([-1, 1]) * rng.uniform(0.3, 1) * 0.003 / delay
    return echoes


def draw_room(rng: np.random.Generator, rate: float) -> Array:
    """Impulse response: direct sound 1 at sample 0, reflections of total amplitude 0.5; 60 dB down in 0.2..0.5 s.

    The tail's high frequencies die faster: two noises, the one above 2 kHz with half the reverberation time.
    """
    reverberation_s = rng.uniform(0.2, 0.5)
    size = int(reverberation_s * rate)
    time = np.arange(size) / rate
    low = sosfilt(butter(1, 2000, fs=rate, output="sos"), rng.normal(size=size))
    high = sosfilt(butter(1, 2000, "highpass", fs=rate, output="sos"), rng.normal(size=size))
    tail = low * 1e3 ** (-time / reverberation_s) + high * 1e3 ** (-2 * time / reverberation_s)
    tail *= np.clip((time - 0.004) / 0.02, 0, 1)
    echoes = _early_echoes(rng, rate, size)
    energy = rng.uniform(0.3, 0.7)
    response = np.sqrt(energy) * echoes / np.linalg.norm(echoes) + np.sqrt(1 - energy) * tail / np.linalg.norm(tail)
    response *= REVERBERANT_SHARE / np.linalg.norm(response)
    response[0] += 1.0
    return response


def _peak(frequency_hz: float, gain_db: float, q: float, rate: float) -> Array:
    """A bell-shaped second-order section (textbook peaking filter)."""
    amplitude, omega = 10 ** (gain_db / 40), 2 * np.pi * frequency_hz / rate
    alpha = np.sin(omega) / (2 * q)
    above = np.array([1 + alpha * amplitude, -2 * np.cos(omega), 1 - alpha * amplitude])
    below = np.array([1 + alpha / amplitude, -2 * np.cos(omega), 1 - alpha / amplitude])
    return tf2sos(above, below)


def draw_microphone(rng: np.random.Generator, name: str, rate: float) -> Array:
    """Impulse response (40 ms) of a ``phone``, ``laptop`` or ``headset`` microphone, a little different each time."""
    about = rng.uniform(0.85, 1.18, 4)
    impulse = np.zeros(int(0.04 * rate))
    impulse[0] = 1.0
    if name == "phone":
        bells = [(900 * about[0], 3, 2), (2800 * about[1], 5, 2.5), (7000 * about[2], 4, 2)]
        low_hz, high_hz, order = 100 * about[3], 14_000.0, 4
    elif name == "laptop":
        bells = [(600 * about[0], -4, 1.5), (4000 * about[1], 5, 1.5)]
        low_hz, high_hz, order = 200 * about[3], 12_000.0, 4
        impulse[int(0.35e-3 * about[2] * rate)] = 0.4  # off the keyboard
    else:
        bells = [(1500 * about[0], -3, 1), (3500 * about[1], 3, 2)]
        low_hz, high_hz, order = 80 * about[3], 8_000.0, 6
    sections = [_peak(frequency, gain, q, rate) for frequency, gain, q in bells]
    sections += [butter(2, low_hz, "highpass", fs=rate, output="sos"), butter(order, high_hz, fs=rate, output="sos")]
    return sosfilt(np.vstack(sections), impulse)


def convolve(sound: Array, response: Array) -> Array:
    """``sound`` through ``response``, cut to the length of ``sound``."""
    return oaconvolve(sound, response)[: sound.size]


def heard_response(room: Array, microphone: Array) -> Array:
    """Room and microphone in one impulse response."""
    return oaconvolve(room, microphone)


def band_rms(sound: Array, rate: float) -> float:
    """Root mean square of what lies within 100..8000 Hz."""
    size = fft.next_fast_len(sound.size, real=True)
    low, high = (int(edge * size / rate) for edge in BAND_HZ)
    inside = fft.rfft(sound, size)[low : high + 1]
    return float(np.sqrt(2 * np.vdot(inside, inside).real / (size * sound.size)))


@dataclass(frozen=True, slots=True)
class NoiseMix:
    """Shares of power within the band: workshop (pink-ish), mains hum, blower."""

    workshop: float
    hum: float
    blower: float


def _tones(frequency_hz: Array, amplitude: NDArray[np.complex128], size: int, rate: float) -> Array:
    """Steady sinusoids, in blocks of 480 samples turned by their phase at the block's start."""
    block = 480
    turn = 2j * np.pi * frequency_hz / rate
    starts = amplitude * np.exp(np.outer(np.arange(size // block + 1) * block, turn))
    within = np.exp(np.outer(turn, np.arange(block)))
    return (np.hstack([starts.real, starts.imag]) @ np.vstack([within.real, -within.imag])).ravel()[:size]


def _hum(rng: np.random.Generator, size: int, rate: float) -> Array:
    """Mains at 50 or 60 Hz and its harmonics up to the 24th; rectifiers favour the even ones."""
    number = np.arange(1, 25)
    mains_hz = rng.choice([50.0, 60.0]) * rng.uniform(0.9995, 1.0005)
    strength = rng.uniform(0.1, 1, 24) / number**0.9 * np.where(number % 2, 0.5, 1.0)
    return _tones(mains_hz * number, strength * np.exp(2j * np.pi * rng.uniform(size=24)), size, rate)


def _blower(rng: np.random.Generator, size: int, rate: float) -> Array:
    """Band noise and the blade-passing tone with three harmonics, each a close pair that beats."""
    low, high = rng.uniform(120, 300), rng.uniform(1200, 3000)
    sound = sosfilt(butter(1, [low, high], "bandpass", fs=rate, output="sos"), rng.standard_normal(size))
    number = np.tile(np.arange(1, 5), 2)
    blade_hz = rng.uniform(110, 420) * (1 + 1e-3 * rng.normal(size=8))
    strength = rng.uniform(0.05, 0.4, 8) / number * np.exp(2j * np.pi * rng.uniform(size=8))
    return sound / np.std(sound) + _tones(blade_hz * number, strength, size, rate)


def _workshop(rng: np.random.Generator, size: int, rate: float) -> Array:
    """Noise falling 3..6 dB per octave, its level wandering by about 1.5 dB."""
    full = fft.next_fast_len(size, real=True)
    frequency = fft.rfftfreq(full, 1 / rate)
    colour = np.maximum(frequency, 40.0) ** -rng.uniform(0.5, 1.0)
    sound = fft.irfft(colour * rng.standard_normal(2 * frequency.size).view(np.complex128), full)[:size]
    every_s = 0.5
    marks = np.arange(0, size / rate + every_s, every_s)
    level = np.interp(np.arange(size) / rate, marks, 10 ** (1.5 * rng.normal(size=marks.size) / 20))
    return sound * level


def draw_noise(rng: np.random.Generator, mix: NoiseMix, microphone: Array, size: int, rate: float) -> Array:
    """``size`` samples as the microphone hears them, rms 1 within the band."""
    total = np.zeros(size)
    sample = int(4 * rate)
    for share, make in ((mix.workshop, _workshop), (mix.hum, _hum), (mix.blower, _blower)):
        if share > 0:
            part = make(rng, size, rate)
            total += np.sqrt(share) / band_rms(part[:sample], rate) * part
    heard = oaconvolve(total, microphone)[:size]
    return heard / band_rms(heard, rate)


def quantised(sound: Array, peak: float) -> NDArray[np.float32]:
    """Scaled to ``peak`` (of full scale 1) and rounded to 16 bits, float32, read-only."""
    scaled = sound * (peak / np.abs(sound).max())
    samples = (np.round(scaled * 32767) / 32768).astype(np.float32)
    samples.flags.writeable = False
    return samples
