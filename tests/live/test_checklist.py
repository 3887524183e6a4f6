"""A turn plan followed by ear: what is expected at each place of the pass, what is ticked off, walks, going on."""

from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path
from types import MappingProxyType

import pytest
import soundfile

from tensionear.cli import main
from tensionear.live import machine
from tensionear.live.checklist import Checklist, Expecting, Item, expected_n, kept_by_walk, walks_of
from tensionear.live.events import Lines, Value
from tensionear.live.keeping import Restored
from tensionear.live.machine import Round, Taken
from tensionear.records.log import Log
from tensionear.wheel.forecast import Figure
from tensionear.wheel.plan import expect_turns
from tensionear.wheel.stand import Readings
from tensionear.wheel.turnplan import Turn
from tests.live.stand import Shelf, drawn, session_of, wheel

SPOKES = 6
TURNS = {1: 0.25, 2: -0.125, 3: 0.25, 4: -0.125, 5: 0.25, 6: -0.125}


def turn(spoke: int, size: float = 0.25) -> Turn:
    return Turn(spoke, f"S{spoke}", size, 0.125)


def before_n() -> dict[int, float]:
    """What the drawn wheel's spokes held before turns in rim order led to what they truly hold at their place in them."""
    truth = {each.spoke: each.tension_n for each in drawn(SPOKES).spokes}
    found = dict(truth)
    for _ in range(3):
        sizes: dict[int, float] = {}
        expecting, last = Expecting(wheel(SPOKES), Readings(found, {}, {}, None, {}), None), found
        found = {}
        for spoke in sorted(truth):
            sizes[spoke] = TURNS[spoke]
            after = expecting.after(sizes)[spoke]
            assert after is not None
            found[spoke] = truth[spoke] - (after.value - last[spoke])
    return found


def checklist(*turns: Turn) -> Checklist:
    return Checklist(Expecting(wheel(SPOKES), Readings(before_n(), {}, {}, None, {}), None), walks_of(turns))


def taken(onset_s: float, tension_n: float) -> tuple[Taken, ...]:
    return (Taken(onset_s, Lines((400.0,), (0.0,)), Value(400.0, tension_n, 5.0)),)


def test_what_is_expected_counts_the_turns_before_it_and_its_own_only() -> None:
    followed = checklist(turn(1), turn(2), turn(3))
    state = Round(followed.spokes, 1)
    items = followed.items(state)
    assert [each.expected is None for each in items] == [False, True, True]
    alone = expect_turns(wheel(SPOKES), {1: 0.25}, followed.expecting.readings).predicted.tension_n
    assert items[0].expected == alone[1]
    assert items[0].before is not None
    assert items[0].before.value == pytest.approx(before_n()[1], rel=0.005)
    skipped = replace(state, place=2, accepted=MappingProxyType({1: taken(1.0, 1000.0)}))
    both = expect_turns(wheel(SPOKES), {1: 0.25, 3: 0.25}, followed.expecting.readings).predicted.tension_n
    assert followed.items(skipped)[2].expected == both[3]  # the second was left out
    assert expected_n(followed.items(skipped), 3) == both[3].value  # type: ignore[union-attr]
    assert expected_n(followed.items(skipped), 1) is None


@pytest.mark.parametrize(
    ("heard_n", "verdict"),
    [(1050.0, "expected"), (1072.0, "higher"), (1028.0, "lower"), (1000.0, "unmoved"), (948.0, "wrong-way")],
)
def test_what_was_heard_is_told_by_what_it_looks_like(heard_n: float, verdict: str) -> None:
    item = Item(turn(1), Figure(1000.0, 5.0), Figure(1050.0, 5.0), Value(400.0, heard_n, 5.0))
    assert item.verdict == verdict
    assert replace(item, heard=Value(400.0)).verdict is None
    assert replace(item, expected=None).verdict is None


def test_a_nipple_comes_once_in_a_walk_and_ticked_turns_stay_as_they_were() -> None:
    followed = checklist(turn(1), turn(3), turn(3, 0.125), turn(1, -0.125))
    assert [[each.spoke for each in walk] for walk in followed.walks] == [[1, 3], [3, 1]]
    state = Round((1, 3), 1, place=2, accepted=MappingProxyType({1: taken(1.0, 1e3), 3: taken(4.0, 1e3)}))
    after, begun = followed.next_walk(state)
    assert begun.plan == (3, 1)
    assert not begun.accepted
    assert after.is_last_walk
    items = after.items(begun)
    assert [each.heard is not None for each in items] == [True, True, False, False]
    assert items[:2] == followed.items(state)[:2]
    twice = expect_turns(wheel(SPOKES), {1: 0.25, 3: 0.375}, followed.expecting.readings).predicted.tension_n
    assert items[2].expected == twice[3]


def test_what_was_kept_is_told_apart_by_walk() -> None:
    followed = checklist(turn(1), turn(3), turn(3, 0.125))
    onsets = [(1.0, 1), (1.8, 1), (6.0, 3), (6.7, 3), (7.6, 3), (12.0, 3)]
    kept = [Restored(onset_s, spoke, Value(400.0, 1e3, 5.0), None) for onset_s, spoke in onsets]
    assert [[each.onset_s for each in part] for part in kept_by_walk(followed, kept)] == [
        [1.0, 1.8, 6.0, 6.7, 7.6],
        [12.0],
    ]
    session = session_of(drawn(SPOKES), [], Shelf({}, []))
    session.follow(followed)
    session.restore(kept[:5])
    assert [each.heard is not None for each in session.items()] == [True, True, False]
    assert session.round.spoke == 3
    assert not session.over
    session = session_of(drawn(SPOKES), [], Shelf({}, []))
    session.follow(followed)
    session.restore(kept)
    assert session.over


