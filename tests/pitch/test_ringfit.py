"""The fit of damped, gliding partials: against the Cramer-Rao bound, pairs, glide, and what rings on from before."""

from __future__ import annotations

import numpy as np
import pytest

from tensionear.pitch.ringfit import Components, Glide, Standing, bands_of, fit_ring, growth_of

RATE_HZ = 16000.0
START_S = 0.025
NOTHING = Standing(
    np.zeros((1, 0)), np.ones((1, 0)), np.zeros((1, 0), complex), np.ones((1, 0)), np.zeros((1, 0), bool)
)


def tone(frequency_hz: float, decay_s: float, amplitude: float = 1.0, stretch: float = 0.0) -> np.ndarray:
    """A partial from 25 ms after its pluck on, 0.9 s of it; the stretch dies with twice its own decay."""
    t = START_S + np.arange(int(0.875 * RATE_HZ)) / RATE_HZ
    growth = (1 - np.exp(-2 * t / decay_s)) * decay_s / 2
    return amplitude * np.exp(-t / decay_s) * np.cos(2 * np.pi * frequency_hz * (t + stretch * growth) + 0.7)


def fitted(
    sound: np.ndarray, start_hz: list[float], usual_stretch: float = 1e-7, standing: Standing = NOTHING
) -> np.ndarray:
    """One band; the stretch is believed to be half the usual one, give or take it, and to die with 2 /s."""
    bands = bands_of(sound, RATE_HZ, START_S, np.array([np.mean(start_hz)]))
    shape = (1, len(start_hz))
    start = Components(np.array([start_hz]), np.full(shape, 3.0), np.ones(shape, bool))
    growth = growth_of(bands.time_s, np.array([2.0]), np.ones(1))
    glide = Glide(usual_stretch / 2, usual_stretch, usual_stretch / 2, growth)
    return fit_ring(bands, start, standing, np.ones(shape), glide).frequency_hz[0]


@pytest.mark.parametrize("noise", [0.3, 0.01])
def test_a_lone_partial_in_white_noise_is_near_the_cramer_rao_bound(noise: float) -> None:
    """var(f) >= (1/2pi)^2 2 s^2 / (A^2 fs (I2 - I1^2/I0)), I_k = int t^k exp(-2t/tau) dt.

    Source: Yao & Pandit 1995, IEEE Trans. SP 43(4), for damped sinusoids; the citation is from memory, the formula was
    checked against the exact Fisher matrix.
    """
    decay_s, duration_s, frequency_hz = 0.4, 0.875, 381.7
    t = np.arange(int(duration_s * RATE_HZ)) / RATE_HZ
    weight = np.exp(-2 * (t + START_S) / decay_s)
    i0, i1, i2 = (np.sum(weight * t**k) / RATE_HZ for k in range(3))
    bound = np.sqrt(2 * noise**2 / (RATE_HZ * (i2 - i1**2 / i0))) / (2 * np.pi)
    rng = np.random.default_rng(5)
    clean = tone(frequency_hz, decay_s)
    errors = [fitted(clean + noise * rng.standard_normal(len(clean)), [382.0])[0] - frequency_hz for _ in range(120)]
    assert np.sqrt(np.mean(np.square(errors))) < 1.5 * bound
    assert np.sqrt(np.mean(np.square(errors))) > 0.7 * bound


def test_two_planes_two_hertz_apart_are_both_found() -> None:
    rng = np.random.default_rng(6)
    sound = tone(400.0, 0.5) + tone(402.0, 0.7, 0.5)
    found = np.sort(fitted(sound + 0.003 * rng.standard_normal(len(sound)), [399.6, 402.5]))
    assert found == pytest.approx([400.0, 402.0], abs=0.03)


def test_the_frequency_is_that_of_vanishing_swing() -> None:
    """A pluck that starts 0.3 % sharp (5 cents): without the glide in the model the answer is a cent or more off."""
    sound = tone(400.0, 0.5, stretch=0.003)
    assert 1200 * np.log2(fitted(sound, [400.5], 0.003)[0] / 400.0) == pytest.approx(0.0, abs=0.1)
    assert 1200 * np.log2(fitted(sound, [400.5])[0] / 400.0) > 0.8


def test_an_old_ring_of_known_pitch_does_not_pull() -> None:
    one = np.ones((1, 1))
    old = Standing(407.0 * one, 2.0 * one, 0j * one, one, one > 0)
    sound = tone(400.0, 0.4) + tone(407.0, 0.5, 0.8)
    assert fitted(sound, [400.2], standing=old)[0] == pytest.approx(400.0, abs=0.01)
    assert abs(fitted(sound, [400.2])[0] - 400.0) > 0.015
