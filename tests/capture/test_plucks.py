"""A stream cut into plucks: where each ring starts and ends, what is told of clipping and gates, the same however it comes."""

from __future__ import annotations

import dataclasses
import itertools

import numpy as np
import pytest

from tensionear.capture.plucks import LEAD_S, RING_S, Pluck, PluckFinder, find_plucks
from tensionear.capture.recording import Recording
from tests.capture.damped import Ring, Sound, play, plucks_of, rings

RATE_HZ = 48_000.0


def told(pluck: Pluck) -> tuple[object, ...]:
    """All of a pluck, its samples as bytes."""
    values = [getattr(pluck, field.name) for field in dataclasses.fields(pluck)]
    return tuple(value.tobytes() if isinstance(value, np.ndarray) else value for value in values)


def loud(plucks: list[Pluck]) -> list[Pluck]:
    """Those that noise does not make."""
    return [pluck for pluck in plucks if pluck.novelty_db > 9]


def near(plucks: list[Pluck], onset_s: float) -> Pluck:
    """The one pluck at this time."""
    found = [pluck for pluck in plucks if abs(pluck.onset_s - onset_s) < 0.01]
    assert len(found) == 1
    return found[0]


@pytest.fixture(scope="module")
def messy() -> tuple[Sound, list[tuple[object, ...]]]:
    """Overlapping rings, one clipped, one gated, in noise; and its plucks when it comes all at once."""
    played = (*rings(0.1, 0.55, 1.0), Ring(1.4, 500, 2.0, 0.3), *rings(2.3, 3.0, level=0.08), Ring(5.0, 333.0, 0.02))
    sound = np.clip(play(played, 5.31, RATE_HZ, 0.004, 7), -1, 1)
    sound[round(3.3 * RATE_HZ) : round(3.5 * RATE_HZ)] = 0
    return sound, [told(pluck) for pluck in plucks_of(sound, RATE_HZ)]


@pytest.mark.parametrize("block", [64, 479, 1024, 4801, 48_000])
def test_any_block_size_gives_the_same_plucks_to_the_bit(
    messy: tuple[Sound, list[tuple[object, ...]]], block: int
) -> None:
    sound, at_once = messy
    assert len(at_once) >= 7
    assert [told(pluck) for pluck in plucks_of(sound, RATE_HZ, block)] == at_once


def test_a_source_gives_what_its_channel_holds(messy: tuple[Sound, list[tuple[object, ...]]]) -> None:
    sound, at_once = messy
    source = Recording(np.stack([np.zeros_like(sound), sound], axis=1), RATE_HZ)
    assert [told(pluck) for pluck in find_plucks(source, 1)] == at_once
    assert list(find_plucks(source, 0)) == []


def test_plucks_come_in_order_of_time(messy: tuple[Sound, list[tuple[object, ...]]]) -> None:
    times = [pluck[0] for pluck in messy[1]]
    assert times == sorted(times)


@pytest.mark.parametrize("rate_hz", [16_000.0, 22_050.0, 44_100.0, 48_000.0, 96_000.0])
def test_lead_and_ring_at_every_rate(rate_hz: float) -> None:
    found = plucks_of(play(rings(1.0, 3.0), 5.0, rate_hz), rate_hz)
    for onset_s in (1.0, 3.0):
        pluck = near(found, onset_s)
        assert 16_000 <= pluck.rate_hz < 32_000
        assert rate_hz % pluck.rate_hz == 0
        assert pluck.onset_s == pytest.approx(onset_s, abs=0.0015)
        assert pluck.lead_s == pytest.approx(LEAD_S, abs=1e-4)
        assert pluck.ring_s == pytest.approx(RING_S, abs=2e-4)
        assert (pluck.clipped, pluck.clipped_ring, pluck.gated) == (False, False, False)
        assert not pluck.samples.flags.writeable
        lead, ring = pluck.before(0.003), pluck.after(0.0)
        assert np.mean(lead**2) < 0.001 * np.mean(ring[: round(0.05 * pluck.rate_hz)] ** 2)


