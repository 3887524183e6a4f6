"""``tensionear log``: the rounds kept of each wheel. Imports errors; all that is heavy when it runs."""

from __future__ import annotations

import json
import re
import sys
from collections.abc import Iterable
from typing import TYPE_CHECKING, Annotated, Any

import typer

from tensionear.errors import UsageError

if TYPE_CHECKING:
    from tensionear.records.search import Search
    from tensionear.records.values import KeptRound

app = typer.Typer(
    help="The rounds kept of each wheel: look them up, compare them, take them along.", rich_markup_mode=None
)

LogFile = Annotated[str | None, typer.Option("--log", metavar="FILE", help="Another log than the usual one.")]
AsJson = Annotated[bool, typer.Option("--json", help="JSON, and nothing else.")]
Plain = Annotated[bool, typer.Option("--plain", help="Plain lines for pipes and screen readers.")]
Round = Annotated[int, typer.Argument(metavar="ROUND", help="The number of the round, as the list shows it.")]
DAY = re.compile(r"\d{4}-\d{2}-\d{2}\Z")
VERDICTS = ("within", "out", "undecided", "none")


@app.command("list")
def list_rounds(
    wheel: Annotated[str, typer.Option(metavar="NAME", help="Part of the wheel's name.")] = "",
    since: Annotated[str | None, typer.Option(metavar="DAY", help="From this day on, such as 2026-03-01.")] = None,
    until: Annotated[str | None, typer.Option(metavar="DAY", help="Up to and with this day.")] = None,
    verdict: Annotated[str | None, typer.Option(help="within, out, undecided, or none.")] = None,
    note: Annotated[str, typer.Option(metavar="TEXT", help="Part of the note.")] = "",
    limit: Annotated[int, typer.Option(min=1, metavar="N", help="The most rounds shown.")] = 30,
    log: LogFile = None,
    as_json: AsJson = False,
    plain: Plain = False,
) -> None:
    """List the kept rounds, the latest first."""
    from tensionear.records.documents import rows_document
    from tensionear.records.log import Log

    search = _search(wheel, since, until, verdict, limit, note)
    there = Log(log)
    rows = there.rounds(search)
    if as_json:
        print_json(rows_document(rows))
        return
    from tensionear.dashboard.history import draw_rounds, round_lines
    from tensionear.dashboard.view import NARROWEST, terminal

    more = there.count(search) - len(rows)
    console = terminal()
    if not rows:
        print_lines([f"No round in {there.path} fits; tensionear log list without options lists all."])
    elif plain or console.width < NARROWEST:
        print_lines(round_lines(rows, more))
    else:
        draw_rounds(rows, more, console)


@app.command("show")
def show_round(number: Round, log: LogFile = None, as_json: AsJson = False, plain: Plain = False) -> None:
    """Show one round as it was read."""
    from tensionear.dashboard.history import local_time, one_line, row_verdict
    from tensionear.records.documents import round_document
    from tensionear.records.log import Log

    from .show import show

    kept = Log(log).load(number)
    if as_json:
        print_json(round_document(kept))
        return
    row = kept.row
    print_lines(
        [
            f"Round {row.id}, {local_time(row.started)}, {row_verdict(row)}; tensionear {kept.program}, model {kept.model}.",
            *([f"Note: {one_line(row.note)}"] if row.note else []),
        ]
    )
    if kept.reading is None:
        kept_of = f"{row.plucks} plucks of {one_line(row.title)} are kept"
        lost = f"Its reading was lost; if its sound is there: tensionear log reread {row.id} --keep."
        print_lines([f"It is unfinished: {kept_of}, and no reading yet." if row.finished is None else lost])
    else:
        show(kept.reading, "plain" if plain else "picture")


@app.command("compare")
def compare(
    before: Annotated[int, typer.Argument(metavar="A", help="The earlier round.")],
    after: Annotated[int, typer.Argument(metavar="B", help="The later round.")],
    log: LogFile = None,
    as_json: AsJson = False,
    plain: Plain = False,
) -> None:
    """What changed between two rounds of a wheel: which spokes really moved, and which only seem to."""
    from tensionear.records.changes import compare_rounds
    from tensionear.records.documents import changes_document
    from tensionear.records.log import Log

    there = Log(log)
    one, two = there.load(before), there.load(after)
    changes = compare_rounds(one, two)
    if as_json:
        print_json(changes_document(changes, before, after))
        return
    changes = compare_rounds(_shown(one), _shown(two))
    from tensionear.dashboard.history import change_lines, draw_changes, local_time, one_line, since_new_line
    from tensionear.dashboard.view import NARROWEST, terminal
    from tensionear.records.trends import first_round

    days = f"round {before} ({local_time(one.row.started)}) to round {after} ({local_time(two.row.started)})"
    title, console = f"{one_line(two.row.title)}: {days}", terminal()
    if plain or console.width < NARROWEST:
        print_lines(change_lines(changes, title))
    else:
        draw_changes(changes, title, console)
    first = first_round(there, two)
    if first is not None and first.row.id != before:
        since = compare_rounds(_shown(first), _shown(two))
        print_lines([since_new_line(since, first.row)])


