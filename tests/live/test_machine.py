"""The round as a state machine, driven by events alone."""

from __future__ import annotations

import itertools
from dataclasses import replace
from types import MappingProxyType

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tensionear.live.events import (
    Accept,
    Asked,
    Effect,
    Event,
    FoundOut,
    Knocked,
    Lines,
    Microphoned,
    Named,
    Note,
    Passed,
    Plucked,
    Refused,
    Sound,
    Value,
    Withdraw,
)
from tensionear.live.machine import HOLD_S, Round, agree, restored, step, whose


def pluck(onset_s: float, pitch_hz: float, final: bool = True, doubtful: bool = False) -> Plucked:
    lines = Lines((pitch_hz, 2.01 * pitch_hz, 3.03 * pitch_hz), (0.0, -3.0, -8.0))
    return Plucked(onset_s, onset_s + 0.7, lines, Value(pitch_hz), final, doubtful)


def run(state: Round, *events: Event) -> tuple[Round, list[Effect]]:
    effects: list[Effect] = []
    for event in events:
        state, more = step(state, event)
        effects += more
    return state, effects


def lap(count: int = 4, needed: int = 2) -> tuple[Round, list[Effect]]:
    """Every spoke plucked as often as needed, each with a pitch of its own."""
    plucks = [pluck(2.0 * spoke + 0.7 * n, 300 + 20 * spoke) for spoke in range(1, count + 1) for n in range(needed)]
    return run(Round(tuple(range(1, count + 1)), needed), *plucks)


def test_two_agreeing_plucks_accept_a_spoke_and_move_on() -> None:
    state, effects = run(Round((1, 2, 3), 2), pluck(1.0, 400.0))
    assert (state.spoke, len(state.taken), effects) == (1, 1, [])
    state, effects = run(state, pluck(1.8, 400.5))
    assert state.spoke == 2
    assert effects == [Accept(1, (1.0, 1.8)), Sound("next")]


@pytest.mark.parametrize("needed", [1, 2, 3, 4, 5])
def test_as_many_plucks_as_asked_for(needed: int) -> None:
    state, effects = lap(3, needed)
    assert state.complete
    assert [len(each.onsets_s) for each in effects if isinstance(each, Accept)] == [needed] * 3


def test_disagreement_asks_for_one_more_and_the_two_that_agree_count() -> None:
    state, effects = run(Round((1, 2), 2), pluck(1.0, 400.0), pluck(1.8, 420.0))
    assert state.said[0] == "disagree"
    assert effects == [Sound("again")]
    state, effects = run(state, pluck(2.6, 420.5))
    assert effects[0] == Accept(1, (1.8, 2.6))
    assert state.said == ("", "")


def test_a_first_look_is_shown_and_decides_nothing() -> None:
    state, effects = run(Round((1, 2), 1), pluck(1.0, 400.0, final=False))
    assert state.shown is not None
    assert not state.shown.final
    assert (state.spoke, effects) == (1, [])


def test_a_late_third_pluck_is_still_the_spoke_just_left() -> None:
    state, _ = run(Round((1, 2, 3), 2), pluck(1.0, 400.0), pluck(1.8, 400.0))
    state, effects = run(state, pluck(state.left_at_s + HOLD_S - 0.1, 400.3))
    assert (state.spoke, len(state.taken)) == (2, 0)
    assert effects == [Accept(1, (state.accepted[1][-1].onset_s,))]
    assert len(state.accepted[1]) == 3


def test_a_quick_hand_at_the_next_spoke_is_not_held_off() -> None:
    state, _ = run(Round((1, 2, 3), 2), pluck(1.0, 400.0), pluck(1.8, 400.0), pluck(2.7, 300.0))
    assert (state.spoke, len(state.taken)) == (2, 1)


def test_after_the_hold_off_the_same_pitch_is_the_next_spoke() -> None:
    """On an even wheel the next spoke may sound just the same."""
    state, _ = run(Round((1, 2, 3), 2), pluck(1.0, 400.0), pluck(1.8, 400.0), pluck(1.8 + 0.7 + HOLD_S + 0.1, 400.0))
    assert (state.spoke, len(state.taken)) == (2, 1)


