"""What is advised, and above all what is never advised."""

from __future__ import annotations

import dataclasses

import pytest

from tensionear.dashboard.sentence import CAUTION, alarms, to_do
from tensionear.reading import Finding, Limits, Reading, SideReading
from tests.dashboard.invented import evenness, pluck, plucks, wheel

NONE = Limits(5.0)


def changed(reading: Reading, spoke: int, **fields: object) -> Reading:
    """The reading with one spoke changed."""
    spokes = tuple(
        dataclasses.replace(each, **fields) if each.spoke == spoke else each  # type: ignore[arg-type]
        for each in reading.spokes
    )
    return dataclasses.replace(reading, spokes=spokes)


def test_even_wheel_needs_nothing() -> None:
    assert alarms(wheel()) == ()
    assert to_do(wheel()) == "Nothing to turn: every spoke is within 5 % of its side's mean."


def test_tight_and_slack_spokes_are_named() -> None:
    said = to_do(wheel({9: 690.0, 14: 720.0}, limits=NONE))
    assert said.startswith("Slacken L7 and tighten R5 towards the mean of the side, an eighth of a turn at a time")


def test_more_than_five_spokes_are_counted() -> None:
    slack = dict.fromkeys((1, 5, 9, 13, 17, 21, 25), 900.0)
    assert "tighten R1, R3, R5, R7 and 3 more" in to_do(wheel(slack, limits=NONE))


@pytest.mark.parametrize("code", ["something-on-spoke", "pair-not-split", "double-pluck", "a-finding-not-yet-invented"])
@pytest.mark.parametrize("floor", [None, 400.0])
def test_never_tighten_a_spoke_of_which_something_else_is_said(code: str, floor: float | None) -> None:
    finding = Finding(code, "its overtones do not fit a bare spoke", (9,))
    said = to_do(wheel({9: 390.0}, findings=(finding,), limits=Limits(5.0, None, floor, {})))
    assert "tighten" not in said.lower()
    assert "R5" in said


def test_something_on_a_spoke_comes_before_turning_the_others() -> None:
    finding = Finding("something-on-spoke", "overtones do not fit", (9,))
    said = to_do(wheel({9: 690.0, 14: 720.0}, findings=(finding,), limits=NONE))
    assert said.startswith("See whether something sits on R5 (magnet")


def test_a_doubtful_slack_spoke_is_left_alone_while_others_are_turned() -> None:
    finding = Finding("double-pluck", "plucked twice", (9,))
    said = to_do(wheel({9: 690.0, 14: 720.0}, findings=(finding,), limits=NONE))
    assert said.startswith("Slacken L7 towards")
    assert "leave R5 alone until plucked again" in said


def test_a_finding_about_tension_alone_does_not_forbid_tightening() -> None:
    finding = Finding("loose-spoke", "far below its side", (9,))
    assert to_do(wheel({9: 690.0}, findings=(finding,), limits=NONE)).startswith("Tighten R5")


def test_broken_spoke_stops_everything() -> None:
    reading = wheel({9: None}, findings=(Finding("broken-spoke", "no ring at all", (9,)),))
    assert alarms(reading) == ("R5: broken, or not holding at all.", CAUTION)
    assert to_do(reading).startswith("Stop using the wheel, take the load off it, and have R5 replaced")


@pytest.mark.parametrize(("tension_n", "word"), [(1260.0, "may be over"), (1340.0, "is over")])
def test_over_the_maximum(tension_n: float, word: str) -> None:
    reading = wheel({9: tension_n}, limits=Limits(5.0, 1250.0, None, {}))
    assert f"{word} the maximum of 1250 N" in alarms(reading)[0]
    assert alarms(reading)[-1] == CAUTION
    assert to_do(reading).startswith("First slacken R5")


@pytest.mark.parametrize(("tension_n", "word"), [(395.0, "may be under"), (300.0, "is under")])
def test_under_the_floor(tension_n: float, word: str) -> None:
    reading = wheel({9: tension_n}, limits=Limits(5.0, None, 400.0, {}))
    assert f"{word} the floor of 400 N" in alarms(reading)[0]
    assert to_do(reading).startswith("Look R5 over for damage, and only if sound tighten")


@pytest.mark.parametrize("word", ["Stop", "Take the load off", "limits of the makers", "qualified wheel builder"])
def test_caution_says(word: str) -> None:
    assert word in CAUTION


def test_left_out_spokes_raise_no_alarm_and_get_no_advice() -> None:
    reading = changed(wheel({9: 1400.0}, limits=Limits(5.0, 1250.0, None, {})), 9, leave_out="a repair link")
    assert alarms(reading) == ()
    assert "R5" not in to_do(reading)


def test_doubt_about_places_asks_for_options() -> None:
    reading = changed(wheel(), 9, doubt="R5 or R6")
    assert to_do(reading).startswith("Say which pluck is which spoke (--assign, --skip, --missing): R5")


