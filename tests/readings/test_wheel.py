"""A whole round of a described wheel: every spoke its own, and what each option changes."""

from __future__ import annotations

import numpy as np
import pytest

from tensionear.errors import UsageError
from tensionear.options import RoundOptions
from tensionear.pipeline import read
from tensionear.reading import Reading
from tensionear.readings.wheel import _misfits, read_wheel
from tensionear.wheel.model import Wheel
from tensionear.wheel.sidefit import ReadTension
from tensionear.wheel.wheelfile import parse_wheel
from tests.readings.contract import checked
from tests.readings.recorded import heard_with_wheel, read_with_wheel, recording_of, tidy, wheel_of

SEED = 13  # 28 plain spokes, right and left in turn, plucked once round from spoke 1


def told(wheel: Wheel | None = None, first: int = 1, **options: object) -> Reading:
    """The same recording, heard once, with other options or another wheel file of the same kind of spoke."""
    wheel = wheel or wheel_of(SEED)
    kinds = tuple(dict.fromkeys(place.spoke for place in wheel.places))
    return read_wheel("r.wav", heard_with_wheel(SEED), wheel, kinds, first, RoundOptions(**options))  # type: ignore[arg-type]


def rewritten(*changes: tuple[str, str], more: str = "") -> Wheel:
    """The drawn wheel's file with lines changed."""
    text = tidy(SEED).wheel_toml
    for old, new in changes:
        assert old in text, old
        text = text.replace(old, new)
    return parse_wheel(text + more, "changed.toml")


def codes(reading: Reading) -> dict[str, tuple[int, ...]]:
    return {finding.code: finding.spokes for finding in reading.findings}


def assigned(reading: Reading) -> list[int]:
    return [pluck.spoke for pluck in reading.plucks if pluck.used and pluck.spoke is not None]


def test_every_spoke_is_read_within_what_is_stated() -> None:
    reading, truth = read_with_wheel(SEED), tidy(SEED).spokes
    assert [spoke.spoke for spoke in reading.spokes] == list(range(1, 29))
    for found, true in zip(reading.spokes, truth, strict=True):
        assert (found.label, found.side) == (true.label, true.side)
        assert found.tension_n is not None
        assert found.u_tension_n is not None
        assert abs(found.tension_n - true.tension_n) < 3 * found.u_tension_n
        assert found.u_tension_n < 0.03 * true.tension_n


def test_deviations_are_truer_than_levels() -> None:
    reading, truth = read_with_wheel(SEED), tidy(SEED).spokes
    for side, whole in reading.sides.items():
        true = np.array([spoke.tension_n for spoke in truth if spoke.side == side])
        found = np.array([spoke.deviation_percent for spoke in reading.spokes if spoke.side == side])
        off = found - 100 * (true / true.mean() - 1)
        assert np.median(np.abs(off)) < 0.4
        assert np.abs(off).max() < 3.0
        assert whole.spread_percent == pytest.approx((found.max() - found.min()) / 2)
        assert whole.mean_n is not None
        assert whole.u_mean_n is not None
        assert abs(whole.mean_n - true.mean()) < 3 * whole.u_mean_n


def test_every_pluck_is_its_spokes() -> None:
    reading = read_with_wheel(SEED)
    used = [pluck for pluck in reading.plucks if pluck.used]
    assert [pluck.spoke for pluck in used] == [event.spoke for event in tidy(SEED).plucks]
    for pluck, event in zip(used, tidy(SEED).plucks, strict=True):
        spoke = reading.spokes[event.spoke - 1]
        assert pluck.onset_s == pytest.approx(event.onset_s, abs=0.005)
        assert (pluck.side, pluck.tension_n, pluck.u_tension_n) == (spoke.side, spoke.tension_n, spoke.u_tension_n)
        planes = tidy(SEED).spokes[event.spoke - 1].frequency_hz
        assert pluck.frequency_hz is not None
        assert min(abs(1200 * np.log2(pluck.frequency_hz / each)) for each in planes) < 10