def test_a_pluck_whose_sound_was_lost_does_not_count() -> None:
    state, effects = run(Round((1, 2), 1), pluck(1.0, 400.0, doubtful=True))
    assert (state.spoke, state.said[0], effects) == (1, "lost", [Sound("again")])


def test_the_first_spoke_again_closes_the_lap() -> None:
    state, effects = lap()
    assert effects[-1] == Sound("done")
    state, effects = run(state, pluck(20.0, 320.0))
    assert state.closed
    assert state.ended
    assert effects[0] == Accept(1, (20.0,))
    assert state.accepted[1][-1].onset_s == 20.0


def test_another_spoke_does_not_close_the_lap() -> None:
    state, _ = lap()
    state, _ = run(state, pluck(20.0, 340.0))
    assert state.closed is False
    assert not state.ended


def test_taps_on_the_rim_go_on_and_back() -> None:
    state, _ = lap(4)
    state = replace(state, place=2)
    on, _ = run(state, Knocked(30.0), Knocked(30.3), Passed(31.2))
    assert on.spoke == 4
    back, effects = run(state, Knocked(30.0), Knocked(30.3), Knocked(30.6), Passed(31.4))
    assert back.spoke == 2
    assert effects == [Withdraw(2)]
    one, _ = run(state, Knocked(30.0), Passed(31.0))
    assert one.spoke == 3


def test_the_two_taps_that_open_a_round_skip_nothing() -> None:
    state, _ = run(Round((1, 2, 3), 2), Knocked(0.5), Knocked(0.8), Passed(2.0))
    assert state.spoke == 1


def test_keys() -> None:
    state, _ = run(Round((1, 2, 3), 2), pluck(1.0, 400.0), Asked("skip"))
    assert (state.spoke, state.taken) == (2, ())
    state, _ = run(state, Asked("back"))
    assert state.spoke == 1
    state, _ = run(state, Asked("jump", spoke=3))
    assert state.spoke == 3
    state, _ = run(state, Asked("jump", spoke=9))
    assert (state.spoke, state.said[0]) == (3, "no-spoke")
    state, effects = run(state, Asked("note", text="bent"))
    assert effects == [Note(3, "bent")]
    state, _ = run(state, Asked("quit"))
    assert state.ended


def test_redo_takes_back_the_plucks_in_hand_and_then_the_spoke_before() -> None:
    state, _ = run(Round((1, 2, 3), 2), pluck(1.0, 400.0), pluck(1.8, 400.0), pluck(4.0, 300.0))
    state, effects = run(state, Asked("redo"))
    assert (state.spoke, state.taken, effects) == (2, (), [])
    state, effects = run(state, Asked("redo"))
    assert (state.spoke, effects) == (1, [Withdraw(1)])


def test_a_pause_hears_nothing() -> None:
    state, effects = run(Round((1, 2), 1), Asked("pause"), pluck(1.0, 400.0), Refused(2.0, "voice", "be quiet"))
    assert (state.spoke, state.shown, state.said, effects) == (1, None, ("", ""), [])
    state, _ = run(state, Asked("pause"), pluck(3.0, 400.0))
    assert state.spoke == 2


def test_only_those_out_of_limits() -> None:
    state, _ = lap(4)
    state, _ = run(state, FoundOut((2, 4)), Asked("out"))
    assert state.plan == (2, 4)
    assert state.spoke == 2
    assert 2 not in state.accepted
    assert 1 in state.accepted


def test_the_whole_round_may_name_plucks_anew() -> None:
    state, _ = run(Round((1, 2, 3), 1), pluck(1.0, 400.0), pluck(2.0, 400.1))
    state, _ = run(state, Named({1.0: 1, 2.0: 1}))
    assert set(state.accepted) == {1}
    assert state.spoke == 2


def test_a_microphone_that_went_changes_nothing_but_what_is_said() -> None:
    before, _ = run(Round((1, 2), 2), pluck(1.0, 400.0))
    after, _ = run(before, Microphoned("gone"), Microphoned(None))
    assert after == before


def test_a_kept_round_goes_on_after_its_last_spoke() -> None:
    state, _ = lap(4)
    kept = {spoke: state.accepted[spoke] for spoke in (1, 2)}
    assert restored(Round((1, 2, 3, 4), 2), kept).spoke == 3
    assert restored(Round((1, 2, 3, 4), 2), {}).spoke == 1


