"""Pluck, knock, voice or noise: what the features of an onset say of sounds made to be each of them."""

from __future__ import annotations

import dataclasses

import numpy as np
import pytest

from tensionear.pitch.kind import Features, Lines, onset_features, pluck_probability, what_else
from tensionear.pitch.spectrum import Array, Peaks, ring_peaks

RATE_HZ = 16_000.0
LEAD_S = 0.16
CLEAR = Features(persist_db=-3.0, drift_cents=1.0, lines=3.0, own=0.8, attack_db=0.0)
QUIET = Lines(np.zeros(0), np.zeros(0))
SPOKE = (441.0, 905.0, 1403.0, 1950.0)
RIM = (211.0, 540.0, 830.0, 1270.0, 1900.0, 2600.0)


def measure(sound: Array, old: Lines = QUIET, series_hz: tuple[float, ...] = SPOKE) -> Features:
    """Features with the peaks of the first 0.45 s from 25 ms after the onset on, where a spoke of this series is expected."""
    start = round((LEAD_S + 0.025) * RATE_HZ)
    before = sound[: round((LEAD_S - 0.006) * RATE_HZ)]
    return onset_features(
        sound, LEAD_S, RATE_HZ, [ring_peaks(sound[start:], before, RATE_HZ, 0.45)], old, np.array(series_hz)
    )


def at() -> Array:
    """Time from the onset, s."""
    return np.arange(round((LEAD_S + 0.9) * RATE_HZ)) / RATE_HZ - LEAD_S


def noise(level: float = 0.001) -> Array:
    return level * np.random.default_rng(5).standard_normal(len(at()))


def lines(hz: tuple[float, ...], decay_s: float, glide: float = 0.0) -> Array:
    """Damped tones from the onset on; ``glide`` is the relative change of all frequencies in 100 ms."""
    since = np.maximum(at(), 0)
    phase = since + 5 * glide * since**2
    return (at() >= 0) * sum(0.1 * np.sin(2 * np.pi * f * phase + f) * np.exp(-since / decay_s) for f in hz)


def test_a_plucked_spoke_stays_and_keeps_its_pitch() -> None:
    found = measure(lines(SPOKE, 0.6) + noise())
    assert found.persist_db == pytest.approx(-20 * np.log10(np.e) * 0.098 / 0.6, abs=0.5)
    assert found.drift_cents < 2
    assert found.lines == pytest.approx(4, abs=0.3)
    assert found.own == pytest.approx(0.95, abs=0.06)
    assert found.attack_db > -2
    assert pluck_probability(found, 130.0, 25.0) > 0.9


def test_a_knocked_rim_is_gone_in_a_tenth_of_a_second() -> None:
    found = measure(lines(RIM, 0.03) + noise(0.0003))
    assert found.persist_db < -20
    assert pluck_probability(found, 40.0, 25.0) < 0.2
    assert what_else(found, 25.0) == "knock"


def test_a_voice_glides() -> None:
    """A glottal series that rises by 60 cents in 100 ms and goes on."""
    found = measure(lines((180.0, 360.0, 540.0, 720.0, 900.0), 2.0, glide=0.035) + noise())
    assert found.drift_cents == pytest.approx(60, rel=0.25)
    assert pluck_probability(found, 40.0, 15.0) < 0.3
    assert what_else(found, 15.0) == "voice"


def test_a_voice_swells() -> None:
    swelling = lines((180.0, 360.0, 540.0), 2.0) * np.clip(at() / 0.06, 0, 1)
    found = measure(swelling + noise())
    assert found.attack_db < -8
    struck = dataclasses.replace(found, attack_db=0.0)
    assert pluck_probability(found, 60.0, 15.0) < 0.7 * pluck_probability(struck, 60.0, 15.0)


def test_a_knock_that_sets_the_wheel_ringing_has_lines_of_many_spokes() -> None:
    wheel = tuple(cents * hz for cents in (0.94, 0.97, 1.0, 1.03, 1.06) for hz in SPOKE)
    found = measure(lines(wheel, 0.6) + noise())
    assert found.persist_db > -5
    assert found.own == pytest.approx(0.2, abs=0.05)
    assert found.lines > 10
    one = measure(lines(SPOKE, 0.6) + noise())
    assert pluck_probability(found, 60.0, 25.0) < 0.1 < 0.8 < pluck_probability(one, 60.0, 25.0)


def test_glide_of_a_hard_pluck_is_no_voice() -> None:
    """3 cents in 100 ms."""
    found = measure(lines(SPOKE, 0.6, glide=-3 / 1731.2) + noise())
    assert found.drift_cents == pytest.approx(3, rel=0.3)
    assert pluck_probability(found, 130.0, 25.0) > 0.9