def test_json_of_a_round() -> None:
    found = checked(read_with_wheel(SEED))
    assert found["job"] == "wheel"
    assert found["duration_s"] == pytest.approx(len(tidy(SEED).samples) / tidy(SEED).sample_rate_hz)
    assert found["sample_rate_hz"] == tidy(SEED).sample_rate_hz
    assert set(found["sides"]) == set(found["ends"]) == {"right", "left"}
    for ends in found["ends"].values():
        assert [(end["end"], end["plane"]) for end in ends] == [("hub", "both"), ("nipple", "both")]
    assert found["limits"]["evenness_percent"] == 5
    assert found["limits"]["target_n"].keys() == {"right", "left"}
    assert len(found["assumptions"]) == 3
    assert "free length" in found["assumptions"][0]


def test_verdict_and_findings_are_the_truths() -> None:
    """Who is surely off by the limit and more is named, who is surely well inside is not."""
    reading, truth = read_with_wheel(SEED), tidy(SEED).spokes
    named = {spoke for finding in reading.findings for spoke in finding.spokes}
    for side in ("right", "left"):
        mean = np.mean([spoke.tension_n for spoke in truth if spoke.side == side])
        for spoke in truth:
            percent = 100 * abs(spoke.tension_n / mean - 1)
            if spoke.side == side and percent > 7:
                assert spoke.spoke in named
                assert reading.spokes[spoke.spoke - 1].verdict == "out"
            if spoke.side == side and percent < 3:
                assert spoke.spoke not in named
                assert reading.spokes[spoke.spoke - 1].verdict == "within"
    assert reading.verdict == "out"
    assert named


def test_wide_limits_make_it_within_and_a_low_maximum_out() -> None:
    wide = rewritten(("evenness_percent = 5", "evenness_percent = 60"))
    assert told(wide).verdict == "within"
    assert {side.verdict for side in told(wide).sides.values()} == {"within"}
    low = rewritten(("evenness_percent = 5", "evenness_percent = 60"), ("max_tension_n = 1600", "max_tension_n = 700"))
    reading = told(low)
    assert reading.verdict == "out"
    over = codes(reading)["over-maximum"]
    truth = [spoke.tension_n for spoke in tidy(SEED).spokes]
    assert over
    assert all(truth[number - 1] > 700 for number in over)


def test_an_unread_spoke_makes_within_undecided() -> None:
    wide = rewritten(("evenness_percent = 5", "evenness_percent = 60"))
    reading = told(wide, missing=(1,), skip=(first_pluck(1),))
    assert reading.spokes[0].tension_n is None
    assert reading.verdict == "undecided"


def first_pluck(spoke: int) -> int:
    """The number, from 1, of the pluck that is this spoke's among those listed."""
    return next(n for n, pluck in enumerate(read_with_wheel(SEED).plucks, start=1) if pluck.spoke == spoke)


def test_a_tyre_leaves_only_evenness_to_judge() -> None:
    low = (("evenness_percent = 5", "evenness_percent = 60"), ("max_tension_n = 1600", "max_tension_n = 700"))
    mounted = rewritten(*low, ('tyre = "none"', 'tyre = "mounted"'))
    reading = told(mounted)
    assert "tyre-on" in codes(reading)
    assert "over-maximum" not in codes(reading)
    assert reading.verdict == "undecided"  # a maximum is stated, and not judged
    assert {side.verdict for side in reading.sides.values()} == {"within"}


def test_a_spoke_left_out_is_read_and_not_judged() -> None:
    reading = told(rewritten(more='[spoke.7]\nleave_out = "replaced on the road"\n'))
    spoke = reading.spokes[6]
    assert spoke.tension_n == pytest.approx(read_with_wheel(SEED).spokes[6].tension_n, rel=1e-6)
    assert (spoke.verdict, spoke.leave_out) == (None, "replaced on the road")
    assert not any(7 in finding.spokes for finding in reading.findings)
    kept = [each.deviation_percent for each in reading.spokes if each.side == spoke.side and each.spoke != 7]
    assert np.sum(kept) == pytest.approx(0, abs=1e-6)


