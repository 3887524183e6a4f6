"""Sounds that are not plucks: knocks on the rim, a spoke key touching it, speech, a cough. Numpy and scipy only."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from scipy.signal import butter, sosfilt

Array = NDArray[np.float64]


def knock(rng: np.random.Generator, rate: float) -> Array:
    """A tool or knuckle on the rim: 40..90 short-lived rim modes from 150 to 6000 Hz, peak 1."""
    count = int(rng.integers(40, 90))
    frequency = np.exp(rng.uniform(np.log(150), np.log(6000), count))
    tau = rng.uniform(0.004, 0.03, count) * (1000 / frequency) ** 0.3
    level = rng.uniform(0.1, 1, count) * np.minimum(1, (2500 / frequency))
    time = np.arange(int(0.3 * rate)) / rate
    sound = np.zeros(time.size)
    for f, t, a in zip(frequency, tau, level, strict=True):
        used = min(time.size, int(8 * t * rate))
        sound[:used] += a * np.exp(-time[:used] / t) * np.sin(2 * np.pi * f * time[:used] + rng.uniform(0, 6.28))
    rise = int(rng.uniform(0.1e-3, 0.8e-3) * rate) + 2
    sound[:rise] *= np.linspace(0, 1, rise)
    return sound / np.abs(sound).max()


def key_touch(rng: np.random.Generator, rate: float) -> Array:
    """A spoke key finding its nipple: two to five small, bright knocks within 0.15 s, peak 1."""
    sound = np.zeros(int(0.5 * rate))
    bright = butter(1, 900, "highpass", fs=rate, output="sos")
    for start in np.sort(rng.uniform(0, 0.15, rng.integers(2, 6))):
        hit = sosfilt(bright, knock(rng, rate)) * rng.uniform(0.3, 1)
        first = int(start * rate)
        sound[first : first + hit.size] += hit[: sound.size - first]
    return sound / np.abs(sound).max()


def _formant(frequency_hz: Array, bandwidth_hz: float, rate: float, source: Array) -> Array:
    """A two-pole resonator whose frequency steps from block to block of 5 ms."""
    out = np.empty(source.size)
    state = np.zeros((1, 2))
    block = int(0.005 * rate)
    radius = np.exp(-np.pi * bandwidth_hz / rate)
    for index, first in enumerate(range(0, source.size, block)):
        theta = 2 * np.pi * frequency_hz[min(index, frequency_hz.size - 1)] / rate
        gain = 1 - 2 * radius * np.cos(theta) + radius**2
        section = np.array([[gain, 0, 0, 1, -2 * radius * np.cos(theta), radius**2]])
        out[first : first + block], state = sosfilt(section, source[first : first + block], zi=state)
    return out


VOWELS_HZ = (
    (730, 1090, 2440),
    (530, 1840, 2480),
    (270, 2290, 3010),
    (570, 840, 2410),
    (300, 870, 2240),
    (490, 1350, 1690),
)
"""First three formants of vowels of a grown man; Peterson and Barney, J. Acoust. Soc. Am. 24 (1952), from memory."""


def speech(rng: np.random.Generator, rate: float, duration_s: float) -> Array:
    """Voiced syllables with gliding pitch and formants, hissing consonants and short pauses between; peak 1."""
    size = int(duration_s * rate)
    block_s = 0.005
    blocks = int(duration_s / block_s) + 2
    tall = rng.uniform(0.95, 1.2)
    targets, voiced, hiss = np.zeros((blocks, 3)), np.zeros(blocks), np.zeros(blocks)
    at = 0
    while at < blocks:
        length = int(rng.uniform(0.08, 0.24) / block_s)
        vowel = np.array(VOWELS_HZ[rng.integers(len(VOWELS_HZ))]) * tall
        targets[at : at + length] = vowel
        shape = np.hanning(length + 2)[1:-1] ** 0.5
        voiced[at : at + length] = (rng.uniform(0.5, 1) * shape)[: blocks - at]
        gap = int(rng.uniform(0.02, 0.09) / block_s)
        targets[at + length : at + length + gap] = vowel
        if rng.uniform() < 0.6:
            hiss[at + length : at + length + gap] = rng.uniform(0.05, 0.4)
        at += length + gap + (int(rng.uniform(0.1, 0.3) / block_s) if rng.uniform() < 0.15 else 0)
    targets[targets == 0] = 500
    smooth = np.hanning(13) / np.hanning(13).sum()
    targets = np.stack([np.convolve(np.pad(column, 6, "edge"), smooth, "valid") for column in targets.T])
    sample = np.arange(size) / rate
    grid = np.arange(blocks) * block_s
    pitch_hz = rng.uniform(95, 230) * np.exp(
        0.12
        * np.interp(sample, np.arange(0, duration_s + 1, 0.2), rng.normal(size=len(np.arange(0, duration_s + 1, 0.2))))
    )
    phase = np.cumsum(pitch_hz * (1 + 0.005 * rng.normal(size=size))) / rate
    glottis = np.diff(np.maximum(0, np.sin(2 * np.pi * (phase % 1))) ** 2, prepend=0)
    glottis = glottis / np.std(glottis) * np.interp(sample, grid, voiced)
    sound = sum(
        gain * _formant(column, width, rate, glottis)
        for column, width, gain in zip(targets, (70, 100, 140), (1.0, 0.6, 0.35), strict=True)
    )
    noise = sosfilt(butter(2, [2500, 7000], "bandpass", fs=rate, output="sos"), rng.normal(size=size))
    sound = sound / np.abs(sound).max() + noise * np.interp(sample, grid, hiss)
    return sound / np.abs(sound).max()


def cough(rng: np.random.Generator, rate: float) -> Array:
    """One or two bursts of throat noise with rough voicing, peak 1."""
    size = int(0.9 * rate)
    time = np.arange(size) / rate
    envelope = np.zeros(size)
    for start in (0.0, rng.uniform(0.3, 0.45))[: rng.integers(1, 3)]:
        after = time - start
        envelope += np.where(after > 0, np.minimum(after / 0.008, 1) * np.exp(-after / rng.uniform(0.05, 0.1)), 0)
    rough = rng.normal(size=size) * (1 + 0.8 * np.sign(np.sin(2 * np.pi * rng.uniform(90, 160) * time)))
    blocks = int(size / rate / 0.005) + 2
    sound = sum(
        _formant(np.full(blocks, centre * rng.uniform(0.85, 1.15)), 200, rate, rough) for centre in (650, 1200, 2600)
    )
    sound = sound * envelope
    return sound / np.abs(sound).max()
