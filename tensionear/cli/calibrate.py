"""``tensionear calibrate``: the numbers tied to known force. Imports errors and options; all that is heavy when it runs."""

from __future__ import annotations

import getpass
import json
import math
import sys
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from tensionear.errors import InputError, UsageError
from tensionear.options import Crossing, Direction, Order, RoundOptions

from .hang import Hanging, calibrate_hanging
from .read import assignments, known_elsewhere

if TYPE_CHECKING:
    from tensionear.calibration.records import Document, Head
    from tensionear.calibration.slips import Question
    from tensionear.wheel.comparison import Known
    from tensionear.wheel.model import Wheel

FORMAT = "tensionear.calibrate/1"


def calibrate(
    wheel: Annotated[str | None, typer.Argument(metavar="[WHEEL]", help="The wheel file (TOML), with --known.")] = None,
    known: Annotated[
        str | None, typer.Option(metavar="CSV", help="spoke,tension_n (or _kgf ...), optionally u_percent, tyre.")
    ] = None,
    sound: Annotated[
        str | None, typer.Option(metavar="SOUND", help="The round; left out: the wheel's last round in the log.")
    ] = None,
    first: Annotated[int, typer.Option(metavar="N", help="The spoke the round starts at.")] = 1,
    order: Annotated[Order, typer.Option(help="In what order the spokes were plucked.")] = "rim",
    direction: Annotated[Direction, typer.Option(help="Which way round, seen from the right.")] = "cw",
    missing: Annotated[
        list[int] | None, typer.Option(metavar="N", help="A spoke not plucked; may be repeated.")
    ] = None,
    assign: Annotated[list[str] | None, typer.Option(metavar="PLUCK=SPOKE", help="Which spoke a pluck is.")] = None,
    skip: Annotated[list[int] | None, typer.Option(metavar="PLUCK", help="No spoke; may be repeated.")] = None,
    crossing: Annotated[Crossing | None, typer.Option(help="How spokes meet where they cross.")] = None,
    log: Annotated[str | None, typer.Option(metavar="FILE", help="The log to take the last round from.")] = None,
    gauge_table: Annotated[
        str | None, typer.Option(metavar="CSV", help="The gauge's table: --known has raw readings.")
    ] = None,
    u_common: Annotated[
        float, typer.Option(metavar="PERCENT", help="Standard uncertainty that all known values share.", min=0, max=50)
    ] = 0.0,
    carry: Annotated[
        float | None,
        typer.Option(metavar="PERCENT", help="Known values were taken with another tyre: raise them by this."),
    ] = None,
    u_carry: Annotated[
        float, typer.Option(metavar="PERCENT", help="Standard uncertainty of --carry.", min=0, max=50)
    ] = 3.0,
    kind: Annotated[
        str | None, typer.Option(metavar="ID", help="The kind of spoke that hangs, with --hanging.")
    ] = None,
    length: Annotated[float | None, typer.Option(metavar="MM", help="Its free length in the jig.")] = None,
    u_length: Annotated[float, typer.Option(metavar="MM", help="Standard uncertainty of it.", min=0.01, max=5)] = 0.1,
    hanging: Annotated[
        str | None, typer.Option(metavar="CSV", help="sound,mass_kg,u_mass_kg; asked for if there is none.")
    ] = None,
    latitude: Annotated[
        float | None, typer.Option(metavar="DEG", help="Where it hangs: latitude.", min=-90, max=90)
    ] = None,
    height: Annotated[float, typer.Option(metavar="M", help="... and height over the sea.", min=-500, max=9000)] = 0.0,
    mass_density: Annotated[
        float | None, typer.Option(metavar="KG_M3", help="Density of the masses, for buoyancy.", min=500, max=25000)
    ] = None,
    name: Annotated[str | None, typer.Option(metavar="NAME", help="What to call the calibration.")] = None,
    by: Annotated[str | None, typer.Option(metavar="WHO", help="Who measured.")] = None,
    note: Annotated[str, typer.Option(metavar="TEXT", help="A note to keep with it.")] = "",
    sure: Annotated[bool, typer.Option("--sure", help="The values are right: ask nothing.")] = False,
    again: Annotated[
        str | None, typer.Option(metavar="NAME", help="Compute a kept calibration again from its data.")
    ] = None,
    as_json: Annotated[bool, typer.Option("--json", help="The record as JSON, and nothing else.")] = False,
) -> None:
    """WHEEL with --known CSV, or --kind ID with --length MM and --hanging CSV: tie the numbers to known force."""
    if again is not None:
        _show(*compute_again(again), as_json)
        return
    if (known is None) == (hanging is None):
        raise UsageError(
            "give one of: WHEEL with --known CSV; --kind ID with --length MM and --hanging CSV; --again NAME"
        )
    keeping = Keeping(name, by, note)
    if hanging is not None:
        if wheel is not None or kind is None or length is None:
            raise UsageError("--hanging goes with --kind ID and --length MM, and with no wheel file")
        jig = Hanging(kind, length, u_length, hanging, latitude, height, mass_density)
        _show(*calibrate_hanging(jig, keeping), as_json)
        return
    if wheel is None or known is None:
        raise UsageError(f"--known {known} without a wheel file; give WHEEL too")
    options = RoundOptions(
        order, direction, tuple(missing or ()), assignments(assign or []), tuple(skip or ()), crossing
    )
    values = Values(known, gauge_table, u_common, carry, u_carry, sure)
    _show(*_calibrate_known(wheel, values, Round(sound, first, options, log), keeping), as_json)