@pytest.mark.parametrize("state", ["touching", "pinched", "tied"])
def test_spokes_that_sound_together_get_no_tension(state: str) -> None:
    reading = told(crossing=state)
    assert codes(reading)[f"crossing-{state}"] == tuple(range(1, 29))
    assert all(spoke.tension_n is None and spoke.verdict is None for spoke in reading.spokes)
    assert all(pluck.tension_n is None for pluck in reading.plucks)
    assert (reading.verdict, reading.sides, reading.ends) == (None, {}, {})
    assert [pluck.frequency_hz for pluck in reading.plucks] == [pluck.frequency_hz for pluck in told().plucks]
    checked(reading)


def test_crossing_in_the_file_counts_and_the_option_overrules_it() -> None:
    touching = rewritten(('crossing = "apart"', 'crossing = "touching"'))
    assert "crossing-touching" in codes(told(touching))
    assert told(touching, crossing="apart").to_dict()["spokes"] == told().to_dict()["spokes"]
    text = tidy(SEED).wheel_toml.replace('crossing = "apart"', 'crossing = "touching"', 1)
    one_side = parse_wheel(text, "one.toml")
    reading = told(one_side)
    silent = {spoke.side for spoke in reading.spokes if spoke.tension_n is None}
    assert len(silent) == 1
    assert set(reading.sides) == {"right", "left"} - silent
    assert reading.verdict in ("out", "undecided")  # half of it is not judged


def test_an_unknown_crossing_is_asked_for_and_never_within() -> None:
    unknown = rewritten(('crossing = "apart"', ""), ("evenness_percent = 5", "evenness_percent = 60"))
    reading = told(unknown)
    assert codes(reading)["crossing-unknown"] == tuple(range(1, 29))
    assert reading.verdict == "undecided"
    assert any("not stated" in each for each in reading.assumptions)
    assert "crossing-unknown" not in codes(told(unknown, crossing="apart"))
    assert told(unknown, crossing="apart").verdict == "within"


def test_first_turns_the_round() -> None:
    plain = assigned(told())
    assert assigned(told(first=5)) == [(number + 3) % 28 + 1 for number in plain]


def test_direction_turns_it_the_other_way() -> None:
    assert assigned(told(direction="ccw")) == [(1 - number) % 28 + 1 for number in assigned(told())]


def test_a_missing_spoke_whose_pluck_is_skipped_changes_no_other() -> None:
    pluck = first_pluck(9)
    reading, plain = told(missing=(9,), skip=(pluck,)), told()
    assert reading.plucks[pluck - 1].rejected == "skipped"
    assert reading.spokes[8].tension_n is None
    assert assigned(reading) == [number for number in assigned(plain) if number != 9]
    for before, after in zip(plain.spokes, reading.spokes, strict=True):
        if after.spoke != 9:
            assert after.tension_n == pytest.approx(before.tension_n, rel=0.005)


def test_assign_is_obeyed() -> None:
    pluck = first_pluck(3)
    reading = told(assign={pluck: 3})
    assert assigned(reading) == assigned(told())
    other = told(assign={pluck: 5})
    assert other.plucks[pluck - 1].spoke == 5


@pytest.mark.parametrize(
    ("options", "first", "message"),
    [
        ({"skip": (999,)}, 1, "--skip names pluck 999, but only [0-9]+ were heard"),
        ({"assign": {999: 1}}, 1, "--assign names pluck 999"),
        ({"assign": {1: 29}}, 1, "--assign 1=29"),
        ({"missing": (29,)}, 1, "29"),
        ({}, 29, "--first 29 is no spoke of a wheel of 28"),
        ({}, 0, "--first 0"),
    ],
)
def test_options_that_name_what_there_is_not(options: dict[str, object], first: int, message: str) -> None:
    with pytest.raises(UsageError, match=message):
        told(first=first, **options)