def _shown(kept: KeptRound) -> KeptRound:
    """A round with its reading in the units that people are shown."""
    from dataclasses import replace

    from .show import as_shown

    return kept if kept.reading is None else replace(kept, reading=as_shown(kept.reading))


@app.command("reread")
def reread(
    number: Round,
    wheel: Annotated[
        str | None, typer.Option(metavar="FILE", help="A corrected wheel file in the place of the kept one.")
    ] = None,
    keep: Annotated[bool, typer.Option("--keep", help="Keep today's reading in the place of the old one.")] = False,
    log: LogFile = None,
    as_json: AsJson = False,
    plain: Plain = False,
) -> None:
    """Read the kept sound again by today's model, and tell what that changed."""
    from dataclasses import replace
    from pathlib import Path

    from tensionear.loading import read_text
    from tensionear.records.log import Log
    from tensionear.records.rereading import read_again, with_wheel
    from tensionear.records.states import state_of_wheel

    there = Log(log)
    kept = there.load(number)
    asked = kept.asked if wheel is None else with_wheel(kept.asked, read_text(Path(wheel)), number)
    if kept.sound is None and kept.plucks:
        from tensionear.live.rereading import read_plucks_again

        reading = read_plucks_again(there, kept, asked)
    else:
        reading = read_again(there, kept, asked)
    reading = replace(reading, file=kept.reading.file if kept.reading else reading.file)
    state = kept.state if wheel is None else state_of_wheel(asked.wheel_text)
    if keep:
        there.replace_reading(number, reading, asked, state)
    _show_reread(kept, replace(kept, reading=reading, asked=asked, state=state), as_json, plain)
    if keep and not as_json:
        print_lines([f"Kept today's reading as round {number}."])


def _show_reread(kept: KeptRound, today: KeptRound, as_json: bool, plain: bool) -> None:
    """What reading again changed, spoke by spoke; the new reading where there is nothing to compare it with."""
    from tensionear.records.changes import compare_rounds
    from tensionear.records.documents import changes_document
    from tensionear.records.versions import model_version

    from .show import show, show_json

    number, reading = kept.row.id, today.reading
    assert reading is not None
    before = {(spoke.spoke, spoke.side) for spoke in kept.reading.spokes} if kept.reading else set()
    if before != {(spoke.spoke, spoke.side) for spoke in reading.spokes} or not before:
        if as_json:
            show_json([reading])
        else:
            print_lines(
                [f"Round {number} read by model {model_version()}; there is no earlier reading to compare with."]
            )
            show(reading, "plain" if plain else "picture")
        return
    if as_json:
        print_json(changes_document(compare_rounds(kept, today), number, number))
        return
    from tensionear.dashboard.history import change_lines, draw_changes, one_line
    from tensionear.dashboard.view import NARROWEST, terminal

    changes = compare_rounds(_shown(kept), _shown(today))
    title = f"{one_line(kept.row.title)}, round {number}: model {kept.model} to model {model_version()}"
    console = terminal()
    if plain or console.width < NARROWEST:
        print_lines(change_lines(changes, title))
    else:
        draw_changes(changes, title, console)
    print_lines(f"Note: {text}." for text in reading.warnings)


@app.command("trend")
def trend(
    wheel: Annotated[str, typer.Argument(metavar="WHEEL", help="The wheel's name, or a round of it.")],
    log: LogFile = None,
    plain: Plain = False,
) -> None:
    """Mean and spread of each side over the rounds, and the spokes that keep losing tension."""
    from tensionear.dashboard.history_picture import draw_trend, trend_lines
    from tensionear.dashboard.view import NARROWEST, terminal
    from tensionear.records.log import Log
    from tensionear.records.trends import trend_of

    from .card import round_of
    from .show import shown_units

    there = Log(log)
    kept = round_of(there, wheel)
    units = shown_units("N" if kept.reading is None else kept.reading.units)
    found = trend_of(there, kept.row.title, units=units)
    console = terminal()
    if not found.points:
        print_lines(["No finished round of a whole wheel is kept of it."])
    elif plain or console.width < NARROWEST:
        print_lines(trend_lines(found))
    else:
        draw_trend(found, console)


