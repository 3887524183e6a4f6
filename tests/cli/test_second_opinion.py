"""Each pluck heard once more: spectrum and librosa's pitch, from a sound file."""

from __future__ import annotations

import dataclasses
from pathlib import Path

import numpy as np
import pytest
import soundfile

from tensionear.cli.second_opinion import hear_again
from tests.dashboard.invented import pluck, plucks

RATE_HZ = 44100


@pytest.fixture
def sound(tmp_path: Path) -> str:
    """Three rings of harmonic partials at 0.5, 2.2 and 3.0 s, the last cut off after 60 ms."""
    t = np.arange(int(3.06 * RATE_HZ)) / RATE_HZ
    samples = 1e-4 * np.random.default_rng(3).standard_normal(len(t))
    for onset_s, pitch_hz in ((0.5, 300.0), (2.2, 440.0), (3.0, 300.0)):
        ring = np.where(t >= onset_s, np.exp(-(t - onset_s) / 0.4), 0.0)
        for mode in (1, 2, 3):
            samples += 0.2 / mode * ring * np.sin(2 * np.pi * mode * pitch_hz * (t - onset_s))
    path = tmp_path / "rings.wav"
    soundfile.write(path, samples, RATE_HZ)
    return str(path)


@pytest.mark.filterwarnings("ignore")  # of librosa's own dependencies
def test_spectrum_and_pitch_of_each_pluck(sound: str) -> None:
    onsets = (0.5, 2.2, 3.0)
    reading = dataclasses.replace(plucks(), plucks=tuple(dataclasses.replace(pluck(None), onset_s=at) for at in onsets))
    first, second, cut = hear_again(sound, reading, {1, 2})
    assert first is not None
    assert second is not None
    assert cut is None
    assert first.frequency_hz[np.argmax(first.level_db)] == pytest.approx(300.0, abs=1.0)
    assert first.frequency_hz[-1] <= 5000.0
    assert first.second_opinion_hz == pytest.approx(300.0, rel=0.01)
    assert second.frequency_hz[np.argmax(second.level_db)] == pytest.approx(440.0, abs=1.0)
    assert second.second_opinion_hz == pytest.approx(440.0, rel=0.01)