def test_a_round_of_too_few_plucks_says_where_it_doubts() -> None:
    """A third of the round: what was plucked keeps its place, the rest is unread, nobody is called within."""
    drawn = tidy(SEED)
    end_s = drawn.plucks[9].onset_s - 0.1
    cut = type(recording_of(drawn))(drawn.samples[: round(end_s * drawn.sample_rate_hz)], drawn.sample_rate_hz)
    reading = read(cut, wheel=wheel_of(SEED))
    assert len(assigned(reading)) == 9
    assert "count-differs" in codes(reading)
    assert any("spokes plucked for 28" in finding.text for finding in reading.findings)
    assert sum(spoke.tension_n is None for spoke in reading.spokes) >= 18
    assert reading.verdict in ("out", "undecided")
    checked(reading)


def test_reading_twice_gives_the_same_to_the_bit() -> None:
    assert told().to_dict()["spokes"] == read_with_wheel(SEED).to_dict()["spokes"]
    assert told().to_dict() == told().to_dict()


def test_misfits_are_named() -> None:
    """Mean square of the residuals far above what is usual in this round."""

    def one(misfit: float) -> ReadTension:
        return ReadTension(1000, 10, (980, 1020), 5, 8, 0.0, 0.003, 2.2, misfit)

    usual = {number: one(2.0) for number in range(1, 10)}
    assert _misfits(usual) == []
    found = _misfits({**usual, 4: one(40.0), 2: one(29.0)})
    assert [(finding.code, finding.spokes) for finding in found] == [("overtones-do-not-fit", (4,))]
    assert "before turning" in found[0].text
    assert _misfits({number: one(40.0) for number in range(1, 10)}) == []  # all alike: the kind is wrong, not a spoke
    assert _misfits({}) == []


def test_a_spoke_of_another_kind_is_heard_as_that_kind() -> None:
    """Spoke 5 called a thicker one: its own tension follows mass, the others' is what it was."""
    other = rewritten(more='[spoke.5]\nspoke = "titanium-round-2.3"\n')
    reading, plain = read(recording_of(tidy(SEED)), wheel=other), told()
    assert reading.spokes[4].tension_n is not None
    for before, after in zip(plain.spokes, reading.spokes, strict=True):
        if after.spoke == 5:
            assert abs(after.tension_n / before.tension_n - 1) > 0.1
        else:
            assert after.tension_n == pytest.approx(before.tension_n, rel=0.01)


def test_a_round_numbered_from_the_wrong_spoke_gets_no_verdict():
    """Spoke 2 named as the first exchanges the sides of a dished wheel: the build of the wheel contradicts it."""
    from tensionear.data import data_file
    from tensionear.loading import load_wheel
    from tensionear.pipeline import read as read_sound

    wheel = load_wheel(data_file("recordings_demo", "wheel.toml"))
    reading = read_sound(data_file("recordings_demo", "round.flac"), wheel=wheel, first=2)
    assert "sides-exchanged" in {finding.code for finding in reading.findings}
    assert reading.verdict is None


def test_what_is_doubtful_twice_gets_no_number() -> None:
    """Not sure whose pluck it is, and a third off its side: nothing. Sure of it, near its side, heard twice: a number."""
    from tensionear.readings.rounds import SpokeRings
    from tensionear.readings.wheel import _credible
    from tensionear.wheel.sidefit import Rings

    def rings(tension_n: float, doubt: str | None = None, plucks: float = 1.0) -> SpokeRings:
        return SpokeRings(Rings((), float(np.log(tension_n))), (), doubt, plucks)

    given = {
        1: rings(900),
        3: rings(880),
        5: rings(910),
        7: rings(300),
        9: rings(300, "?"),
        11: rings(860, "?"),
        13: rings(300, "?", 1.5),
        2: rings(310, "?"),
    }
    side_of = {number: "right" if number % 2 else "left" for number in given}
    assert set(_credible(given, side_of)) == {1, 3, 5, 7, 11, 13, 2}  # type: ignore[arg-type]