@app.command("export")
def export(
    target: Annotated[str, typer.Argument(metavar="FILE", help="The archive to write, such as rounds.zip.")],
    numbers: Annotated[
        list[int] | None, typer.Argument(metavar="[ROUND...]", help="Which rounds; all if none.")
    ] = None,
    log: LogFile = None,
) -> None:
    """Write rounds and their sounds into one archive, also while others write: a backup."""
    from pathlib import Path

    from tensionear.records.archive import export_rounds
    from tensionear.records.log import Log

    written, missing = export_rounds(Log(log), numbers or None, Path(target))
    print_lines([f"{written} rounds written to {target}."])
    print_lines(f"The sound {name} is gone from the disk and so not in it." for name in missing)


@app.command("import")
def import_archive(
    source: Annotated[str, typer.Argument(metavar="FILE", help="An archive of tensionear log export.")],
    log: LogFile = None,
) -> None:
    """Take the rounds of an archive into the log; those it has already are left as they are."""
    from pathlib import Path

    from tensionear.records.archive import import_rounds
    from tensionear.records.log import Log

    brought = import_rounds(Log(log), Path(source))
    new = ", ".join(map(str, brought.new[:8])) + (" ..." if len(brought.new) > 8 else "")
    print_lines(
        [f"{len(brought.new)} rounds taken in{': ' if new else ''}{new}; {len(brought.known)} were there already."]
    )
    print_lines(f"The archive lacks the sound {name}." for name in brought.missing_sounds)


@app.command("backup")
def backup(
    target: Annotated[str, typer.Argument(metavar="FILE", help="The copy to write.")],
    log: LogFile = None,
) -> None:
    """Copy the log's database as it is now, without the sounds, also while others write."""
    from pathlib import Path

    from tensionear.records.log import Log

    Log(log).backup(Path(target))
    print_lines([f"Copied to {target}."])


@app.command("check")
def check(log: LogFile = None) -> None:
    """Look the log over: its database, its readings, its sounds. Exit code 2 if something is wrong."""
    from tensionear.records.log import Log
    from tensionear.records.lookover import look_over

    there = Log(log)
    wrong = look_over(there)
    print_lines(wrong or [f"{there.path}: {there.count()} rounds, nothing wrong."])
    if wrong:
        raise typer.Exit(2)


@app.command("rescue")
def rescue(
    target: Annotated[str, typer.Argument(metavar="NEW", help="The log to write.")],
    log: LogFile = None,
) -> None:
    """Save all that can be read of a damaged log into a new one, and tell what is lost."""
    from pathlib import Path

    from tensionear.records.log import Log
    from tensionear.records.rescue import rescue as save

    done = save(Log(log), Path(target))
    print_lines([f"{done.rounds} rounds saved in {target}."])
    print_lines(f"Lost: {text}." for text in done.lost)


@app.command("forget")
def forget(
    numbers: Annotated[list[int], typer.Argument(metavar="ROUND...", help="The rounds to take out for good.")],
    yes: Annotated[bool, typer.Option("--yes", help="Do not ask.")] = False,
    log: LogFile = None,
) -> None:
    """Take rounds and their sounds out of the log for good."""
    from tensionear.dashboard.history import local_time, one_line
    from tensionear.records.log import Log

    there = Log(log)
    kept = [there.load_row(number) for number in dict.fromkeys(numbers)]
    for row in kept:
        told = f"round {row.id}, {local_time(row.started)}, {one_line(row.title)}"
        if not yes and not _confirmed(f"Forget {told} for good?"):
            print_lines([f"Kept: {told}."])
            continue
        there.forget(row.id)
        print_lines([f"Forgotten: {told}."])


def _confirmed(question: str) -> bool:
    """Ask; where nobody can answer, `UsageError`."""
    if not sys.stdin.isatty():
        raise UsageError("nobody is there to confirm; nothing was forgotten: add --yes to forget without asking")
    return typer.confirm(question)


def _search(wheel: str, since: str | None, until: str | None, verdict: str | None, limit: int, note: str) -> Search:
    """The search that the options ask for; UsageError if they make no sense."""
    from datetime import date

    from tensionear.records.search import Search

    for name, day in (("--since", since), ("--until", until)):
        if day is None:
            continue
        try:
            if not DAY.match(day):
                raise ValueError
            date.fromisoformat(day)
        except ValueError:
            raise UsageError(f"{name} {day} is no day; give year, month and day, such as 2026-03-01") from None
    if verdict is not None and verdict not in VERDICTS:
        raise UsageError(f"--verdict {verdict} is none; allowed: {', '.join(VERDICTS)}")
    return Search(wheel, since, until, verdict, limit, note)


def print_lines(lines: Iterable[str]) -> None:
    """Lines on standard output."""
    for line in lines:
        sys.stdout.write(f"{line}\n")


def print_json(document: Any) -> None:
    """A document on standard output, in ASCII so that any output can carry it."""
    sys.stdout.write(f"{json.dumps(document, indent=1, allow_nan=False)}\n")
