"""The live screen at three sizes: what it says, what its keys do, and that nothing runs over."""

from __future__ import annotations

import asyncio
import threading
from dataclasses import replace
from types import MappingProxyType
from typing import Any

import pytest

from tensionear.capture.levels import Level
from tensionear.dashboard.glyphs import ASCII, DRAWN
from tensionear.dashboard.live.app import LiveScreen
from tensionear.dashboard.live.figures import large, meter, turn_bar
from tensionear.dashboard.live.picture import Look, draw
from tensionear.dashboard.palette import NO_COLOUR
from tensionear.data import data_file
from tensionear.live.events import Asked, Lines, Value
from tensionear.live.machine import Round, Shown, Taken
from tensionear.live.subject import CountSubject, WheelSubject
from tensionear.live.told import Snapshot
from tensionear.live.turning import Turning, turning_of
from tensionear.loading import load_wheel
from tensionear.reading import Units

WHEEL = load_wheel(data_file("recordings_demo", "wheel.toml"))
SUBJECT = WheelSubject(WHEEL)
SIZES = [(80, 24), (100, 30), (160, 50)]


def taken(onset_s: float, deviation: float | None = None) -> Taken:
    return Taken(onset_s, Lines((400.0,), (0.0,)), Value(400.0, 1000.0, 9.0, deviation))


ROUND = Round(
    tuple(range(1, 33)),
    2,
    place=3,
    accepted=MappingProxyType({1: (taken(1.0, 0.0),), 2: (taken(2.0, 1.0),), 3: (taken(3.0, -8.0),)}),
    left=3,
    taken=(taken(4.0),),
    shown=Shown(4, Value(353.0, 583.2, 5.1, 1.8), True, 4.0),
)
SNAPSHOT = Snapshot(ROUND, level=Level(-30.0, -14.0, False))


def lines(
    snapshot: Snapshot, width: int = 80, height: int = 24, typed: str | None = None, units: Units = "N"
) -> list[str]:
    look = Look(width, height, DRAWN, NO_COLOUR, typed, units)
    return [line.plain.rstrip() for line in draw(snapshot, SUBJECT, look)]


@pytest.mark.parametrize(("width", "height"), [*SIZES, (60, 20), (40, 12)])
def test_it_fits(width: int, height: int) -> None:
    turning = replace(SNAPSHOT, turning=turning_of(WHEEL, 5, {}))
    for snapshot in (SNAPSHOT, turning):
        found = lines(snapshot, width, height)
        assert len(found) == height
        assert max(len(line) for line in found) <= width


def test_what_is_awaited_stands_at_the_top() -> None:
    assert lines(SNAPSHOT)[:8] == [
        " Quayside library's book trailer, left wheel                     3 of 32 spokes",
        "─" * 80,
        " ██      ██████          pluck 2 of 2",
        " ██          ██          4th clockwise from the valve, seen from the right",
        " ██      ██████          from the left: 4th counter-clockwise",
        " ██      ██              go 1 spoke clockwise (from the left: the other way)",
        " ██████  ██████",
        " last  L2  583 ± 10 N  +1.8 % of the side's mean",
    ]


def test_the_rim_fills_up_and_a_spoke_far_off_stands_apart() -> None:
    found = lines(SNAPSHOT)
    right = next(index for index, line in enumerate(found) if line.startswith(" right"))
    assert found[right].count("◇") == 1
    assert "◇" in found[right + 1]  # R2, 8 % under its side
    assert found[right].count("·") == 14
    assert "V" in next(line for line in found if line.startswith("  left"))


def test_how_to_pluck_is_drawn_and_told() -> None:
    found = lines(SNAPSHOT)
    assert " hub |──────────────────────▲────| rim   3 to 6 cm from the rim" in found
    assert " slantwise, between rim and axle; a fingernail or a plastic pick, let go quickly" in found
    assert found[-1] == " b back  s skip  r redo  j jump  p pause  n note  o out only  t turn  q quit"


def test_what_is_wrong_is_said_in_words() -> None:
    refused = replace(SNAPSHOT, round=replace(ROUND, said=("clipped", "too loud for the microphone: move it away")))
    assert " ! too loud for the microphone: move it away" in lines(refused)
    gone = replace(SNAPSHOT, round=replace(ROUND, trouble="desk is gone: plug it in again, the round waits"))
    assert " ! desk is gone: plug it in again, the round waits" in lines(gone)
    assert "waiting for the microphone" in lines(gone)[2]
    assert "PAUSED" in lines(replace(SNAPSHOT, round=replace(ROUND, paused=True)))[0]
    first = replace(ROUND, shown=Shown(4, Value(353.0, 583.2, 5.1), False, 4.0))
    assert " last  L2  ~ 580 N  first look" in lines(replace(SNAPSHOT, round=first))


