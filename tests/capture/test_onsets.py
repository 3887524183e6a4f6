"""The detector on known sounds: what it finds, how little else, and that neither gain nor cutting changes it."""

from __future__ import annotations

import itertools
import math

import numpy as np
import pytest

from tensionear.capture.onsets import Onset, OnsetDetector, QuickDetector, refine_onset
from tests.capture.damped import Ring, Sound, play, plucks_of, rings

RATE_HZ = 16_000.0


def onsets_of(sound: Sound, chunk: int = 1600, rate_hz: float = RATE_HZ) -> list[Onset]:
    detector = OnsetDetector(rate_hz)
    found: list[Onset] = []
    for start in range(0, len(sound), chunk):
        found += detector.push(sound[start : start + chunk])
    return found + detector.flush()


def drawn(seed: int, spread_db: float) -> tuple[Ring, ...]:
    """A dozen overlapping rings of drawn pitch, loudness and decay."""
    rng = np.random.default_rng(seed)
    onsets = 0.7 + np.cumsum(rng.uniform(0.45, 1.1, 12))
    return tuple(
        Ring(
            float(at),
            rng.uniform(300, 600),
            0.3 * float(10 ** (-spread_db * rng.uniform() / 20)),
            rng.uniform(0.3, 0.9),
        )
        for at in onsets
    )


@pytest.mark.parametrize(("seed", "rate_hz"), [(50, 16_000.0), (51, 22_050.0), (52, 16_000.0)])
def test_every_pluck_is_found_within_5_ms(seed: int, rate_hz: float) -> None:
    """Overlapping, up to 14 dB apart, the softest 16 dB over the noise."""
    played = drawn(seed, 14.0)
    found = np.array([pluck.onset_s for pluck in plucks_of(play(played, 16.0, rate_hz, 0.01, seed), rate_hz)])
    for ring in played:
        assert np.abs(found - ring.onset_s).min() < 0.005


def test_clear_plucks_bring_nothing_else_that_is_as_clear() -> None:
    played = drawn(53, 6.0)
    found = onsets_of(play(played, 16.0, RATE_HZ))
    clear = [onset for onset in found if onset.novelty_db > 9.0]
    assert len(clear) == len(played)
    for onset, ring in zip(clear, played, strict=True):
        assert onset.time_s == pytest.approx(ring.onset_s, abs=0.013)  # the centre of a frame of 21 ms


@pytest.mark.parametrize("seed", [0, 1, 2, 3])
def test_noise_alone_gives_few_and_weak_onsets(seed: int) -> None:
    noise = (0.05 * np.random.default_rng(seed).standard_normal(20 * 16_000)).astype(np.float32)
    found = onsets_of(noise)
    assert len(found) <= 1.6 * 20
    assert max(onset.novelty_db for onset in found) < 5.0


def test_a_hum_that_goes_on_is_no_onset() -> None:
    at = np.arange(20 * 16_000) / RATE_HZ
    noise = 0.003 * np.random.default_rng(8).standard_normal(len(at))
    hum = sum(0.2 / n * np.sin(2 * np.pi * 50 * n * at) for n in range(1, 12))
    found = onsets_of((noise + hum).astype(np.float32))
    assert len(found) <= 1.6 * 20
    assert all(onset.novelty_db < 5.0 for onset in found)


def test_digital_silence_gives_none_and_does_not_lower_the_floor() -> None:
    """A second of zeros in noise: no onset in it, and a pluck after it stands out as it would without it."""
    whole = play(rings(1.5, 5.0), 7.0, RATE_HZ, 0.01)
    holed = whole.copy()
    holed[3 * 16_000 : 4 * 16_000] = 0
    found, expected = onsets_of(holed), onsets_of(whole)
    assert not [onset for onset in found if 3.02 < onset.time_s < 3.98]
    after, usual = (next(onset for onset in each if abs(onset.time_s - 5.0) < 0.02) for each in (found, expected))
    assert after.novelty_db == pytest.approx(usual.novelty_db, abs=1.0)
    assert usual.novelty_db < 39  # below the ceiling, so that the floor counts
    assert onsets_of(np.zeros(32_000, np.float32)) == []


@pytest.mark.parametrize("down_db", [34.0, -10.0])
def test_gain_changes_nothing(down_db: float) -> None:
    sound = play(drawn(54, 14.0), 16.0, RATE_HZ)
    loud, soft = onsets_of(sound), onsets_of((sound * 10 ** (-down_db / 20)).astype(np.float32))
    assert [onset.time_s for onset in soft] == [onset.time_s for onset in loud]
    assert [onset.novelty_db for onset in soft] == pytest.approx([onset.novelty_db for onset in loud], abs=1e-3)


