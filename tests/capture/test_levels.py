"""What is said of a microphone, from sound that is known."""

from __future__ import annotations

import numpy as np
import pytest

from tensionear.capture.levels import examine, level_of

RATE_HZ = 48_000.0


def room(seconds: float = 4.0, level: float = 1e-3) -> np.ndarray:
    sound = level * np.random.default_rng(2).standard_normal(round(seconds * RATE_HZ))
    for start in np.arange(0.5, seconds - 0.5, 1.0):
        at = np.arange(round(0.9 * RATE_HZ)) / RATE_HZ
        first = round(start * RATE_HZ)
        ring = 0.2 * np.exp(-at / 0.2) * np.sin(2 * np.pi * 440 * at)
        sound[first : first + len(ring)] += ring[: len(sound) - first]
    return sound


def test_a_clean_room() -> None:
    found = examine(room(), RATE_HZ)
    assert found.floor_db == pytest.approx(-60, abs=3)
    assert found.loud_db > -20
    assert found.hum_hz is None
    assert found.processing == ()
    assert found.edge_hz > 23_000
    assert not found.clipped


@pytest.mark.parametrize("mains", [50.0, 60.0])
def test_hum_is_named_by_its_mains(mains: float) -> None:
    sound = room()
    at = np.arange(len(sound)) / RATE_HZ
    sound += 0.01 * np.sin(2 * np.pi * mains * at) + 0.01 * np.sin(2 * np.pi * 2 * mains * at)
    assert examine(sound, RATE_HZ).hum_hz == mains


def test_a_band_that_ends_at_8_khz_is_a_headset() -> None:
    spectrum = np.fft.rfft(room())
    spectrum[np.fft.rfftfreq(len(room()), 1 / RATE_HZ) > 8000] *= 1e-5
    found = examine(np.fft.irfft(spectrum), RATE_HZ)
    assert found.edge_hz == pytest.approx(8000, abs=400)
    assert any("headset" in sign for sign in found.processing)


def test_a_gate_is_suspected_by_its_zeros_and_its_cliffs() -> None:
    sound = room()
    envelope = np.convolve(np.abs(sound), np.ones(480) / 480, "same")
    gated = np.where(envelope > 0.02, sound, 0.0)
    signs = " ".join(examine(gated, RATE_HZ).processing)
    assert "exact silence between sounds" in signs
    assert "cut off within 20 ms" in signs


def test_clipping_and_zeros() -> None:
    assert examine(np.clip(20 * room(), -1, 1), RATE_HZ).clipped
    assert examine(np.zeros(48_000), RATE_HZ).zeros
    assert level_of(np.zeros(0)).peak_db < -100
    assert level_of(np.array([0.5, -0.5])).peak_db == pytest.approx(-6.02, abs=0.01)
