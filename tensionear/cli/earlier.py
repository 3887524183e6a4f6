"""A reading made before: the wheel's last round in the log, a round by number, a JSON file. Imports errors; the rest later."""

from __future__ import annotations

import re
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from tensionear.errors import InputError, LogError, UsageError

from .planreadings import reading_in
from .read import table_text

if TYPE_CHECKING:
    from tensionear.reading import Reading


LAST = "last"
_ROUND = re.compile(r"\d{1,15}\Z")


@dataclass(frozen=True, slots=True)
class Wanted:
    """Which reading: ``given`` is ``last``, a round's number or a file; the log it is in (None: the usual), of which wheel."""

    given: str
    log: str | None
    title: str
    spokes: int


def earlier_reading(wanted: Wanted) -> tuple[Reading, str]:
    """The reading and what to call it.

    Raises
    ------
    UsageError, InputError, LogError
        If there is none, or it is of another wheel.
    """
    reading, source = _found(wanted)
    if len(reading.spokes) != wanted.spokes:
        raise InputError(
            f"{source} is of {len(reading.spokes)} spokes, the wheel has {wanted.spokes}; give a reading of this wheel"
        )
    return reading, source


def out_of_limits(reading: Reading, source: str) -> tuple[int, ...]:
    """The spokes that a reading found out of their limits; UsageError if there is none."""
    found = tuple(each.spoke for each in reading.spokes if each.verdict == "out")
    if not found:
        raise UsageError(f"{source} has no spoke out of its limits; leave out --out-of to pluck all of them")
    return found


def _found(wanted: Wanted) -> tuple[Reading, str]:
    from tensionear.records.log import Log

    if wanted.given == LAST:
        number = last_round(wanted)
        reading = Log(wanted.log).load(number).reading
        assert reading is not None
        return reading, f"round {number}"
    if _ROUND.match(wanted.given) and not Path(wanted.given).exists():
        kept = Log(wanted.log).load(int(wanted.given))
        if kept.reading is None:
            raise LogError(f"round {wanted.given} is unfinished and has no reading; finish it, or choose another")
        return kept.reading, f"round {wanted.given}"
    return reading_in(table_text(wanted.given), wanted.given), wanted.given


def last_round(wanted: Wanted) -> int:
    """The number of the wheel's last round in which most of its spokes were read; UsageError if there is none."""
    from tensionear.records.log import Log
    from tensionear.records.search import Search

    log = Log(wanted.log)
    for row in log.rounds(Search(wheel=wanted.title)) if log.path.exists() else ():
        reading = log.load(row.id).reading if row.title == wanted.title and row.finished else None
        if (
            reading is not None
            and 2 * sum(each.deviation_percent is not None for each in reading.spokes) > wanted.spokes
        ):
            return row.id
    raise UsageError(
        f"no finished round of {wanted.title} in {log.path}; read or listen to one first, or give a round or a file"
    )
