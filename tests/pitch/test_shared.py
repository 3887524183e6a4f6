"""Partials that two rings share: frequencies and ratios of levels come out, noise and old rings stay out."""

from __future__ import annotations

import math

import numpy as np
import pytest

from tensionear.pitch.lines import KeptRing
from tensionear.pitch.shared import shared_lines

RATE_HZ, START_S = 16_000.0, 0.025
#: Hz, 1/s, amplitude in the first ring, in the second: a doublet 15 Hz apart, told apart by its levels, and three others.
TRUE = [
    (402.0, 1.5, 1.0, 0.8),
    (546.0, 2.0, 0.1, 0.9),
    (561.0, 2.0, 0.8, 0.12),
    (826.0, 4.0, 0.3, 0.6),
    (1178.0, 6.0, 0.5, 0.5),
]


def ring(amplitudes: list[float], seed: int, old: float = 0.0) -> KeptRing:
    rng = np.random.default_rng(seed)
    time = START_S + np.arange(round(0.58 * RATE_HZ)) / RATE_HZ
    sound = 1e-3 * rng.normal(size=len(time))
    for (hz, rate, *_), size in zip(TRUE, amplitudes, strict=True):
        sound += size * np.exp(-rate * time) * np.cos(2 * math.pi * hz * time + rng.uniform(0, 6))
    before = -np.arange(round(0.15 * RATE_HZ), 0, -1) / RATE_HZ
    quiet = 1e-3 * rng.normal(size=len(before)) + old * np.cos(2 * math.pi * 690 * before)
    sound += old * np.cos(2 * math.pi * 690 * time)
    return KeptRing(sound, quiet, RATE_HZ, START_S, (), 0.0, 3.0)


def test_frequencies_and_ratios_come_out():
    lines = shared_lines(ring([line[2] for line in TRUE], 1), ring([line[3] for line in TRUE], 2))
    assert len(lines) == len(TRUE)
    for line, (hz, rate, first, second) in zip(lines, TRUE, strict=True):
        assert 1200 * abs(math.log2(line.frequency_hz / hz)) < 0.5
        assert abs(line.frequency_hz - hz) < 4 * line.u_frequency_hz
        assert line.decay_rate == pytest.approx(rate, rel=0.1)
        assert line.ratio == pytest.approx(math.log(first / second), abs=0.1)


def test_exchanging_the_rings_turns_the_ratios_round():
    one, two = ring([line[2] for line in TRUE], 1), ring([line[3] for line in TRUE], 2)
    forth, back = shared_lines(one, two), shared_lines(two, one)
    assert [line.ratio for line in back] == pytest.approx([-line.ratio for line in forth], abs=1e-3)


def test_what_sounded_before_the_plucks_is_left_out():
    lines = shared_lines(ring([line[2] for line in TRUE], 1, old=0.3), ring([line[3] for line in TRUE], 2, old=0.3))
    assert not any(abs(line.frequency_hz - 690) < 10 for line in lines)
    assert len(lines) == len(TRUE)