def test_agreement_is_by_partials_not_by_the_loudest_plane() -> None:
    """Two planes 16 cents apart, one louder in each pluck: their higher partials meet."""
    one = Lines((457.3, 921.7, 1400.1), (-30.0, -19.0, -32.0))
    other = Lines((453.0, 912.9, 921.6, 1385.9, 1400.1), (-37.0, -20.0, -27.0, -33.0, -39.0))
    assert agree(one, other)
    assert not agree(one, Lines((466.0, 939.0, 1427.0), (-30.0, -19.0, -32.0)))


EVENTS = st.one_of(
    st.tuples(st.sampled_from([300.0, 301.0, 340.0, 400.0]), st.booleans(), st.booleans()),
    st.sampled_from([Asked(each) for each in ("back", "skip", "redo", "pause", "out")]),
    st.sampled_from(["knock", "pass"]),
)


@settings(max_examples=150, deadline=None)
@given(st.lists(EVENTS, max_size=30), st.integers(1, 3))
def test_whatever_happens_accepted_plucks_are_told_once_and_places_stay_in_the_plan(
    happened: list[object], needed: int
) -> None:
    state, told = Round((1, 2, 3), needed), []
    for at, each in zip(itertools.count(1.0, 0.4), happened, strict=False):
        event: Event
        if isinstance(each, tuple):
            event = pluck(at, *each)
        elif each == "knock":
            event = Knocked(at)
        else:
            event = each if isinstance(each, Asked) else Passed(at)
        state, effects = step(state, event)
        told += [onset for effect in effects if isinstance(effect, Accept) for onset in effect.onsets_s]
        assert 0 <= state.place <= len(state.plan)
        assert state.spoke in state.plan
        assert whose(state, at, pluck(at, 300.0).lines) in (1, 2, 3)
    assert len(told) == len(set(told))
    assert {one.onset_s for taken in state.accepted.values() for one in taken} <= set(told)


SIDES = MappingProxyType({spoke: "right" if spoke % 2 else "left" for spoke in range(1, 7)})
RIGHT_HZ, LEFT_HZ = 600.0, 470.0


def hand(*pitches_hz: float) -> Round:
    """Plucks of these pitches, a second apart, on a wheel of six."""
    start = Round(tuple(range(1, 7)), 2, sides=SIDES)
    state, _ = run(start, *(pluck(1.0 + index, hz) for index, hz in enumerate(pitches_hz)))
    return state


def test_a_hand_that_goes_on_all_the_same_is_followed() -> None:
    known = (RIGHT_HZ, RIGHT_HZ, LEFT_HZ, LEFT_HZ)
    state = hand(*known, 590.0, 475.0, 475.2)  # the second pluck of spoke 3 was not heard
    assert (state.said[0], state.spoke) == ("gone-on", 5)
    assert [len(state.accepted[spoke]) for spoke in (3, 4)] == [1, 2]
    state = hand(*known, 590.0, 640.0, 475.0, 475.2)  # or did not agree
    assert (state.said[0], state.spoke) == ("gone-on", 5)


def test_an_odd_pluck_of_the_same_spoke_is_not_taken_for_another() -> None:
    known = (RIGHT_HZ, RIGHT_HZ, LEFT_HZ, LEFT_HZ)
    for odd_hz in (560.0, 500.0, 640.0, 300.0, 1200.0):
        state = hand(*known, odd_hz, 590.0, 590.3)
        assert (state.spoke, len(state.accepted[3])) == (4, 2)


def test_sides_that_sound_alike_leave_it_to_the_plucks() -> None:
    state = hand(600.0, 600.0, 590.0, 590.0, 610.0, 594.0, 594.2)
    assert (state.spoke, state.accepted[3][-1].value.pitch_hz) == (4, 594.2)


def test_the_first_spoke_instead_of_the_last_ones_second_pluck_closes_the_lap() -> None:
    pairs = [hz for spoke in range(1, 6) for hz in [(RIGHT_HZ if spoke % 2 else LEFT_HZ) + 5 * spoke] * 2]
    state = hand(*pairs, 450.0, 605.0, 605.1)
    assert (state.closed, len(state.accepted[6])) == (True, 1)