def test_after_and_before_cut_where_they_say() -> None:
    at = np.arange(1600, dtype=np.float32)
    heard = {"novelty_db": 10.0, "clipped": False, "clipped_ring": False, "gated": False}
    pluck = Pluck(onset_s=2.0, samples=at, lead_s=0.04, rate_hz=16_000.0, **heard)
    assert pluck.ring_s == pytest.approx(0.06)
    assert (pluck.after(0.01)[0], pluck.after(0.01)[-1]) == (800, 1599)
    assert list(pluck.after(0.0, 0.001)) == list(range(640, 656))
    assert pluck.after(-1.0, 0.961)[0] == 0
    assert len(pluck.after(0.06)) == 0
    assert (pluck.before(0.0)[-1], pluck.before(0.01)[-1], len(pluck.before(0.04)), len(pluck.before(1.0))) == (
        639,
        479,
        0,
        0,
    )
    assert pluck.after(0.0).dtype == pluck.before(0.0).dtype == np.float64


def test_the_ring_ends_before_the_next_pluck() -> None:
    found = loud(plucks_of(play(rings(1.0, 1.5, 2.1), 4.0, RATE_HZ), RATE_HZ))
    assert len(found) == 3
    for first, second in itertools.pairwise(found):
        assert first.onset_s + first.ring_s == pytest.approx(second.onset_s - 0.008, abs=2e-4)
    assert found[-1].ring_s == pytest.approx(RING_S, abs=2e-4)


@pytest.mark.parametrize(("ratio", "beat_hz"), [(0.5, 2.5), (0.5, 4.0), (0.7, 1.0), (0.9, 0.5)])
def test_the_ring_does_not_end_at_a_beat(ratio: float, beat_hz: float) -> None:
    """Two series so far apart and so unequal: the sound swells again while it dies away."""
    played = (Ring(1.0, 400.0, 0.3, 0.8), Ring(1.0, 400.0 + beat_hz, 0.3 * ratio, 0.8))
    found = plucks_of(play(played, 4.0, RATE_HZ), RATE_HZ)
    assert near(found, 1.0).ring_s == pytest.approx(RING_S, abs=2e-4)
    assert all(pluck.novelty_db < 5 for pluck in found if 1.01 < pluck.onset_s < 1.9)


@pytest.mark.parametrize(("times", "ends"), [(3.5, False), (20.0, True)])
def test_a_faint_onset_ends_the_ring_only_if_the_sound_grows_much(times: float, ends: bool) -> None:
    """A ring grows softly to so many times its power 0.2 s after the pluck, as lines that beat may do in a moment."""
    time = np.arange(round(3 * RATE_HZ)) / RATE_HZ
    tones = sum(np.sin(2 * np.pi * 400.0 * mode * time + mode) / mode for mode in range(1, 9))
    first = (time >= 1.0) * tones * np.exp(-np.maximum(time - 1.0, 0) / 0.8)
    grown = 1 + (np.sqrt(times) - 1) * np.clip((time - 1.2) / 0.02, 0, 1)
    noise = 0.003 * np.random.default_rng(1).standard_normal(len(time))
    found = plucks_of((0.1 * first * grown + 0.1 * noise).astype(np.float32), RATE_HZ)
    assert (near(found, 1.0).ring_s < 0.3) == ends


def test_the_ring_does_not_end_at_something_much_softer() -> None:
    """A tick 26 dB below the ring is an onset of its own, but the spoke rings on under it."""
    played = (Ring(1.0, 400.0, 0.3, 2.0), Ring(1.4, 2100.0, 0.015, 0.05))
    found = plucks_of(play(played, 4.0, RATE_HZ, 0.0005), RATE_HZ)
    assert len([pluck for pluck in found if 1.39 < pluck.onset_s < 1.44]) == 1
    assert near(found, 1.0).ring_s == pytest.approx(RING_S, abs=2e-4)


@pytest.mark.parametrize("gap_s", [0.020, 0.045])
def test_a_slip_of_the_finger_is_one_pluck(gap_s: float) -> None:
    found = loud(plucks_of(play((Ring(1.0), Ring(1.0 + gap_s)), 3.0, RATE_HZ), RATE_HZ))
    assert len(found) == 1
    assert 1.0 - 0.002 < found[0].onset_s < 1.0 + gap_s + 0.002


def test_no_two_plucks_within_60_ms() -> None:
    """Drawn rings a few hundredths apart."""
    rng = np.random.default_rng(11)
    onsets = 0.5 + np.cumsum(rng.uniform(0.07, 0.12, 60))
    played = [Ring(float(at), rng.uniform(300, 700), 10 ** rng.uniform(-1.5, 0), 0.06) for at in onsets]
    found = plucks_of(play(played, 8.0, RATE_HZ), RATE_HZ)
    assert len(found) > 40
    assert min(later.onset_s - earlier.onset_s for earlier, later in itertools.pairwise(found)) >= 0.06


