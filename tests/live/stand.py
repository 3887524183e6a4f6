"""Simulated rounds at the stand, each drawn and heard once for all tests."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cache

from benchmarks.simulator.rounds import Round as Drawn
from benchmarks.simulator.stand import draw_stand
from tensionear.capture.microphone import Piece
from tensionear.errors import LogError
from tensionear.live.keeping import Keeper, KeepsNothing, KeptPluck, Restored
from tensionear.live.session import Session
from tensionear.live.subject import WheelSubject
from tensionear.live.told import Setup, Told
from tensionear.options import RoundOptions
from tensionear.reading import Reading
from tensionear.wheel.model import Wheel
from tensionear.wheel.wheelfile import parse_wheel

SEED = 4
STEP = 960


@cache
def drawn(spokes: int = 4, late: float = 0.0) -> Drawn:
    return draw_stand(SEED, spokes, late=late)


@cache
def wheel(spokes: int = 4) -> Wheel:
    return parse_wheel(drawn(spokes).wheel_toml, "stand.toml")


def pieces(take: Drawn, step: int = STEP) -> list[Piece]:
    samples = take.samples.reshape(-1, 1)
    return [Piece(samples[start : start + step], 0.0, False) for start in range(0, len(samples), step)]


def session_of(take: Drawn, told: list[Told], keeper: Keeper | None = None, kept: Sequence[Restored] = ()) -> Session:
    subject = WheelSubject(parse_wheel(take.wheel_toml, "stand.toml"))
    setup = Setup("stand", 1, RoundOptions(), 2)
    made = Session(subject, setup, keeper or KeepsNothing(), lambda cue: None, told.append)
    made.restore(kept)
    made.listen_to(take.sample_rate_hz, 1, 0)
    return made


@dataclass
class Heard:
    session: Session
    told: list[Told]


@cache
def heard(spokes: int = 4, late: float = 0.0) -> Heard:
    take = drawn(spokes, late)
    told: list[Told] = []
    session = session_of(take, told)
    for piece in pieces(take):
        session.push(piece)
    session.finish()
    return Heard(session, told)


@dataclass
class Shelf:
    """Keeps in memory, and may be full."""

    kept: dict[float, KeptPluck]
    withdrawn: list[int]
    full: bool = False

    def accept(self, plucks: tuple[KeptPluck, ...]) -> None:
        if self.full:
            raise LogError("the disk is full, nothing was written; free some space and try again")
        self.kept |= {each.onset_s: each for each in plucks}

    def withdraw(self, spoke: int) -> None:
        self.withdrawn.append(spoke)

    def note(self, spoke: int, text: str) -> None:
        pass

    def close(self, reading: Reading) -> None:
        pass