def test_unread_then_undecided() -> None:
    assert to_do(wheel({9: None}, limits=NONE)).startswith("Pluck R5 again")
    assert to_do(wheel({9: 1155.0}, limits=NONE)).startswith("Pluck R5 once more")


def test_level_below_target_without_a_maximum_is_never_told_to_tighten() -> None:
    low = Limits(5.0, None, None, {"right": 1300.0})
    said = to_do(wheel(limits=low))
    assert "below the target of 1300 N" in said
    assert "look up the maximum" in said
    known = to_do(wheel(limits=Limits(5.0, 1500.0, None, {"right": 1300.0, "left": None})))
    assert "small equal steps, with the maximum in sight" in known


@pytest.mark.parametrize("percent", [-20.0, -9.0, 9.0, 20.0])
def test_evenness_leaves_the_level_alone(percent: float) -> None:
    said = to_do(evenness({7: percent}))
    assert "all" not in said.split()
    assert "leave the level of the wheel as it is" in said
    assert ("Slacken" if percent > 0 else "Tighten") in said


def test_evenness_within() -> None:
    assert "whether the level is right this cannot tell" in to_do(evenness())


def test_evenness_with_unknown_crossing_asks() -> None:
    ask = Finding("crossing-unknown", "whether the spokes touch is not known")
    assert "--crossing touching" in to_do(evenness(judge=False, findings=(ask,)))
    assert to_do(evenness(judge=False)).startswith("Nothing to turn yet: no verdict was possible")


def test_unknown_crossing_turns_nothing_even_with_a_verdict() -> None:
    ask = Finding("crossing-unknown", "read as if spokes do not touch", tuple(range(1, 37)))
    assert to_do(wheel({9: 690.0}, findings=(ask,), limits=NONE)).endswith("turn nothing on this reading.")


def test_spokes_that_sound_together_are_not_called_unread() -> None:
    together = Finding("crossing-touching", "sound together", tuple(range(1, 37)))
    reading = dataclasses.replace(wheel({9: None}, findings=(together,), limits=NONE), verdict=None)
    assert to_do(reading).startswith("Turn nothing on this reading: spokes that meet")


def test_out_without_a_single_spoke_out() -> None:
    reading = dataclasses.replace(wheel(limits=NONE), verdict="out", sides={"right": SideReading(1, 1, 1, "out")})
    assert to_do(reading).startswith("Look at the notes above")


def test_single_plucks_and_tone() -> None:
    assert to_do(plucks()).startswith("Pluck again where a pluck was not used (1 of 3)")
    whole = dataclasses.replace(plucks(), plucks=plucks().plucks[:2])
    assert to_do(whole).startswith("Compare the tension with the limits")
    spoilt = dataclasses.replace(plucks(), plucks=(pluck(None, None, "clipped"),))
    assert to_do(spoilt).startswith("Pluck again: no tension could be read")
    assert to_do(plucks("tone")).startswith("Nothing to judge: a pitch alone")


def test_nothing_usable_at_all() -> None:
    reading = dataclasses.replace(wheel(), plucks=(pluck(None, None, "too-weak"),))
    assert to_do(reading) == "Record the round again: no pluck of it could be used."


@pytest.mark.parametrize(
    ("code", "spokes", "words"),
    [
        ("lacing-disagrees", (), "Turn nothing yet: correct the lacing"),
        ("mixed-spokes", (3, 5), "Turn nothing yet: see whether R2 and R3 are of another kind"),
        ("zigzag", (1, 3, 5), "elbow-in and elbow-out in turn"),
        ("loose-pair", (3, 9), "look for a dent or a moved rim at R2 and R5"),
        ("slack-side", (1, 3), "Look the wheel over for damage; if it is sound, tighten the slack side"),
        ("bent-rim", (), "Have the rim looked at by a qualified wheel builder"),
        ("wrong-dish", (), "Correct the dish"),
        ("balance-off", (), "Measure the dish"),
        ("lateral-out", (), "True the rim"),
    ],
)
def test_findings_of_the_whole_wheel_say_what_to_do(code: str, spokes: tuple[int, ...], words: str) -> None:
    assert words in to_do(wheel(findings=(Finding(code, "so it is", spokes),)))


def test_what_is_unsafe_stands_first_whatever_the_numbers() -> None:
    crash = Finding("crash", "the wheel has been in a crash", (), "danger")
    assert alarms(wheel(findings=(crash,)))[0] == "The wheel has been in a crash."
    assert "qualified wheel builder" in alarms(wheel(findings=(crash,)))[-1]
    slack = Finding("under-floor", "under the floor of 150 N of JIS D 9301", (3,), "danger")
    assert alarms(wheel(findings=(slack,)))[0].startswith("R2: under the floor of 150 N")


def test_an_undecided_spoke_that_no_pluck_settles_is_not_plucked_again() -> None:
    near = wheel({3: 1153.0})
    assert "once more" in to_do(near)
    assert to_do(dataclasses.replace(near, findings=(Finding("undecided-stays", "so", (3,), "note"),))).startswith(
        "Leave R2"
    )
