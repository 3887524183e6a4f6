"""The thread that hears: what it makes of a microphone that is silent, gone and back."""

from __future__ import annotations

import numpy as np

from tensionear.capture.microphone import Piece, Recovered, Trouble
from tensionear.errors import DeviceError
from tensionear.live.engine import Engine
from tensionear.live.events import Asked
from tensionear.live.keeping import KeepsNothing
from tensionear.live.session import Session
from tensionear.live.source import Ended
from tensionear.live.subject import CountSubject
from tensionear.live.told import Setup, Told
from tensionear.options import RoundOptions

ZEROS = Piece(np.zeros((960, 1), np.float32), 0.0, False)
ROOM = Piece(0.001 * np.random.default_rng(0).standard_normal((960, 1)).astype(np.float32), 0.0, False)
Given = Piece | Trouble | Recovered | Ended | DeviceError


class Script:
    """A source that gives what stands in its script."""

    name, sample_rate_hz = "desk", 48_000.0

    def __init__(self, *given: Given) -> None:
        self._given, self.is_stopped = list(given), False

    def take(self, timeout_s: float) -> Piece | Trouble | Recovered | Ended | None:
        found = self._given.pop(0)
        if isinstance(found, DeviceError):
            raise found
        return found

    def stop(self) -> None:
        self.is_stopped = True


def told_by(*given: Given) -> tuple[list[str], Engine, Script]:
    told: list[Told] = []
    setup = Setup("desk", 1, RoundOptions(), 2)
    session = Session(CountSubject(8), setup, KeepsNothing(), lambda cue: None, told.append)
    script = Script(*given)
    engine = Engine(session, script, 1, 0, reads_along=False)
    engine.run()
    return [each.text for each in told if each.kind == "microphone"], engine, script


def test_a_muted_microphone_is_heard_again_only_when_there_is_sound() -> None:
    said, _, script = told_by(Trouble("only zeros come"), ZEROS, ZEROS, Ended())
    assert said == ["only zeros come"]
    assert script.is_stopped
    said, engine, _ = told_by(Trouble("only zeros come"), ZEROS, ROOM, ROOM, Ended())
    assert said == ["only zeros come", "the microphone is heard again"]
    assert engine.latest.round.trouble is None


def test_gone_and_back_the_same_round_goes_on() -> None:
    said, engine, _ = told_by(ROOM, Trouble("desk is gone"), Recovered(44_100.0, "desk is back"), ROOM, Ended())
    assert said == ["desk is gone", "desk is back"]
    assert engine.failed is None


def test_an_error_of_the_device_is_left_for_who_asked() -> None:
    _, engine, script = told_by(ROOM, DeviceError("desk stopped"))
    assert str(engine.failed) == "desk stopped"
    assert engine.ended.is_set()
    assert script.is_stopped


def test_keys_are_served_in_the_thread_that_hears() -> None:
    session = Session(CountSubject(8), Setup("desk", 1, RoundOptions(), 2), KeepsNothing(), lambda cue: None, print)
    engine = Engine(session, Script(ROOM, Ended()), 1, 0, reads_along=False)
    engine.ask(Asked("jump", spoke=5))
    engine.run()
    assert engine.latest.round.spoke == 5
