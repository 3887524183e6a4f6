"""``tensionear read``: recordings to tensions. Imports options and errors; all that is heavy when it runs."""

from __future__ import annotations

from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from tensionear.errors import TensionearError, UsageError
from tensionear.options import Crossing, Direction, Order, RoundOptions
from tensionear.reading import Reading

from .keep import Keeper, asked_of, keeper
from .show import Form, View

if TYPE_CHECKING:
    from tensionear.physics.spoke import Spoke
    from tensionear.wheel.comparison import Known
    from tensionear.wheel.model import Wheel
    from tensionear.wheel.sheet import Sheet

NOT_WITHIN = 1
MM = 1e-3


@dataclass(frozen=True, slots=True)
class Subject:
    """What is plucked: a wheel, one kind of spoke, or only a number of spokes; the others are None."""

    wheel: Wheel | None = None
    spoke: Spoke | None = None
    free_length_m: float | None = None
    spokes: int | None = None
    first: int = 1
    sheet: Sheet | None = None

    def read(self, sound: str, options: RoundOptions) -> Reading:
        """Read one recording of it."""
        from tensionear.pipeline import read as read_sound

        return read_sound(
            sound,
            wheel=self.wheel,
            spoke=self.spoke,
            free_length_m=self.free_length_m,
            spokes=self.spokes,
            first=self.first,
            options=options,
            sheet=self.sheet,
        )


def read(
    sounds: Annotated[list[str], typer.Argument(metavar="SOUND...", help="Recordings of one pluck or a whole round.")],
    wheel: Annotated[str | None, typer.Option(metavar="FILE", help="The wheel file (TOML).")] = None,
    first: Annotated[int | None, typer.Option(metavar="N", help="The spoke the round starts at.")] = None,
    kind: Annotated[str | None, typer.Option(metavar="ID", help="The kind of spoke, such as steel-round-2.0.")] = None,
    length: Annotated[float | None, typer.Option(metavar="MM", help="Its free length, hub to nipple.")] = None,
    spokes: Annotated[int | None, typer.Option(metavar="N", help="Only the number of spokes: evenness alone.")] = None,
    order: Annotated[Order, typer.Option(help="In what order the spokes were plucked.")] = "rim",
    direction: Annotated[Direction, typer.Option(help="Which way round, seen from the right.")] = "cw",
    missing: Annotated[
        list[int] | None, typer.Option(metavar="N", help="A spoke not plucked; may be repeated.")
    ] = None,
    assign: Annotated[
        list[str] | None, typer.Option(metavar="PLUCK=SPOKE", help="Which spoke a pluck is; may be repeated.")
    ] = None,
    skip: Annotated[list[int] | None, typer.Option(metavar="PLUCK", help="No spoke; may be repeated.")] = None,
    crossing: Annotated[Crossing | None, typer.Option(help="How spokes meet where they cross.")] = None,
    as_json: Annotated[bool, typer.Option("--json", help="JSON, and nothing else.")] = False,
    explain: Annotated[bool, typer.Option("--explain", help="Partials, spectra, budgets, what was assumed.")] = False,
    pluck: Annotated[
        list[int] | None, typer.Option(metavar="N", help="Explain this pluck only; may be repeated.")
    ] = None,
    plain: Annotated[bool, typer.Option("--plain", help="Plain lines for pipes and screen readers.")] = False,
    strict: Annotated[bool, typer.Option("--strict", help="Exit code 1 if a wheel is not within its limits.")] = False,
    against: Annotated[str | None, typer.Option(metavar="CSV", help="Tensions known from elsewhere.")] = None,
    keep: Annotated[bool, typer.Option("--keep", help="Keep each round, with its sound, in the log.")] = False,
    log: Annotated[str | None, typer.Option(metavar="FILE", help="Keep it in this log, not the usual one.")] = None,
    note: Annotated[str, typer.Option(metavar="TEXT", help="A note to keep with it.")] = "",
    gauge_table: Annotated[
        str | None, typer.Option(metavar="CSV", help="The gauge's table: --against has its raw readings.")
    ] = None,
    sheet: Annotated[
        str | None, typer.Option(metavar="FILE", help="Run-out, dish and more, as tensionear sheet writes it.")
    ] = None,
    view: Annotated[View, typer.Option(help="The rim unrolled, the wheel from the side, histograms, or all.")] = "rim",
    no_calibration: Annotated[bool, typer.Option("--no-calibration", help="Leave kept calibrations out.")] = False,
) -> None:
    """Recordings to tensions: give --wheel FILE, or --kind ID with --length MM, or --spokes N."""
    options = RoundOptions(
        order, direction, tuple(missing or ()), assignments(assign or []), tuple(skip or ()), crossing
    )
    subject = _subject(wheel, first, kind, length, spokes)
    if sheet is not None:
        subject = _with_sheet(subject, sheet)
    if not no_calibration and subject.wheel is not None:
        from tensionear.calibration.use import calibrated

        subject = replace(subject, wheel=calibrated(subject.wheel))
    known = known_elsewhere(against, gauge_table, subject.wheel)
    form: Form = "json" if as_json else "plain" if plain else "picture"
    keeping = keeper(keep, log, note, asked_of(subject, wheel, kind, options))
    explained = tuple(pluck or ()) if explain or pluck else None
    code = _Run(subject, options, form, explained, known, keeping, view).all(sounds, strict)
    if code:
        raise typer.Exit(code)


