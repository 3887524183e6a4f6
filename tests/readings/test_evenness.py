"""Evenness alone: a round of which only the number of spokes is known."""

from __future__ import annotations

import numpy as np
import pytest

from tensionear.capture.recording import Recording
from tensionear.errors import UsageError
from tensionear.options import RoundOptions
from tensionear.pipeline import read
from tensionear.reading import Reading
from tensionear.readings.evenness import read_evenness
from tests.readings.contract import checked
from tests.readings.recorded import heard_with_count, read_with_count, read_with_wheel, recording_of, tidy

SEED, SPOKES, BLADES = 13, 28, 6
#: Seed, what its spokes are, and how far from the reading with the wheel file, in percent: the middle spoke and the worst.
KINDS = [(SEED, "round", 0.2, 1.0), (5, "butted", 0.5, 2.0), (BLADES, "flat 2.3:1", 0.25, 1.0)]


def told(first: int = 1, **options: object) -> Reading:
    """The same recording, heard once, with other options."""
    listened, kind = heard_with_count(SEED)
    return read_evenness("r.wav", listened, SPOKES, first, RoundOptions(**options), kind)  # type: ignore[arg-type]


def codes(reading: Reading) -> dict[str, str]:
    return {finding.code: finding.text for finding in reading.findings}


def deviations(reading: Reading) -> np.ndarray:
    return np.array([np.nan if each.deviation_percent is None else each.deviation_percent for each in reading.spokes])


def test_json_has_deviations_and_no_newton() -> None:
    found = checked(read_with_count(SEED))
    assert found["job"] == "evenness"
    assert [spoke["spoke"] for spoke in found["spokes"]] == list(range(1, SPOKES + 1))
    assert [spoke["label"] for spoke in found["spokes"]] == [str(number) for number in range(1, SPOKES + 1)]
    for spoke in found["spokes"]:
        for key in ("tension_n", "u_tension_n", "interval_95_n", "u_individual_n", "u_common_n"):
            assert spoke[key] is None
        assert spoke["deviation_percent"] is not None
        assert spoke["u_deviation_percent"] > 0
    assert all(pluck["tension_n"] is None for pluck in found["plucks"])
    assert set(found["sides"]) == {"higher", "lower"}
    for side in found["sides"].values():
        assert (side["mean_n"], side["u_mean_n"]) == (None, None)
        assert side["spread_percent"] > 0
    assert found["ends"] == {}
    assert found["limits"]["max_tension_n"] is None


def test_groups_are_the_sides() -> None:
    truth = tidy(SEED).spokes
    pitch = {side: np.mean([spoke.frequency_hz for spoke in truth if spoke.side == side]) for side in ("right", "left")}
    higher = max(pitch, key=lambda side: pitch[side])
    for found, true in zip(read_with_count(SEED).spokes, truth, strict=True):
        assert found.side == ("higher" if true.side == higher else "lower")


def test_every_pluck_has_the_group_of_its_spoke() -> None:
    reading = read_with_count(SEED)
    used = [pluck for pluck in reading.plucks if pluck.used]
    assert [pluck.spoke for pluck in used] == [event.spoke for event in tidy(SEED).plucks]
    assert [pluck.side for pluck in used] == [reading.spokes[pluck.spoke - 1].side for pluck in used]


@pytest.mark.parametrize(("seed", "shape", "middle", "most"), KINDS)
def test_deviations_are_those_of_the_full_wheel_file(seed: int, shape: str, middle: float, most: float) -> None:
    """Round spokes, much butted ones and blades, told by ear, to about half a percent of tension."""
    reading = read_with_count(seed)
    assert f"({shape})" in reading.assumptions[0]
    gap = np.abs(deviations(reading) - deviations(read_with_wheel(seed)))
    assert np.isfinite(gap).all()
    assert np.median(gap) < middle
    assert gap.max() < most


def test_a_blade_is_read_in_both_its_planes() -> None:
    assert {partial.plane for pluck in read_with_count(BLADES).plucks for partial in pluck.partials} == {"flat", "edge"}
    assert {partial.plane for pluck in read_with_count(SEED).plucks for partial in pluck.partials} == {"both"}
    checked(read_with_count(BLADES))


