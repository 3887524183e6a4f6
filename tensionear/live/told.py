"""What a round tells of itself: lines as things happen, and all there is to show at one moment. Imports its siblings."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field

from tensionear.capture.levels import Level
from tensionear.options import RoundOptions
from tensionear.reading import Reading

from .checklist import Item
from .events import Plucked, Value
from .machine import Round
from .turning import Turning

SILENT = Level(-160.0, -160.0, False)


@dataclass(frozen=True, slots=True)
class Setup:
    """How a round is plucked: ``plucks`` of each spoke; ``named_by_whole``: a recording, named as ``read`` names it."""

    file: str
    first: int
    options: RoundOptions
    plucks: int
    named_by_whole: bool = False


@dataclass(frozen=True, slots=True)
class Told:
    """Something to tell in one line: a pluck that counts, one that does not, or what happened to the microphone."""

    kind: str
    spoke: int | None = None
    value: Value | None = None
    code: str = ""
    text: str = ""
    count: int = 0


def told_of(before: Round, after: Round, event: Plucked) -> Iterator[Told]:
    """What is to be told of a pluck that made one state of a round into another."""
    spoke = after.shown.spoke if after.shown else before.spoke
    counted = len(after.accepted.get(spoke, ())) or len(after.taken)
    if spoke in after.accepted and after.accepted.get(spoke) is not before.accepted.get(spoke):
        yield Told("accepted", spoke, event.value, count=counted)
    else:
        yield Told("pluck", spoke, event.value, *after.said, count=counted)
    if after.ended and after.closed:
        yield Told("closed", text="the first spoke again: the count is proven")


@dataclass(frozen=True, slots=True)
class Snapshot:
    """All there is to show at one moment."""

    round: Round
    turning: Turning | None = None
    reading: Reading | None = None
    level: Level = SILENT
    heard_s: float = 0.0
    stale: Mapping[int, float] = field(default_factory=dict)
    told: int = 0
    items: tuple[Item, ...] = ()  # of a turn plan that is followed
