"""A wheel over its rounds: mean and spread of each side, the spokes that keep losing. Imports log, changes and values."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

from tensionear.reading import Reading, SideReading, Units
from tensionear.units import in_units

from .changes import Terms, changes_between
from .log import Log
from .schema import key_of
from .search import Search
from .values import KeptRound, State

#: The most rounds a trend is drawn of: the latest.
MOST_ROUNDS = 12
#: So many rounds in a row a spoke must have fallen through before it is said to keep losing.
FEWEST_ROUNDS = 3


@dataclass(frozen=True, slots=True)
class TrendPoint:
    """One round of the wheel: when, in what state, and its sides."""

    round: int
    started: str
    state: State
    sides: Mapping[str, SideReading]

    @property
    def unlike(self) -> str:
        """What makes its level no match for that of a bare wheel; empty if nothing is known to."""
        return "" if self.state.tyre in (None, "none") else "tyre on"


@dataclass(frozen=True, slots=True)
class Losing:
    """A spoke that fell against its side in each of the last ``rounds`` rounds, by ``percent`` in all (below 0)."""

    spoke: int
    label: str
    percent: float
    u_percent: float
    rounds: int


@dataclass(frozen=True, slots=True)
class Trend:
    """The rounds of a wheel, the earliest first."""

    title: str
    points: tuple[TrendPoint, ...]
    losing: tuple[Losing, ...]
    units: Units = "N"


def trend_of(log: Log, title: str, until: int | None = None, units: Units = "N") -> Trend:
    """The trend of the wheel of this name, up to and with round ``until``.

    Parameters
    ----------
    log : Log
    title : str
        The wheel's name, whatever its case.
    until : int, optional
        The last round that counts; all rounds by default.
    units : {"N", "kgf", "daN", "lbf"}
        What its numbers are shown in.
    """
    rows = [row for row in log.rounds(Search(wheel=title)) if key_of(row.title) == key_of(title) and row.finished]
    if until is not None:
        latest = next((row.started for row in rows if row.id == until), None)
        rows = [row for row in rows if latest is None or (row.started, row.id) <= (latest, until)]
    kept = [log.load(row.id) for row in reversed(rows[:MOST_ROUNDS])]
    shown = [replace(each, reading=in_units(each.reading, units)) for each in kept if each.reading is not None]
    return trend_through(title, [each for each in shown if each.reading is not None and each.reading.spokes], units)


def first_round(log: Log, kept: KeptRound) -> KeptRound | None:
    """The earliest finished round of the same wheel with as many spokes, the wheel as new; None if ``kept`` is it."""
    for row in reversed(log.rounds(Search(wheel=kept.row.title))):
        if row.finished is None or key_of(row.title) != key_of(kept.row.title) or row.id == kept.row.id:
            continue
        first = log.load(row.id)
        if first.reading is None or kept.reading is None or first.row.started > kept.row.started:
            continue
        if len(first.reading.spokes) == len(kept.reading.spokes):
            return first
    return None


def trend_through(title: str, kept: Sequence[KeptRound], units: Units = "N") -> Trend:
    """The trend through these rounds, the earliest first."""
    points = tuple(
        TrendPoint(each.row.id, each.row.started, each.state, each.reading.sides)
        for each in kept
        if each.reading is not None
    )
    return Trend(title, points, _losing([each.reading for each in kept if each.reading is not None]), units)


def _losing(readings: Sequence[Reading]) -> tuple[Losing, ...]:
    """The spokes that fell in every step up to the last round, against their side, and by more than chance in all."""
    if len(readings) < FEWEST_ROUNDS:
        return ()
    evenness = Terms("evenness")
    fallen = _rounds_fallen(readings, evenness)
    found = []
    for spoke, rounds in fallen.items():
        if rounds < FEWEST_ROUNDS:
            continue
        whole = changes_between(readings[-rounds], readings[-1], evenness)
        change = next(each for each in whole.spokes if each.spoke == spoke)
        if change.word in ("moved", "perhaps") and change.change is not None and change.change < 0:
            found.append(Losing(spoke, change.label, change.change, change.u_change or 0.0, rounds))
    return tuple(sorted(found, key=lambda each: each.percent))


def _rounds_fallen(readings: Sequence[Reading], terms: Terms) -> dict[int, int]:
    """Through how many rounds up to the last each spoke has fallen without a break (1: not at all)."""
    fallen = {spoke.spoke: 1 for spoke in readings[-1].spokes}
    going = set(fallen)
    for before, after in zip(reversed(readings[:-1]), reversed(readings[1:]), strict=True):
        fell = {each.spoke for each in changes_between(before, after, terms).spokes if (each.change or 0.0) < 0}
        going &= fell
        for spoke in going:
            fallen[spoke] += 1
    return fallen