def test_deviations_are_the_truths() -> None:
    truth, found = tidy(SEED).spokes, deviations(read_with_count(SEED))
    for side in ("right", "left"):
        mine = np.array([spoke.side == side for spoke in truth])
        true = np.array([spoke.tension_n for spoke in truth])[mine]
        off = found[mine] - 100 * (true / true.mean() - 1)
        assert np.median(np.abs(off)) < 0.5
        assert np.abs(off).max() < 2.0
        assert found[mine].sum() == pytest.approx(0, abs=1e-6)


def test_until_the_crossing_is_known_there_is_no_verdict() -> None:
    reading = read_with_count(SEED)
    assert "--crossing apart or --crossing touching" in codes(reading)["crossing-unknown"]
    assert reading.verdict is None
    assert all(spoke.verdict is None for spoke in reading.spokes)
    assert all(side.verdict is None for side in reading.sides.values())
    assert "out-of-evenness" not in codes(reading)


def test_apart_is_judged() -> None:
    reading = told(crossing="apart")
    assert "crossing-unknown" not in codes(reading)
    assert deviations(reading) == pytest.approx(deviations(read_with_count(SEED)))
    assert reading.verdict == "out"
    named = next(finding.spokes for finding in reading.findings if finding.code == "out-of-evenness")
    for spoke in reading.spokes:
        assert spoke.verdict in ("within", "out", "undecided")
        assert (spoke.spoke in named) == (spoke.verdict == "out")
        assert abs(spoke.deviation_percent or 0) > 5 or spoke.verdict != "out"
    checked(reading)


@pytest.mark.parametrize("state", ["touching", "pinched", "tied"])
def test_spokes_that_sound_together_are_not_called_even(state: str) -> None:
    reading = told(crossing=state)
    assert state in codes(reading)[f"crossing-{state}"]
    assert np.isnan(deviations(reading)).all()
    assert reading.verdict is None
    assert all(side.spread_percent is None for side in reading.sides.values())
    checked(reading)


def test_it_never_advises_to_tighten() -> None:
    for reading in (read_with_count(SEED), told(crossing="apart")):
        assert not any("tighten" in finding.text for finding in reading.findings)


def test_a_spoke_skipped_and_missing_is_unread_and_within_becomes_undecided() -> None:
    plucks = read_with_count(SEED).plucks
    number = next(n for n, pluck in enumerate(plucks, start=1) if pluck.spoke == 6)
    reading = told(crossing="apart", skip=(number,), missing=(6,))
    assert reading.plucks[number - 1].rejected == "skipped"
    assert reading.spokes[5].deviation_percent is None
    assert reading.spokes[5].side == read_with_count(SEED).spokes[5].side
    assert np.isfinite(np.delete(deviations(reading), 5)).all()
    checked(reading)


def test_first_turns_the_round() -> None:
    plain = [pluck.spoke for pluck in told().plucks if pluck.spoke]
    assert [pluck.spoke for pluck in told(first=4).plucks if pluck.spoke] == [(n + 2) % SPOKES + 1 for n in plain]


def test_options_that_name_what_there_is_not() -> None:
    with pytest.raises(UsageError, match=r"--skip names pluck 400, but only [0-9]+ were heard"):
        told(skip=(400,))
    with pytest.raises(UsageError, match="--first 29 is no spoke of a wheel of 28"):
        told(first=29)


def test_noise_is_no_round() -> None:
    hiss = Recording((0.01 * np.random.default_rng(3).standard_normal(4 * 44_100)).astype(np.float32), 44_100)
    reading = read(hiss, spokes=20, options=RoundOptions(crossing="apart"))
    found = checked(reading)
    assert not any(pluck["used"] for pluck in found["plucks"])
    assert len(found["spokes"]) == 20
    assert found["verdict"] is None
    assert found["sides"]["all"]["spread_percent"] is None


def test_reading_twice_gives_the_same_to_the_bit() -> None:
    assert told().to_dict()["spokes"] == read_with_count(SEED).to_dict()["spokes"]
    again = read(recording_of(tidy(SEED)), spokes=SPOKES)
    assert again.to_dict() == read_with_count(SEED).to_dict()
