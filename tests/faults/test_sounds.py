"""The same pluck at any sample rate and among any number of channels is the same tension."""

from __future__ import annotations

from math import gcd
from pathlib import Path

import numpy as np
import pytest
import soundfile
from scipy.signal import resample_poly

import tensionear as te
from tensionear.data import data_file


@pytest.fixture(scope="module")
def pluck() -> tuple[np.ndarray, int]:
    """The first pluck of the demo round."""
    samples, rate_hz = soundfile.read(data_file("recordings_demo", "round.flac"), frames=2 * 44100)
    return samples, int(rate_hz)


def pitch_of(path: Path) -> tuple[float, tuple[str, ...]]:
    """The pitch of the first pluck, Hz, and the warnings."""
    reading = te.read(path, spokes=1)
    found = reading.plucks[0].frequency_hz
    assert found is not None
    return found, reading.warnings


@pytest.mark.parametrize("rate_hz", [16_000, 22_050, 32_000, 48_000, 88_200, 96_000, 176_400, 192_000])
def test_any_sample_rate(tmp_path: Path, pluck: tuple[np.ndarray, int], rate_hz: int) -> None:
    samples, own_hz = pluck
    soundfile.write(tmp_path / "own.wav", samples, own_hz, subtype="FLOAT")
    common = gcd(rate_hz, own_hz)
    other = resample_poly(samples, rate_hz // common, own_hz // common)
    soundfile.write(tmp_path / "other.wav", other, rate_hz, subtype="FLOAT")
    own, _ = pitch_of(tmp_path / "own.wav")
    found, _ = pitch_of(tmp_path / "other.wav")
    assert abs(1200 * np.log2(found / own)) < 1.0  # cents; a thousandth of the tension


def test_thirty_two_channels(tmp_path: Path, pluck: tuple[np.ndarray, int]) -> None:
    """One of them holds the sound, the others noise, hum and nothing."""
    samples, rate_hz = pluck
    chance = np.random.default_rng(5)
    sound = 1e-3 * chance.normal(size=(len(samples), 32))
    sound[:, :8] = 0.0
    sound[:, 8:12] = 0.02 * np.sin(2 * np.pi * 50 * np.arange(len(samples)) / rate_hz)[:, None]
    sound[:, 21] = samples
    soundfile.write(tmp_path / "many.wav", sound, rate_hz, subtype="FLOAT")
    soundfile.write(tmp_path / "own.wav", samples, rate_hz, subtype="FLOAT")
    found, warnings = pitch_of(tmp_path / "many.wav")
    assert found == pytest.approx(pitch_of(tmp_path / "own.wav")[0], rel=1e-6)
    assert any("channel 22" in text for text in warnings), warnings