def test_what_rang_before_is_not_taken_for_new() -> None:
    """An old ring goes on; a new line of a tenth of its power joins it."""
    old = 0.2 * np.sin(2 * np.pi * 500.0 * at()) * np.exp(-at() / 2)
    new = measure(old + lines((733.0,), 0.5) + noise(), series_hz=(733.0, 1490.0))
    assert new.lines == pytest.approx(1, abs=0.4)
    assert new.own > 0.7
    assert measure(old + lines((733.0,), 0.5) + noise(), series_hz=(500.0, 1020.0)).own < 0.15


def test_a_line_known_to_ring_is_not_new_though_it_beats_up_from_nothing() -> None:
    """Two old lines 5 Hz apart cancel just before the onset and are back 60 ms later."""
    swell = 0.1 * np.sin(2 * np.pi * 500 * at()) - 0.1 * np.sin(2 * np.pi * 505 * (at() + 0.03))
    swell = swell + noise()
    known = Lines(np.array([500.0, 505.0]), np.array([0.1, 0.1]))
    both = swell + lines((733.0,), 0.5)
    assert measure(both, known, (733.0,)).own > measure(both, QUIET, (733.0,)).own + 0.2
    elsewhere = Lines(np.array([700.0]), np.array([0.2]))
    assert measure(swell, elsewhere) == measure(swell)


def test_power_near_is_that_of_all_lines_in_step() -> None:
    known = Lines(np.array([500.0, 505.0, 700.0]), np.array([0.1, 0.2, 0.4]))
    assert known.power_near(np.array([502.0, 508.0, 600.0])) == pytest.approx([0.3**2, 0.2**2, 0.0])
    assert list(QUIET.power_near(np.array([500.0]))) == [0.0]


def test_gain_changes_no_feature() -> None:
    sound = lines(SPOKE, 0.4) + noise()
    loud, soft = measure(sound), measure(sound / 50)
    for field in dataclasses.fields(Features):
        assert getattr(soft, field.name) == pytest.approx(getattr(loud, field.name), rel=1e-6)


def test_without_any_peak_it_is_nothing() -> None:
    empty = Peaks(np.zeros(0), np.zeros(0), np.zeros(0))
    found = onset_features(np.zeros(4000), LEAD_S, RATE_HZ, [empty, empty], QUIET, np.array(SPOKE))
    assert found == Features(-30.0, 50.0, 0.0, 0.0, 0.0)
    assert pluck_probability(found, 0.0, 3.0) < 0.05


def test_an_onset_at_the_very_end_or_start_can_be_measured() -> None:
    sound = lines(SPOKE, 0.4) + noise()
    peaks = [ring_peaks(sound[round(0.2 * RATE_HZ) :], sound[:2000], RATE_HZ, 0.45)]
    for part, lead_s in ((sound[: round((LEAD_S + 0.03) * RATE_HZ)], LEAD_S), (sound[round(LEAD_S * RATE_HZ) :], 0.0)):
        found = onset_features(part, lead_s, RATE_HZ, peaks, QUIET, np.array(SPOKE))
        assert np.isfinite([getattr(found, field.name) for field in dataclasses.fields(Features)]).all()
    cut = onset_features(sound[: round((LEAD_S + 0.03) * RATE_HZ)], LEAD_S, RATE_HZ, peaks, QUIET, np.array(SPOKE))
    assert cut.persist_db < -25  # nothing is left to persist


def test_probability_rises_with_the_series_and_falls_with_drift() -> None:
    by_rank = [pluck_probability(CLEAR, rank, 15.0) for rank in (0.0, 30.0, 60.0, 120.0)]
    assert by_rank == sorted(by_rank)
    assert by_rank[0] < 0.6
    assert by_rank[-1] > 0.99
    by_drift = [
        pluck_probability(dataclasses.replace(CLEAR, drift_cents=cents), 50.0, 15.0) for cents in (1.0, 10.0, 100.0)
    ]
    assert by_drift == sorted(by_drift, reverse=True)
    assert by_drift[0] - by_drift[-1] > 0.2


@pytest.mark.parametrize(
    ("persist_db", "drift_cents", "novelty_db", "kind"),
    [
        (-20.0, 2.0, 20.0, "knock"),
        (-20.0, 60.0, 20.0, "knock"),
        (-3.0, 60.0, 20.0, "voice"),
        (-3.0, 2.0, 20.0, "weak"),
        (-3.0, 2.0, 5.0, "noise"),
        (-20.0, 60.0, 5.0, "noise"),
    ],
)
def test_what_an_onset_was_that_is_no_pluck(
    persist_db: float, drift_cents: float, novelty_db: float, kind: str
) -> None:
    assert what_else(Features(persist_db, drift_cents, 3.0, 0.5, 0.0), novelty_db) == kind
