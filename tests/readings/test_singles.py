"""Single plucks: of a known kind of spoke, and the pitch of anything."""

from __future__ import annotations

import math

import numpy as np
import pytest

from tensionear.capture.recording import Recording
from tensionear.catalogue import library_spoke
from tensionear.physics.believed import EndsPrior
from tensionear.physics.expectation import LOG_TENSION, spoke_model
from tensionear.physics.inverse import fit_group
from tensionear.physics.observations import partials_of
from tensionear.pipeline import read
from tensionear.pitch.lines import Heard, Line
from tensionear.pitch.series import Candidate
from tensionear.readings.singles import _tension
from tensionear.wheel.sidefit import ends_of
from tests.readings.contract import checked
from tests.readings.recorded import read_single, recording_of, single, spoke_of, string

ROUND, FLAT = (2000, 2003, 2004), (2001, 2006, 2008)  # seeds: titanium, steel, butted; carbon blade, oval, carbon blade


def cents(found: float | None, truth: float) -> float:
    assert found is not None
    return abs(1200 * float(np.log2(found / truth)))


@pytest.mark.parametrize("seed", [*ROUND, *FLAT])
def test_a_pluck_comes_back_within_what_is_stated(seed: int) -> None:
    drawn, reading = single(seed), read_single(seed)
    used = [pluck for pluck in reading.plucks if pluck.used]
    assert len(used) == 1
    pluck = used[0]
    assert pluck.onset_s == pytest.approx(drawn.onset_s, abs=0.005)
    planes = drawn.frequency_hz[:1] if drawn.flat else drawn.frequency_hz
    assert min(cents(pluck.frequency_hz, each) for each in planes) < 2
    assert pluck.tension_n is not None
    assert pluck.u_tension_n is not None
    assert abs(pluck.tension_n - drawn.tension_n) < 3 * pluck.u_tension_n
    assert 0.005 < pluck.u_tension_n / pluck.tension_n < 0.05


@pytest.mark.parametrize("seed", [ROUND[0], FLAT[0]])
def test_json_of_a_single_pluck(seed: int) -> None:
    found = checked(read_single(seed))
    assert (found["job"], found["spokes"], found["sides"], found["verdict"]) == ("pluck", [], {}, None)
    pluck = next(each for each in found["plucks"] if each["used"])
    assert (pluck["spoke"], pluck["side"]) == (None, None)
    flat = seed in FLAT
    assert {partial["plane"] for partial in pluck["partials"]} <= ({"flat", "edge"} if flat else {"both"})
    assert list(found["ends"]) == ["all"]
    assert [end["plane"] for end in found["ends"]["all"]] == (["flat"] * 2 + ["edge"] * 2 if flat else ["both"] * 2)
    assert found["assumptions"]


def test_the_edge_plane_is_told_of_flat_spokes_only() -> None:
    drawn, pluck = single(2008), next(each for each in read_single(2008).plucks if each.used)
    assert cents(pluck.edge_frequency_hz, drawn.frequency_hz[1]) < 5
    assert next(each for each in read_single(2000).plucks if each.used).edge_frequency_hz is None


def test_u_tension_is_half_the_95_percent_interval_over_1_96() -> None:
    """Not the standard deviation: one line alone leaves the ends open, and the distribution is skew."""
    spoke, state = library_spoke("steel-round-2.0"), 700
    heard = Heard(
        (Line(372.0, 0.05, 3.0, -20.0, 0, 1, False),), (Candidate(state, 50.0, 50.0),), (None, None), 0.0, 0.0
    )  # type: ignore[arg-type]
    data = partials_of([[heard]], True, [float(LOG_TENSION[state])])
    fit = fit_group((spoke_model(spoke, 0.290, 0.0005),), np.zeros(1, np.intp), data, EndsPrior())
    ((value, u), budget), ends = _tension(fit, heard, spoke, 0.290), ends_of(fit, False)
    low, high = np.exp(fit.interval(0))
    assert low < value < high
    assert u == pytest.approx((high - low) / 2 / 1.959964)
    assert u != pytest.approx(value * fit.moments()[1][0], rel=0.005)
    assert {end.how for end in ends} == {"assumed"}
    assert math.hypot(*(line.contribution_n for line in budget)) == pytest.approx(u, rel=1e-9)


def test_the_same_pluck_at_any_gain_reads_the_same() -> None:
    drawn = single(2000)
    soft = Recording((drawn.samples / 40).astype(np.float32), drawn.sample_rate_hz)
    found = read(soft, spoke=spoke_of(drawn), free_length_m=drawn.free_length_m)
    one, two = (next(p for p in each.plucks if p.used) for each in (found, read_single(2000)))
    assert one.tension_n == pytest.approx(two.tension_n, rel=1e-5)


def test_reading_twice_gives_the_same_to_the_bit() -> None:
    drawn = single(2001)
    again = read(recording_of(drawn), spoke=spoke_of(drawn), free_length_m=drawn.free_length_m)
    assert again.to_dict() == read_single(2001).to_dict()


def test_a_longer_spoke_of_the_same_pitch_is_tighter() -> None:
    """1 mm is about 0.9 % of tension."""
    drawn = single(2003)
    longer = read(recording_of(drawn), spoke=spoke_of(drawn), free_length_m=drawn.free_length_m + 0.001)
    one, two = (next(p for p in each.plucks if p.used).tension_n for each in (read_single(2003), longer))
    assert one is not None
    assert two is not None
    assert two / one - 1 == pytest.approx(0.009, abs=0.004)


