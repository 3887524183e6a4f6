"""The sounds the program makes."""

from __future__ import annotations

import numpy as np
import pytest

from tensionear.data import data_file
from tensionear.live.tones import RATE_HZ, cue_tone, nearest_note, spoke_tone
from tensionear.loading import load_wheel
from tensionear.wheel.expected_pitch import expected_pitch, usual_partials


@pytest.mark.parametrize("cue", ["next", "again", "done", "tighten", "loosen", "there"])
def test_cues_are_short_soft_and_begin_at_nothing(cue: str) -> None:
    sound = cue_tone(cue)  # type: ignore[arg-type]
    assert len(sound) / RATE_HZ < 0.45
    assert np.abs(sound).max() < 0.3
    assert abs(sound[0]) < 1e-6


def test_a_spoke_s_tone_has_its_partials() -> None:
    sound = spoke_tone((400.0, 812.0, 1250.0))
    spectrum = np.abs(np.fft.rfft(sound))
    frequency = np.fft.rfftfreq(len(sound), 1 / RATE_HZ)
    for hz in (400.0, 812.0, 1250.0):
        near = spectrum[np.abs(frequency - hz) < 3].max()
        assert near > 20 * np.median(spectrum[np.abs(frequency - hz) < 100])
    assert np.abs(sound[-100:]).max() < 0.05 * np.abs(sound).max()


@pytest.mark.parametrize(
    ("hz", "note", "cents"), [(440.0, "A4", 0.0), (261.6256, "C4", 0.0), (450.0, "A4", 38.9), (427.5, "G#4", 50.1)]
)
def test_notes_of_equal_temperament(hz: float, note: str, cents: float) -> None:
    found, off = nearest_note(hz)
    assert found == note or abs(abs(off) - 50) < 1
    assert abs(off) == pytest.approx(abs(cents), abs=0.6)


def test_usual_ends_lie_between_hinged_and_clamped() -> None:
    place = load_wheel(data_file("recordings_demo", "wheel.toml")).place(1)
    bounds, usual = expected_pitch(place, 1000.0), usual_partials(place, 1000.0, 3)
    share = (usual[0] - bounds.hinged_hz) / (bounds.clamped_hz - bounds.hinged_hz)
    assert 0.3 < share < 0.7
    assert usual[1] > 2 * usual[0]  # a stiff spoke's partials are wider than a string's
