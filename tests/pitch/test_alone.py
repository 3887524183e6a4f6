"""Partials of one ring with their decay, from sums of damped waves."""

from __future__ import annotations

import numpy as np
import pytest

from tensionear.pitch.alone import ring_lines
from tensionear.pitch.shared import KeptRing

RATE_HZ, START_S = 44_100.0, 0.025
#: Frequency in Hz, decay rate in 1/s, amplitude.
WAVES = ((1178.0, 12.0, 0.6), (1813.0, 8.0, 1.0), (2061.0, 20.0, 0.8), (2806.0, 15.0, 0.5))


@pytest.fixture(scope="module")
def ring() -> KeptRing:
    time = START_S + np.arange(round(0.58 * RATE_HZ)) / RATE_HZ
    noise = np.random.default_rng(4)
    sound = sum(a * np.exp(-rate * time) * np.cos(2 * np.pi * hz * time + hz) for hz, rate, a in WAVES)
    sound = np.asarray(sound) + 1e-3 * noise.normal(size=time.size)
    # The stretch that was found is of no series and must not turn the lines.
    return KeptRing(sound, 1e-3 * noise.normal(size=round(0.15 * RATE_HZ)), RATE_HZ, START_S, 0.02, 5.0)


def test_frequencies_and_decays_are_found(ring):
    lines = ring_lines(ring)
    strong = [line for line in lines if line.level_db > max(each.level_db for each in lines) - 15]
    assert [line.frequency_hz for line in strong] == pytest.approx([hz for hz, _, _ in WAVES], abs=0.3)
    assert [line.decay_rate for line in strong] == pytest.approx([rate for _, rate, _ in WAVES], rel=0.1)


def test_silence_has_no_lines():
    assert ring_lines(KeptRing(np.zeros(20_000), np.zeros(6_000), RATE_HZ, START_S, 0.0, 5.0)) == ()