def test_turning_shows_how_far_to_go_and_hollow_neighbours() -> None:
    state = turning_of(WHEEL, 5, {5: 900.0, 3: 990.0, 7: 985.0})
    state = replace(state, answering=replace(state.answering, own_n=800.0))
    start = Value(430.0, 800.0, 9.0)
    state = replace(state, trace=(start, Value(440.0, 905.0, 9.0)), last=Value(440.0, 905.0, 9.0), start_n=800.0)
    found = "\n".join(lines(replace(SNAPSHOT, turning=state), 100, 30))
    assert "905 ± 18 N" in found
    assert "tighten 1/8 of a turn" in found
    assert "+95 N, +9.5 % to 1000 N" in found
    assert "expected of the neighbours until plucked again:" in found
    assert "○ R2 9" in found
    assert "target" in found


def test_cautions_come_before_the_first_turn() -> None:
    found = "\n".join(lines(replace(SNAPSHOT, turning=turning_of(WHEEL, 5, {}))))
    for word in ("eye protection", "pressure", "flat spoke", "never pluck a moving wheel"):
        assert word in found


def test_large_labels_meter_and_bar() -> None:
    assert large("L1", ASCII)[0] == "##        ##"
    assert len({len(large(each, DRAWN)) for each in ("R12", "L4", "36")}) == 1
    assert meter(Level(-20.0, 0.0, True), ASCII).endswith("TOO LOUD")
    assert turn_bar(3, ASCII) == " --------|###----- "
    assert turn_bar(-2, ASCII) == " ------##|-------- "
    assert turn_bar(20, ASCII).endswith("########>")


class StillEngine:
    """An engine that hears nothing and remembers what it was asked."""

    def __init__(self) -> None:
        self.latest = SNAPSHOT
        self.ended = threading.Event()
        self.asked: list[Any] = []

    def ask(self, asked: Asked) -> None:
        self.asked.append(asked)

    def turn(self, spoke: int | None) -> None:
        self.asked.append(spoke)

    def stop(self) -> None:
        self.ended.set()


@pytest.mark.parametrize("size", SIZES)
def test_the_screen_shows_the_picture_at_every_size(size: tuple[int, int]) -> None:
    async def look() -> None:
        engine = StillEngine()
        app = LiveScreen(engine, SUBJECT)  # type: ignore[arg-type]
        async with app.run_test(size=size) as pilot:
            await pilot.pause()
            shown = [
                "".join(segment.text for segment in strip).rstrip() for strip in app.screen._compositor.render_strips()
            ]
            assert shown == [line.replace("▲", app._glyphs.high) for line in lines(SNAPSHOT, *size)]

    asyncio.run(look())


def test_keys_are_handed_over_and_jumps_and_notes_are_typed() -> None:
    async def press() -> list[Any]:
        engine = StillEngine()
        app = LiveScreen(engine, SUBJECT)  # type: ignore[arg-type]
        async with app.run_test(size=(80, 24)) as pilot:
            await pilot.press("s", "space", "b", "r", "p", "o", "t")
            await pilot.press("j", "r", "3", "enter", "j", "9", "backspace", "1", "2", "enter", "j", "escape")
            await pilot.press("n", "b", "e", "n", "t", "enter")
            await pilot.press("q")
        assert engine.ended.is_set()
        return engine.asked

    assert asyncio.run(press()) == [
        Asked("skip"),
        Asked("skip"),
        Asked("back"),
        Asked("redo"),
        Asked("pause"),
        Asked("out"),
        4,
        Asked("jump", spoke=5),
        Asked("jump", spoke=12),
        Asked("note", text="bent"),
        Asked("quit"),
    ]


def test_the_screen_goes_when_the_engine_has_ended() -> None:
    async def end() -> int | None:
        engine = StillEngine()
        app = LiveScreen(engine, SUBJECT)  # type: ignore[arg-type]
        async with app.run_test(size=(80, 24)) as pilot:
            engine.ended.set()
            for _ in range(100):
                await pilot.pause(0.02)
                if app.return_code is not None:
                    break
        return app.return_code

    assert asyncio.run(end()) == 0


def test_a_wheel_without_a_file_is_shown_too() -> None:
    state = Round(tuple(range(1, 29)), 2)
    look = Look(80, 24, ASCII, NO_COLOUR)
    found = [line.plain for line in draw(Snapshot(state), CountSubject(28), look)]
    assert "a wheel of 28 spokes" in found[0]
    assert all(line.isascii() for line in found)


def test_a_turning_without_geometry_says_so() -> None:
    state = turning_of(WHEEL, 5, {})
    bare = replace(state, answering=replace(state.answering, others_n={}, known=False))
    assert isinstance(bare, Turning)
    assert any("lacks the geometry" in line for line in lines(replace(SNAPSHOT, turning=bare)))