@dataclass(frozen=True, slots=True)
class _Run:
    """One run over several recordings, and how they are shown; ``explained``: which plucks, () all, None no explanation."""

    subject: Subject
    options: RoundOptions
    form: Form
    explained: tuple[int, ...] | None
    known: dict[int, Known] | None
    keeper: Keeper | None
    view: View = "rim"

    def all(self, sounds: list[str], strict: bool) -> int:
        """Read every recording; the good ones are shown, each bad one is one line, the highest exit code counts."""
        from . import report
        from .show import show_json

        code, readings = 0, []
        for sound in sounds:
            try:
                reading = self.subject.read(sound, self.options)
                readings.append(reading)
                if self.form != "json":
                    self._show(sound, reading)
                if self.keeper is not None:
                    self.keeper.keep(sound, reading)
            except TensionearError as error:
                code = max(code, report(error))
        if self.form == "json":
            show_json(readings)
        if strict and any(reading.verdict != "within" for reading in readings):
            code = max(code, NOT_WITHIN)
        return code

    def _show(self, sound: str, reading: Reading) -> None:
        """One reading, then what was asked for beside it."""
        from .show import show, show_comparison, show_explained

        show(reading, self.form, self.view, self.subject.wheel)
        if self.explained is not None:
            show_explained(sound, reading, self.form, self.explained)
        if self.known is not None:
            from tensionear.wheel.comparison import compare

            tyre = None if self.subject.wheel is None else self.subject.wheel.state.tyre
            show_comparison(compare(reading.spokes, self.known), self.form, reading.units, tyre)


def _subject(
    wheel: str | None, first: int | None, kind: str | None, length: float | None, spokes: int | None
) -> Subject:
    """The one thing that is plucked, told by exactly one of three ways."""
    ways = [
        way
        for way, given in (("--wheel", wheel), ("--kind with --length", kind or length), ("--spokes", spokes))
        if given is not None
    ]
    if len(ways) != 1:
        given = " and ".join(ways) or "none of them"
        raise UsageError(f"{given} given; give one of --wheel FILE, --kind ID with --length MM, or --spokes N")
    if first is not None and wheel is None:
        raise UsageError(f"--first {first} without a wheel file has no spoke to count from; give --wheel FILE")
    if wheel is not None:
        from tensionear.loading import load_wheel

        return Subject(wheel=load_wheel(wheel), first=1 if first is None else first)
    if spokes is not None:
        return Subject(spokes=spokes)
    if kind is None or length is None:
        alone = "--length" if kind is None else "--kind"
        raise UsageError(f"{alone} alone gives no tension; give --kind ID and --length MM together")
    from tensionear.catalogue import library_spoke

    return Subject(spoke=library_spoke(kind), free_length_m=length * MM)


def assignments(given: list[str]) -> dict[int, int]:
    """``PLUCK=SPOKE`` options as a mapping."""
    found: dict[int, int] = {}
    for text in given:
        pluck, _, spoke = text.partition("=")
        if not (pluck.strip().isdecimal() and spoke.strip().isdecimal()):
            raise UsageError(
                f"--assign {text} is not PLUCK=SPOKE; give two numbers counted from 1, such as --assign 12=7"
            )
        if int(pluck) in found:
            raise UsageError(f"--assign gives pluck {int(pluck)} twice; keep one of them")
        found[int(pluck)] = int(spoke)
    return found


def _with_sheet(subject: Subject, path: str) -> Subject:
    """The subject with the other readings of the sitting."""
    from tensionear.wheel.sheetfile import parse_sheet

    if subject.wheel is None:
        raise UsageError(f"--sheet {path} without a wheel file has no limits to be held against; give --wheel FILE")
    return replace(subject, sheet=parse_sheet(table_text(path), path, subject.wheel))


def known_elsewhere(against: str | None, gauge: str | None, wheel: Wheel | None) -> dict[int, Known] | None:
    """Tensions of a card or a gauge, each with its uncertainty; raw readings go through the gauge's table."""
    from tensionear.wheel.comparison import as_card, known_tensions

    if against is None:
        if gauge is not None:
            raise UsageError(f"--gauge-table {gauge} alone compares nothing; give the readings with --against CSV")
        return None
    if gauge is None:
        return as_card(known_tensions(table_text(against), against))
    from tensionear.wheel.gauge import gauge_readings, gauge_table

    kinds = {} if wheel is None else {place.number: place.spoke.name for place in wheel.places}
    table = gauge_table(table_text(gauge), gauge)
    return as_card(gauge_readings(table_text(against), against, table, kinds))


def table_text(path: str) -> str:
    """The text of a table; InputError if there is none."""
    from tensionear.textfiles import text_in

    return text_in(Path(path), "table (CSV)")