@dataclass(frozen=True, slots=True)
class Keeping:
    """How a record is kept."""

    name: str | None
    by: str | None
    note: str

    def head(self, usual: str) -> Head:
        """The head of a record; ``usual`` are the words it is named by if it was given no name."""
        from tensionear.calibration.records import Head
        from tensionear.calibration.store import name_from
        from tensionear.records.versions import program_version

        who = self.by or _user()
        return Head(
            name_from(self.name or usual), datetime.now(UTC).date().isoformat(), who, program_version(), self.note
        )


@dataclass(frozen=True, slots=True)
class Values:
    """The known values and how they are to be taken."""

    csv: str
    gauge_table: str | None
    u_common: float
    carry: float | None
    u_carry: float
    sure: bool


@dataclass(frozen=True, slots=True)
class Round:
    """The recorded round: a sound with its options, or the last one in a log."""

    sound: str | None
    first: int
    options: RoundOptions
    log: str | None

    def found(self, wheel: Wheel) -> tuple[Path, int, RoundOptions]:
        """The recording and how it was plucked."""
        if self.sound is not None:
            return Path(self.sound), self.first, self.options
        from tensionear.records.log import Log
        from tensionear.records.search import Search

        log = Log(self.log)
        rows = log.rounds(Search(wheel=wheel.name)) if log.path.is_file() else ()
        for row in rows:
            if row.title == wheel.name and row.finished is not None:
                kept = log.load(row.id)
                if kept.sound is not None:
                    return log.sound_path(kept.sound), kept.asked.first, kept.asked.options
        raise UsageError(
            f"no round of {wheel.name!r} with its sound is in {log.path}; give the recording: --sound SOUND"
        )


def _calibrate_known(path: str, values: Values, round_: Round, keeping: Keeping) -> tuple[Document, list[str]]:
    """Hear, ask, tie, keep; the record, and what it says in lines."""
    from tensionear.calibration.hearing import hear_round
    from tensionear.calibration.records import KnownData, as_kept, known_document
    from tensionear.calibration.slips import questions_of, sounds_of
    from tensionear.calibration.store import keep
    from tensionear.calibration.tying import tie_wheel
    from tensionear.calibration.words import tied_lines
    from tensionear.loading import load_wheel, read_text

    wheel = load_wheel(path)
    known = _known(values, wheel)
    sound, first, options = round_.found(wheel)
    heard = {number: as_kept(one) for number, one in hear_round(sound, wheel, first, options).items()}
    labels = {place.number: place.label for place in wheel.places}
    _ask(questions_of(sounds_of(wheel, heard), known, labels), values.sure)
    groups = tie_wheel(wheel, heard, known)
    state: dict[str, str] = {"tyre": wheel.state.tyre, "held": wheel.state.held}
    if wheel.state.temperature_c is not None:
        state["temperature_c"] = str(wheel.state.temperature_c)
    if values.carry is not None:
        state["carried_percent"] = str(values.carry)
    data = KnownData(read_text(Path(path)), heard, known, state)
    record = keep(known_document(keeping.head(wheel.name), data, wheel, groups))
    lines = [line for group in groups for line in tied_lines(wheel, group)]
    for lost in [labels[number] for number in sorted(known) if number not in heard]:
        lines.append(f"{lost} is known but was not read from the sound; it was not used.")
    lines.append(f"Kept as {record.path}; wheels of this build use it from now on.")
    return record.document, lines