@pytest.mark.parametrize("chunk", [64, 479, 4801, 10**9])
def test_onsets_do_not_depend_on_how_the_stream_is_cut(chunk: int) -> None:
    """13 s, so that the memory of novelties is cut several times on the way."""
    sound = play(drawn(55, 14.0), 13.0, RATE_HZ, 0.02)
    assert onsets_of(sound, chunk) == onsets_of(sound, 1600)


def test_an_onset_is_given_soon_after_it_happened() -> None:
    """The live screen waits for this: a quarter of a second at most."""
    sound, detector = play(rings(1.5), 3.0, RATE_HZ), OnsetDetector(RATE_HZ)
    given = next(start for start in range(0, len(sound), 160) if detector.push(sound[start : start + 160]))
    assert given / RATE_HZ < 1.5 + 0.25


def test_onsets_come_in_order_and_at_least_80_ms_apart() -> None:
    found = onsets_of(play(drawn(56, 20.0), 16.0, RATE_HZ, 0.02))
    assert all(later.time_s - earlier.time_s > 0.08 for earlier, later in itertools.pairwise(found))


def test_the_second_look_finds_what_is_faint_but_pure() -> None:
    """Two lines that swell over 60 ms in noise: too few bands at once for the first look."""
    at = np.arange(round(4 * RATE_HZ)) / RATE_HZ
    noise = 0.02 * np.random.default_rng(9).standard_normal(len(at))
    since = np.maximum(at - 2.0, 0)
    swell = np.minimum(since / 0.06, 1) * np.exp(-since / 0.4)
    faint = sum(0.012 * np.sin(2 * np.pi * hz * at) for hz in (431.0, 907.0, 1400.0, 1950.0))
    found = onsets_of((noise + swell * faint).astype(np.float32))
    near = [onset for onset in found if abs(onset.time_s - 2.03) < 0.05]
    assert len(near) == 1
    assert near[0].novelty_db < 9


@pytest.mark.parametrize("rate_hz", [16_000.0, 22_050.0, 32_000.0])
@pytest.mark.parametrize("onset_s", [0.012, 0.030, 0.047])
def test_refined_onset_to_a_millisecond(rate_hz: float, onset_s: float) -> None:
    sound = play((Ring(onset_s),), 0.06, rate_hz)
    assert refine_onset(sound, rate_hz) == pytest.approx(onset_s, abs=0.0011)


def test_refined_onset_over_a_ring_that_goes_on() -> None:
    sound = play((Ring(-0.2, 400.0, 0.2), Ring(0.03, 450.0, 0.3)), 0.06, RATE_HZ)
    assert refine_onset(sound, RATE_HZ) == pytest.approx(0.03, abs=0.003)


def test_refined_onset_in_silence_is_within_the_excerpt() -> None:
    found = refine_onset(np.zeros(960, np.float32), RATE_HZ)
    assert 0 <= found <= 0.06
    assert math.isfinite(found)


def test_zeros_before_the_room_do_not_deafen_the_detector() -> None:
    """A microphone that gives two seconds of zeros first: the floor must begin with the room, not with the zeros."""
    rng = np.random.default_rng(5)
    room = 0.003 * rng.standard_normal(round(3 * RATE_HZ))
    at = np.arange(len(room)) / RATE_HZ
    for start in (1.0, 2.0):
        since = np.maximum(at - start, 0)
        room += (at >= start) * 0.1 * np.sin(2 * np.pi * 430 * since) * np.exp(-since / 0.2)
    sound = np.concatenate([np.zeros(round(2 * RATE_HZ)), room]).astype(np.float32)
    detector = OnsetDetector(RATE_HZ)
    found = [onset.time_s for onset in (*detector.push(sound), *detector.flush())]
    for start in (3.0, 4.0):
        assert any(abs(each - start) < 0.03 for each in found), found


def test_the_quick_detector_sees_a_clear_pluck_within_a_twentieth_of_a_second() -> None:
    rng = np.random.default_rng(6)
    at = np.arange(round(2 * RATE_HZ)) / RATE_HZ
    since = np.maximum(at - 1.0, 0)
    sound = 0.001 * rng.standard_normal(len(at)) + (at >= 1.0) * 0.2 * sum(
        np.sin(2 * np.pi * 400 * n * since) * np.exp(-since / 0.2) / n for n in range(1, 12)
    )
    detector, step, found = QuickDetector(RATE_HZ), round(0.01 * RATE_HZ), []
    for start in range(0, len(sound), step):
        found += [(start + step) / RATE_HZ for _ in detector.push(sound[start : start + step].astype(np.float32))]
    assert 1.0 < found[0] < 1.06