def test_the_end_of_the_stream_cuts_the_ring() -> None:
    found = loud(plucks_of(play(rings(1.0), 1.35, RATE_HZ), RATE_HZ))
    assert len(found) == 1
    assert found[0].ring_s == pytest.approx(0.35, abs=0.002)


def test_a_pluck_at_the_very_start_has_what_lead_there_is() -> None:
    found = near(plucks_of(play(rings(0.06), 2.0, RATE_HZ), RATE_HZ), 0.06)
    assert found.lead_s == pytest.approx(0.06, abs=0.002)
    assert found.ring_s == pytest.approx(RING_S, abs=2e-4)


def test_no_sound_no_plucks() -> None:
    finder = PluckFinder(RATE_HZ)
    assert finder.flush() == []
    assert plucks_of(np.zeros(50, np.float32), RATE_HZ) == []


def test_a_pluck_is_given_while_the_stream_goes_on_and_little_is_held() -> None:
    sound, finder = play(rings(1.0), 60.0, RATE_HZ), PluckFinder(RATE_HZ)
    given = {}
    for start in range(0, len(sound), finder.chunk_frames):
        for pluck in finder.push(sound[start : start + finder.chunk_frames]):
            given[round(pluck.onset_s, 1)] = start / RATE_HZ
        assert finder._held.nbytes <= 5 * 16_000 * 4
    assert given[1.0] <= 1.0 + RING_S + 0.6


@pytest.mark.parametrize("top", [1.0, 0.5])
@pytest.mark.parametrize(("burst_s", "ring"), [(0.003, False), (0.1, True)])
def test_clipping_at_full_scale_or_at_a_flat_top_below_it(top: float, burst_s: float, ring: bool) -> None:
    """A burst at the attack that is cut at ``top``; the ring under it stays below."""
    played = (*rings(1.0, 2.5, level=0.15), Ring(1.0, 500.0, 2.0, burst_s))
    found = plucks_of(np.clip(play(played, 4.0, RATE_HZ), -top, top), RATE_HZ)
    assert (near(found, 1.0).clipped, near(found, 1.0).clipped_ring) == (True, ring)
    assert (near(found, 2.5).clipped, near(found, 2.5).clipped_ring) == (False, False)


def test_a_loud_pluck_that_just_fits_is_not_clipped() -> None:
    sound = play(rings(1.0), 3.0, RATE_HZ)
    found = plucks_of((0.98 * sound / np.abs(sound).max()).astype(np.float32), RATE_HZ)
    assert not near(found, 1.0).clipped


def test_clipping_of_one_pluck_is_not_told_of_the_next() -> None:
    sound = np.clip(play((Ring(1.0, 400, 1.5, 0.2), Ring(1.9)), 4.0, RATE_HZ), -1, 1)
    found = plucks_of(sound, RATE_HZ)
    assert near(found, 1.0).clipped
    assert not near(found, 1.9).clipped


def test_a_soft_sound_with_equal_samples_is_not_clipped() -> None:
    """Eight bits and low level: many neighbours are equal, none far from zero."""
    sound = (np.round(play(rings(1.0, level=0.08), 3.0, RATE_HZ) * 128) / 128).astype(np.float32)
    assert not near(plucks_of(sound, RATE_HZ), 1.0).clipped


@pytest.mark.parametrize(("floor", "gated"), [(0.0, True), (0.0005, True), (0.2, False)])
def test_a_noise_gate(floor: float, gated: bool) -> None:
    """What is left after 0.3 s: nothing, 66 dB less, 14 dB less."""
    sound = play(rings(1.0), 3.0, RATE_HZ, 0.0003)
    sound[round(1.3 * RATE_HZ) : round(1.7 * RATE_HZ)] *= floor
    assert near(plucks_of(sound, RATE_HZ), 1.0).gated is gated


def test_a_ring_too_short_to_tell_is_not_called_gated() -> None:
    sound = play(rings(1.0, 1.05), 1.055, RATE_HZ, 0.0003)
    assert not any(pluck.gated for pluck in plucks_of(sound, RATE_HZ))