def compute_again(name: str) -> tuple[Document, list[str]]:
    """A kept record computed again from its data by today's program, kept as a new version if it came out otherwise."""
    from tensionear.calibration.records import again
    from tensionear.calibration.store import find, keep
    from tensionear.catalogue import library_spoke

    record = find(name)
    spoke = library_spoke(record.document["data"]["kind"]) if record.document["how"] != "known" else None
    fresh = again(record.document, spoke)
    if fresh["result"] == record.document["result"]:
        return record.document, [f"{record.in_words}: the same result comes out."]
    made = keep(fresh)
    return made.document, [f"{record.in_words} comes out otherwise by today's program; kept as {made.path}."]


def _known(values: Values, wheel: Wheel) -> dict[int, Known]:
    """The known values, in the state that the sound is of."""
    known = known_elsewhere(values.csv, values.gauge_table, wheel)
    assert known is not None
    for number in known:
        if number > wheel.spokes:
            raise InputError(f"{values.csv}: spoke {number} of a wheel of {wheel.spokes}; correct the number")
    shared = values.u_common / 100
    other = sorted({one.tyre for one in known.values() if one.tyre is not None and one.tyre != wheel.state.tyre})
    if other and values.carry is None:
        raise InputError(
            f"{values.csv}: taken with tyre {' and '.join(other)}, the wheel stands with tyre {wheel.state.tyre}: these are not "
            "the same tensions; measure again in this state, or say by how many percent to raise them: --carry PERCENT"
        )
    factor = 1.0 if values.carry is None else 1 + values.carry / 100
    doubt = values.u_carry / 100 if values.carry is not None else 0.0
    return {number: _widened(one, other, factor, math.hypot(shared, doubt), shared) for number, one in known.items()}


def _widened(one: Known, other: list[str], factor: float, with_doubt: float, shared: float) -> Known:
    """A known value in the sound's state, with what all share added to its uncertainty."""
    carried = one.tyre in other
    tension = one.tension_n * (factor if carried else 1.0)
    own = (one.u_tension_n or 0.0) if one.u_own_n is None else one.u_own_n
    common = tension * (with_doubt if carried else shared)
    return replace(one, tension_n=tension, u_tension_n=math.hypot(one.u_tension_n or 0.0, common), u_own_n=own)


def _ask(questions: tuple[Question, ...], sure: bool) -> None:
    """Ask what looks wrong; without a terminal it is refused."""
    for question in questions:
        if sure:
            sys.stderr.write(f"Not asked (--sure): {question.text}\n")
        elif not sys.stdin.isatty():
            raise InputError(f"{question.text} Correct the table, or say that it is right: --sure")
        elif not typer.confirm(f"{question.text}\nGo on with the values as they are?", default=False, err=True):
            raise InputError("nothing was calibrated; correct the table and start again")


def _show(document: Mapping[str, object], lines: Sequence[str], as_json: bool) -> None:
    """What was found in lines, or the record as JSON."""
    for line in () if as_json else lines:
        typer.echo(line)
    if as_json:
        sys.stdout.write(f"{json.dumps({**document, 'format': FORMAT}, indent=1, allow_nan=False)}\n")


def _user() -> str:
    try:
        return getpass.getuser()
    except (OSError, KeyError):
        return "not stated"