def test_noise_is_no_pluck() -> None:
    hiss = Recording((0.01 * np.random.default_rng(3).standard_normal(3 * 48_000)).astype(np.float32), 48_000)
    for given in ({"spoke": library_spoke("steel-round-2.0"), "free_length_m": 0.29}, {"spokes": 1}):
        reading = read(hiss, **given)
        found = checked(reading)
        assert not any(pluck["used"] for pluck in found["plucks"])
        assert [finding["code"] for finding in found["findings"]] == ["no-pluck"]
        assert "pluck again" in found["findings"][0]["text"]
        assert found["ends"] == {}


def clipped_at(sound: np.ndarray, gain: float) -> np.ndarray:
    return np.clip(sound / np.abs(sound).max() * gain, -1, 1).astype(np.float32)


def test_a_pluck_clipped_into_its_ring_is_told_and_not_used() -> None:
    drawn = single(2000)
    for given in ({"spoke": spoke_of(drawn), "free_length_m": drawn.free_length_m}, {"spokes": 1}):
        reading = read(Recording(clipped_at(drawn.samples, 8.0), drawn.sample_rate_hz), **given)
        found = checked(reading)
        spoilt = next(pluck for pluck in found["plucks"] if abs(pluck["onset_s"] - drawn.onset_s) < 0.01)
        assert spoilt["rejected"] == "clipped"
        assert "too loud" in spoilt["advice"]
        assert "clipped" in [finding["code"] for finding in found["findings"]]


def test_a_pluck_clipped_at_its_attack_alone_is_used_and_told() -> None:
    """A click of 8 ms at the onset that sticks at full scale; the ring after it is clean."""
    drawn = single(2000)
    sound = 0.5 * drawn.samples / np.abs(drawn.samples).max()
    first = round(drawn.onset_s * drawn.sample_rate_hz)
    at = np.arange(round(0.008 * drawn.sample_rate_hz)) / drawn.sample_rate_hz
    sound[first : first + len(at)] += 3 * np.sin(2 * np.pi * 700 * at) * np.exp(-at / 0.003)
    reading = read(
        Recording(np.clip(sound, -1, 1), drawn.sample_rate_hz), spoke=spoke_of(drawn), free_length_m=drawn.free_length_m
    )
    used = [pluck for pluck in reading.plucks if pluck.used]
    assert [abs(pluck.onset_s - drawn.onset_s) < 0.01 for pluck in used] == [True]
    assert used[0].tension_n is not None
    assert abs(used[0].tension_n - drawn.tension_n) < 3 * used[0].u_tension_n
    clipped = next(finding for finding in reading.findings if finding.code == "clipped")
    assert "used, since the ring after it is clean" in clipped.text


@pytest.mark.parametrize(("kept_s", "reason"), [(0.075, "short"), (0.3, None)])
def test_a_ring_cut_short(kept_s: float, reason: str | None) -> None:
    """By the end of the recording."""
    drawn = single(2000)
    end = round((drawn.onset_s + kept_s) * drawn.sample_rate_hz)
    reading = read(
        Recording(drawn.samples[:end], drawn.sample_rate_hz), spoke=spoke_of(drawn), free_length_m=drawn.free_length_m
    )
    pluck = next(each for each in reading.plucks if abs(each.onset_s - drawn.onset_s) < 0.01)
    assert pluck.rejected == reason


def test_a_noise_gate_is_told() -> None:
    drawn = single(2000)
    sound = drawn.samples.copy()
    sound[round((drawn.onset_s + 0.25) * drawn.sample_rate_hz) :] = 0
    reading = read(Recording(sound, drawn.sample_rate_hz), spoke=spoke_of(drawn), free_length_m=drawn.free_length_m)
    assert "gated" in [finding.code for finding in reading.findings]
    assert "voice processing" in next(finding.text for finding in reading.findings if finding.code == "gated")


@pytest.mark.parametrize("first_hz", [82.41, 110.0, 196.0, 440.0, 987.77, 1975.5])
def test_the_tone_of_an_instruments_string(first_hz: float) -> None:
    """Open strings and what is above every spoke: within a cent, no tension, nothing turned away for its pitch."""
    reading = read(string(first_hz), spokes=1)
    found = checked(reading)
    assert found["job"] == "tone"
    used = [pluck for pluck in found["plucks"] if pluck["used"]]
    assert len(used) == 1
    assert cents(used[0]["frequency_hz"], first_hz) < 1.0
    assert (used[0]["tension_n"], used[0]["u_tension_n"]) == (None, None)
    assert abs(used[0]["onset_s"] - 0.6) < 0.005
    assert found["file"] == "string"
    assert (found["spokes"], found["sides"], found["ends"]) == ([], {}, {})


def lone(hz: float, decay_s: float) -> Recording:
    """One damped line without overtones in faint noise, 0.6 s from the start."""
    at = np.arange(2 * 48_000) / 48_000 - 0.6
    sound = 0.0005 * np.random.default_rng(4).standard_normal(len(at))
    sound += (at >= 0) * 0.3 * np.sin(2 * np.pi * hz * at) * np.exp(-np.maximum(at, 0) / decay_s)
    return Recording(sound.astype(np.float32), 48_000, "lone")


def test_a_tone_without_overtones_counts_if_it_rings() -> None:
    """A tuning fork is no spoke, but it has a pitch; a dull knock has none."""
    used = [pluck for pluck in read(lone(700.0, 0.8), spokes=1).plucks if pluck.used]
    assert len(used) == 1
    assert cents(used[0].frequency_hz, 700.0) < 1
    assert not any(pluck.used for pluck in read(lone(700.0, 0.012), spokes=1).plucks)


def test_the_tone_of_a_spoke_is_its_first_mode() -> None:
    drawn = single(2001)
    used = [pluck for pluck in read(recording_of(drawn), spokes=1).plucks if pluck.used]
    assert len(used) == 1
    assert cents(used[0].frequency_hz, drawn.frequency_hz[0]) < 2
