"""What changed between two rounds: what moved, what only seems to, and when levels may not be compared."""

from __future__ import annotations

import dataclasses
from pathlib import Path

import pytest

from tensionear.errors import LogError
from tensionear.reading import Reading
from tensionear.records.changes import Terms, changes_between, compare_rounds
from tensionear.records.log import Log
from tensionear.records.trends import trend_of
from tensionear.records.values import Asked, State
from tests.dashboard.invented import evenness, wheel

BARE = State("none")


@pytest.fixture
def log(tmp_path: Path) -> Log:
    return Log(tmp_path / "rounds.sqlite")


def keep(log: Log, reading: Reading, state: State = BARE, text: str | None = "a = 1") -> int:
    return log.save(reading, Asked(wheel_text=text), state=state)


def words(before: Reading, after: Reading) -> dict[str, str | None]:
    return {each.label: each.word for each in changes_between(before, after).spokes}


def test_what_moved_and_what_only_seems_to() -> None:
    found = words(wheel(), wheel({9: 1140.0 - 90, 13: 1071.0 + 44, 4: None}))
    assert found.pop("R5") == "moved"
    assert found.pop("R7") == "perhaps"
    assert found.pop("L2") is None
    assert set(found.values()) == {"still"}


def test_the_uncertainty_of_a_change_is_less_than_that_of_the_tensions() -> None:
    """What the spokes of a side share drops out, unless the wheel is described otherwise."""
    one, two = wheel(), wheel({9: 1100.0})
    alike = {each.spoke: each for each in changes_between(one, two).spokes}[9]
    unlike = {each.spoke: each for each in changes_between(one, two, Terms(alike=False)).spokes}[9]
    assert alike.u_change is not None
    assert unlike.u_change is not None
    read = one.spokes[8].u_tension_n
    assert read is not None
    assert alike.u_change < read < unlike.u_change
    own = one.spokes[8].u_individual_n
    assert own is not None
    assert alike.u_change > own


def test_the_mean_of_a_side_loses_when_it_beds_in() -> None:
    lost = {
        number: 0.92 * (spoke.tension_n or 0.0)
        for number, spoke in enumerate(wheel().spokes, 1)
        if spoke.side == "right"
    }
    changes = changes_between(wheel(), wheel(dict(lost)))
    right, left = changes.sides["right"], changes.sides["left"]
    assert right.percent == pytest.approx(-8.0, abs=0.01)
    assert right.u_percent is not None
    assert right.u_percent < 2
    assert left.change_n == 0


@pytest.mark.parametrize(
    ("state", "words"),
    [
        (State("mounted"), "the tyre was off in round 1 and mounted in round 2"),
        (State("none", None, 40.0), ""),
    ],
)
def test_unlike_states_are_told(log: Log, state: State, words: str) -> None:
    one, two = keep(log, wheel()), keep(log, wheel({9: 900.0}), state)
    changes = compare_rounds(log.load(one), log.load(two))
    assert changes.terms.basis == ("evenness" if words else "tension")
    assert any(said.startswith(words) for said in changes.terms.said) == bool(words)
    assert {each.label for each in changes.spokes if each.word == "moved"} == {"R5"}
    if words:
        assert changes.sides["right"].change_n is None
        spoke = changes.spokes[8]
        assert (spoke.after or 0.0) - (spoke.before or 0.0) == pytest.approx(-20.8, abs=0.5)  # percent of the mean
        assert spoke.change == pytest.approx(-22.1, abs=0.5)  # the mean moved with it, its fellows did not
        others = [each.change or 0.0 for each in changes.spokes if each.side == "right" and each.label != "R5"]
        assert max(map(abs, others)) < 0.1


def test_pressure_and_temperature_count_as_states(log: Log) -> None:
    one = keep(log, wheel(), State("inflated", 300.0, 10.0))
    for other, basis in ((State("inflated", 300.0, 12.0), "tension"), (State("inflated", 400.0), "evenness")):
        assert compare_rounds(log.load(one), log.load(keep(log, wheel(), other))).terms.basis == basis
    warm = log.load(keep(log, wheel(), State("inflated", 300.0, 30.0)))
    assert compare_rounds(log.load(one), warm).terms.said == (
        "it was 10 and 30 degrees C: tensions are not compared, only how even each side is",
    )


def test_another_description_or_model_is_told(log: Log) -> None:
    one, two = log.load(keep(log, wheel())), log.load(keep(log, wheel(), text="a = 2"))
    renamed = log.load(keep(log, wheel(), text="a = 1\nname = 'new'\n[limits]\nfloor_n = 4"))
    assert any("described otherwise" in said for said in compare_rounds(one, two).terms.said)
    assert compare_rounds(one, renamed).terms.said == ()
    older = dataclasses.replace(one, model="0123456789ab")
    assert any("tensionear log reread" in said for said in compare_rounds(older, renamed).terms.said)
    assert not compare_rounds(older, renamed).terms.alike


def test_what_cannot_be_compared_is_refused(log: Log) -> None:
    one = log.load(keep(log, wheel()))
    with pytest.raises(LogError, match="compare rounds of one wheel"):
        compare_rounds(one, log.load(keep(log, wheel(count=20))))
    with pytest.raises(LogError, match="name their sides otherwise"):
        compare_rounds(one, log.load(keep(log, evenness(count=36))))
    with pytest.raises(LogError, match="unfinished"):
        compare_rounds(one, log.load(log.open_round(Asked(), "x").id))


def test_evenness_alone_is_compared_in_percent() -> None:
    changes = changes_between(evenness(), evenness({7: -9.0}))
    assert changes.terms.basis == "evenness"
    assert [each.spoke for each in changes.spokes if each.word == "moved"] == [7]


def test_a_trend_names_the_spokes_that_keep_losing(log: Log) -> None:
    for fall in (0, 20, 40, 60):
        keep(log, wheel({9: 1140.0 - fall, 13: 1071.0 + (20 if fall == 40 else 0)}))
    keep(log, wheel(title="Another wheel"))
    trend = trend_of(log, "mill lane tricycle, REAR")
    assert [point.round for point in trend.points] == [1, 2, 3, 4]
    assert [(each.label, each.rounds) for each in trend.losing] == [("R5", 4)]
    assert trend.losing[0].percent == pytest.approx(-5.2, abs=0.3)
    assert [point.round for point in trend_of(log, "Mill Lane tricycle, rear", until=2).points] == [1, 2]
    assert trend_of(log, "Mill Lane tricycle, rear", until=2).losing == ()
    newtons, kilograms = (
        trend.points[0].sides["right"].mean_n,
        trend_of(log, trend.title, units="kgf").points[0].sides["right"],
    )
    assert newtons == pytest.approx(9.80665 * (kilograms.mean_n or 0.0))
