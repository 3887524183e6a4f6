"""One spoke while it is turned: how far to go, which tone, what the neighbours lose."""

from __future__ import annotations

import pytest

from tensionear.data import data_file
from tensionear.live.events import Lines, Plucked, Sound, Value
from tensionear.live.turning import TRACE, Answering, Turning, answering_of, step, turning_of
from tensionear.loading import load_wheel

WHEEL = load_wheel(data_file("recordings_demo", "wheel.toml"))
ANSWERING = Answering(800.0, {2: -100.0, 4: -100.0}, True)


def pluck(tension_n: float, final: bool = True) -> Plucked:
    return Plucked(1.0, 1.7, Lines((400.0,), (0.0,)), Value(400.0, tension_n, 10.0), final)


@pytest.mark.parametrize(
    ("tension_n", "eighths", "cue"),
    [(1000.0, 0, "there"), (905.0, 1, "tighten"), (600.0, 4, "tighten"), (1110.0, -1, "loosen"), (960.0, 0, "there")],
)
def test_how_far_to_go_in_eighths(tension_n: float, eighths: int, cue: str) -> None:
    state, effects = step(Turning(3, 1000.0, ANSWERING), pluck(tension_n))
    assert state.eighths == eighths
    assert effects == (Sound(cue),)  # type: ignore[arg-type]


def test_a_first_look_is_shown_without_a_tone() -> None:
    state, effects = step(Turning(3, 1000.0, ANSWERING), pluck(900.0, final=False))
    assert (state.final, state.trace, effects) == (False, (), ())


def test_the_trace_holds_the_last_ten() -> None:
    state = Turning(3, 1000.0, ANSWERING)
    for number in range(14):
        state, _ = step(state, pluck(800.0 + number))
    assert [each.tension_n for each in state.trace] == [804.0 + number for number in range(TRACE)]


def test_neighbours_lose_by_what_was_turned() -> None:
    state, _ = step(Turning(3, 1000.0, ANSWERING), pluck(800.0))
    state, _ = step(state, pluck(1000.0))  # a quarter of a turn
    assert state.stale() == pytest.approx({2: -25.0, 4: -25.0})


def test_without_a_target_nothing_is_asked_for() -> None:
    state, effects = step(Turning(3, None, ANSWERING), pluck(800.0))
    assert (state.eighths, effects) == (None, ())


def test_the_wheel_says_how_it_answers() -> None:
    found = answering_of(WHEEL, 5, {})
    assert found.known
    assert 200 < found.own_n < 1500
    assert set(found.others_n) == {2, 3, 4, 6, 7, 8}
    assert found.others_n[3] < 0  # its neighbours on the side slacken
    assert found.others_n[7] < 0


def test_target_by_option_then_file_then_mean() -> None:
    assert turning_of(WHEEL, 1, {}, 700.0).target_n == 700.0
    assert turning_of(WHEEL, 1, {}).target_n == WHEEL.sides["right"].target_n
