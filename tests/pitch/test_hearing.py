"""One ring heard: series found, lines named, neighbours and old rings kept out, names given anew."""

from __future__ import annotations

import numpy as np
import pytest

from tensionear.catalogue import library_spoke
from tensionear.physics.beam import natural_frequencies
from tensionear.physics.expectation import expect
from tensionear.pitch.hearing import SKIP_S, hear, survey, without_old
from tensionear.pitch.lines import Heard, Ringing, ringing_after
from tensionear.pitch.spectrum import Peaks, ring_peaks

RATE_HZ = 16000.0
ROUND, LENGTH_M = library_spoke("steel-round-2.0"), 0.270
BLADE = library_spoke("carbon-blade-4.6x1.2")


def partials(spoke: object, tension_n: float, ends: float, plane: str) -> np.ndarray:
    return natural_frequencies(spoke.stretches(LENGTH_M), tension_n, ends, ends, plane, 7)  # type: ignore[attr-defined]


def ring(series: list[tuple[np.ndarray, float]], noise: float = 1e-4, seed: int = 1) -> np.ndarray:
    """The ring from 25 ms on: series of partials (Hz) with amplitudes falling with the mode, in noise."""
    t = SKIP_S + np.arange(int(0.87 * RATE_HZ)) / RATE_HZ
    rng = np.random.default_rng(seed)
    sound = noise * rng.standard_normal(len(t))
    for frequencies, amplitude in series:
        for n, hz in enumerate(frequencies, start=1):
            sound += amplitude / n * np.exp(-t * (1.5 + 0.8 * n)) * np.cos(2 * np.pi * hz * t + rng.uniform(0, 6))
    return sound


def listen(sound: np.ndarray, spoke: object = ROUND, old: tuple[Ringing, ...] = ()) -> Heard:
    before = 1e-4 * np.random.default_rng(9).standard_normal(2400)
    expected = expect(spoke, LENGTH_M)  # type: ignore[arg-type]
    return hear(sound, RATE_HZ, expected, survey(sound, before, RATE_HZ, expected, old, 1.0), old)


def cents(found: float, wanted: float) -> float:
    return float(1200 * np.log2(found / wanted))


@pytest.mark.parametrize("tension_n", [350.0, 800.0, 1400.0])
@pytest.mark.parametrize("ends", [5.0, 30.0, 150.0])
def test_every_partial_of_a_clean_ring_is_named(tension_n: float, ends: float) -> None:
    wanted = partials(ROUND, tension_n, ends, "flat")
    heard = listen(ring([(wanted, 0.3)]))
    strongest = {line.mode: line.frequency_hz for line in heard.lines if line.mode and not line.twin}
    assert set(strongest) >= {1, 2, 3, 4, 5}
    for mode in range(1, 6):
        assert abs(cents(strongest[mode], wanted[mode - 1])) < 0.5


def test_the_neighbours_ring_beside_it_is_not_taken() -> None:
    """A spoke 8 % tighter rings along 22 dB down."""
    own, other = partials(ROUND, 900.0, 30.0, "flat"), partials(ROUND, 972.0, 30.0, "flat")
    heard = listen(ring([(own, 0.3), (other, 0.024)]))
    assert abs(cents(heard.first_modes(0)[0].frequency_hz, own[0])) < 0.5
    assert all(abs(cents(line.frequency_hz, other[0])) > 5 for line in heard.lines if line.mode == 1)


def test_both_planes_of_a_round_spoke_are_one_mode_and_its_twin() -> None:
    one, two = partials(ROUND, 900.0, 25.0, "flat"), partials(ROUND, 900.0, 40.0, "flat")
    heard = listen(ring([(one, 0.3), (two, 0.2)]))
    first = heard.first_modes(0)
    assert [line.twin for line in first] == [False, True]
    assert abs(cents(first[0].frequency_hz, one[0])) < 0.5
    assert abs(cents(first[1].frequency_hz, two[0])) < 0.5


def test_flat_and_edge_series_of_a_blade_are_told_apart() -> None:
    flat, edge = partials(BLADE, 1000.0, 30.0, "flat"), partials(BLADE, 1000.0, 30.0, "edge")
    heard = listen(ring([(flat, 0.3), (edge, 0.15)]), BLADE)
    assert abs(cents(heard.first_modes(0)[0].frequency_hz, flat[0])) < 0.5
    assert abs(cents(heard.first_modes(1)[0].frequency_hz, edge[0])) < 0.5


def test_noise_alone_has_no_lines() -> None:
    assert listen(ring([])).lines == ()


def test_what_still_rings_is_taken_off_the_peaks() -> None:
    peaks = Peaks(np.array([400.0, 500.0]), np.array([30.0, 30.0]), np.array([-20.0, -20.0]))
    left = without_old(peaks, (Ringing(400.5, 0.01, -19.0, 0.9),), 1.0)
    assert left.height_db[0] == 0.0
    assert left.height_db[1] == 30.0


def test_lines_ring_on_until_they_are_gone() -> None:
    heard = listen(ring([(partials(ROUND, 900.0, 30.0, "flat"), 0.3)]))
    old = (Ringing(222.0, 1.0, -20.0, 0.5), Ringing(333.0, 50.0, -20.0, 0.5))
    kept = ringing_after(heard, 1.0, old)
    assert 222.0 in {line.frequency_hz for line in kept}
    assert 333.0 not in {line.frequency_hz for line in kept}
    assert len(kept) == len(heard.lines) + 1


def test_a_hum_that_was_there_before_is_no_new_peak() -> None:
    t = np.arange(int(0.5 * RATE_HZ)) / RATE_HZ
    hum = 0.05 * np.cos(2 * np.pi * 350.0 * t)
    peaks = ring_peaks(hum + ring([(np.array([500.0]), 0.3)])[: len(t)], hum, RATE_HZ, 0.45)
    by_pitch = dict(zip(np.round(peaks.frequency_hz, -1), peaks.height_db, strict=True))
    assert by_pitch[350.0] == 0.0
    assert by_pitch[500.0] > 20.0