def test_without_tensions_it_ticks_off_and_expects_nothing() -> None:
    followed = Checklist(Expecting(wheel(SPOKES), Readings({}, {1: 1e-4}, {}, None, {}), None), walks_of((turn(1),)))
    state = Round((1,), 1, place=1, accepted=MappingProxyType({1: taken(1.0, 1e3)}))
    (item,) = followed.items(state)
    assert (item.expected, item.verdict) == (None, None)
    assert followed.to_dict(state)["turns"][0]["ticked"] is True


@pytest.fixture
def files(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> tuple[str, str, str]:
    """A wheel file, the sound of its pass, and the plan of that."""
    monkeypatch.setenv("TENSIONEAR_LOG", str(tmp_path / "log.sqlite"))
    paths = tmp_path / "stand.toml", tmp_path / "stand.wav", tmp_path / "plan.json"
    paths[0].write_text(drawn(SPOKES).wheel_toml)
    soundfile.write(paths[1], drawn(SPOKES).samples, drawn(SPOKES).sample_rate_hz, subtype="PCM_24")
    plan = expect_turns(wheel(SPOKES), TURNS, Readings(before_n(), {}, {}, None, {}))
    paths[2].write_text(json.dumps(plan.to_dict()))
    return str(paths[0]), str(paths[1]), str(paths[2])


def test_a_pass_over_the_sound_is_ticked_off_as_expected(
    files: tuple[str, str, str], capsys: pytest.CaptureFixture[str]
) -> None:
    toml, sound, plan = files
    options = ["listen", toml, "--from", sound, "--fast", "--plan", plan]
    assert main([*options, "--plain"]) == 0
    lines = capsys.readouterr().out.splitlines()
    assert "never pluck a moving wheel" in lines[3]
    assert lines[4].startswith("turn R1: 1/4 tighter (clockwise, seen from the tyre side); go ")
    assert "then pluck it: " in lines[4]
    ticked = [line for line in lines if "accepted from 2 plucks; expected " in line]
    assert len(ticked) == SPOKES
    assert all(": as expected; " in line for line in ticked)
    assert ticked[-1].endswith("6 of 6 turns")
    assert "6 of 6 turns done" in lines
    assert lines[-1].startswith("Now stress-relieve the spokes")
    (row,) = Log().rounds()
    assert (row.note, row.finished is not None) == ("turn plan", True)
    assert main([*options, "--json"]) == 0
    document = json.loads(capsys.readouterr().out)
    assert document["format"] == "tensionear.checklist/1"
    assert [(each["spoke"], each["turns"]) for each in document["turns"]] == list(TURNS.items())
    for each in document["turns"]:
        assert each["verdict"] == "expected"
        assert each["heard_n"] == pytest.approx(each["expected_n"], rel=0.03)


@pytest.mark.parametrize(
    ("change", "said"),
    [
        (lambda plan: plan | {"turns": []}, "has no turns"),
        (lambda plan: plan | {"wheel": "another"}, "is a plan of 'another'"),
        (lambda plan: plan | {"turns": [plan["turns"][0] | {"spoke": 9}]}, "turns spoke 9, the wheel has 1 to 6"),
        (lambda plan: plan | {"turns": [{"spoke": 1, "turns": 0.25}]}, "is no plan"),
    ],
)
def test_what_is_no_plan_of_this_wheel_is_said(
    files: tuple[str, str, str], change: object, said: str, capsys: pytest.CaptureFixture[str]
) -> None:
    toml, sound, plan = files
    document = json.loads(Path(plan).read_text())
    Path(plan).write_text(json.dumps(change(document)))  # type: ignore[operator]
    assert main(["listen", toml, "--from", sound, "--fast", "--plan", plan]) == 2
    error = capsys.readouterr().err
    assert said in error
    assert len(error.splitlines()) == 1


def test_the_plan_is_made_from_the_last_round_if_that_is_asked(
    files: tuple[str, str, str], capsys: pytest.CaptureFixture[str]
) -> None:
    toml, sound, _ = files
    assert main(["listen", toml, "--from", sound, "--fast", "--plan", "last"]) == 2
    assert "no finished round of" in capsys.readouterr().err
    assert main(["listen", toml, "--from", sound, "--fast", "--plain", "--plucks", "2"]) == 0
    capsys.readouterr()
    assert main(["listen", toml, "--from", sound, "--fast", "--json", "--plan", "last"]) == 0
    followed = json.loads(capsys.readouterr().out)["turns"]
    assert main(["plan", toml, "--tensions", "1", "--json"]) == 0
    planned = json.loads(capsys.readouterr().out)["turns"]
    assert [(each["spoke"], each["turns"]) for each in followed] == [(each["spoke"], each["turns"]) for each in planned]
    assert main(["listen", "--spokes", "6", "--from", sound, "--fast", "--plan", "last"]) == 2
    assert "needs a wheel file" in capsys.readouterr().err
    assert main(["listen", toml, "--from", sound, "--fast", "--plan", "last", "--spoke", "1"]) == 2
    assert "leave out --spoke and --out-of" in capsys.readouterr().err


def test_a_finished_walk_does_not_wait_for_the_first_spoke_again() -> None:
    session = session_of(drawn(SPOKES), [], Shelf({}, []))
    session.follow(checklist(turn(2), turn(5)))
    session.round = machine.restored(session.round, {2: taken(1.0, 1e3), 5: taken(4.0, 1e3)})
    assert session.over
