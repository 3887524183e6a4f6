"""Kept rounds as a list, and what changed between two of them, as tables and as lines. Imports records' values and siblings."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from datetime import datetime

from rich.console import Console
from rich.table import Table
from rich.text import Text

from tensionear.physics.rounding import rounded
from tensionear.records.changes import Changes, SideChange, SpokeChange
from tensionear.records.values import RoundRow

from .glyphs import glyphs_for
from .palette import Palette, palette_for
from .states import COVERAGE, SIDE_WORDS, VERDICT_WORDS, pair

#: A change of evenness is not shown finer than this, in points of percent.
FINEST_POINTS = 0.1
#: From this width on there is room for the notes in the list.
ROOMY = 80
#: So much of a name or note is shown in the list.
MOST_SIGNS = 60
CHANGE_WORDS = {"moved": "moved", "perhaps": "perhaps", "still": "no change seen"}


def local_time(utc: str) -> str:
    """A time of the log in the user's own time zone: ``2026-11-25 15:06``; as it is where it is no time."""
    try:
        return datetime.fromisoformat(utc).astimezone().strftime("%Y-%m-%d %H:%M")
    except ValueError:
        return utc


def row_verdict(row: RoundRow) -> str:
    """The verdict on a round in words."""
    if row.finished is None:
        return "unfinished"
    if row.verdict is None:
        return "no verdict"
    if row.job == "evenness":
        return {"within": "even", "out": "not even"}.get(row.verdict, row.verdict)
    return next((word for verdict, word in VERDICT_WORDS.items() if verdict == row.verdict), row.verdict)


def draw_rounds(rows: Sequence[RoundRow], more: int, console: Console) -> None:
    """Draw the list of rounds, the latest first."""
    palette, roomy = palette_for(console), console.width >= ROOMY
    table = Table(box=None, pad_edge=False, padding=(0, 2, 0, 0), header_style=palette.quiet)
    table.add_column("round", justify="right")
    table.add_column("when", no_wrap=True)
    table.add_column("wheel", overflow="fold", min_width=20 if roomy else 12)
    table.add_column("verdict", no_wrap=True)
    if roomy and any(row.note for row in rows):
        table.add_column("note", overflow="fold")
    styles = {"within": palette.within, "out": palette.out, "undecided": palette.undecided}
    for row in rows:
        cells = [
            Text(str(row.id), style=palette.strong),
            Text(local_time(row.started)),
            Text(shortened(row.title)),
            Text(row_verdict(row), style=styles.get(row.verdict or "", palette.quiet)),
            Text(shortened(row.note)),
        ]
        table.add_row(*cells[: len(table.columns)])
    console.print(table)
    if more:
        console.print(Text(f"{more} older ones are not shown; --limit shows more of them", style=palette.quiet))


def round_lines(rows: Sequence[RoundRow], more: int) -> Iterator[str]:
    """The same as plain lines."""
    for row in rows:
        note = f", note: {one_line(row.note)}" if row.note else ""
        yield (
            f"Round {row.id}, {local_time(row.started)}: {one_line(row.title)}, {row_verdict(row)}, "
            f"{row.plucks} plucks{note}."
        )
    if more:
        yield f"{more} older ones are not shown; --limit shows more of them."


def draw_changes(changes: Changes, title: str, console: Console) -> None:
    """Draw what changed: the terms, the sides, the table of spokes, and the sentence that sums it up."""
    glyphs, palette = glyphs_for(console.encoding), palette_for(console)
    console.print(Text(title, style=palette.strong))
    for said in changes.terms.said:
        console.print(Text(f"{glyphs.dot} {said}", style=palette.undecided))
    console.print()
    for line in side_lines(changes):
        console.print(Text(glyphs.words(line)))
    console.print()
    unit = unit_of(changes)
    table = Table(box=None, pad_edge=False, padding=(0, 2, 0, 0), header_style=palette.quiet)
    table.add_column("spoke")
    for name in (f"before {unit}", f"after {unit}", "change", f"{glyphs.plus_minus} 95 %", ""):
        table.add_column(name, justify="left" if not name else "right")
    for each in changes.spokes:
        table.add_row(*_cells(changes, each, palette))
    console.print(table)
    console.print()
    console.print(Text(summary(changes), style=palette.strong))


def change_lines(changes: Changes, title: str) -> Iterator[str]:
    """The same as plain lines."""
    yield f"{title}."
    yield from (f"Note: {said}." for said in changes.terms.said)
    yield from (f"{line}." for line in side_lines(changes))
    for each in changes.spokes:
        if each.change is None or each.word is None:
            yield f"{each.label}: not read in both rounds."
            continue
        change, half = signed(each.change, each.u_change)
        yield f"{each.label}: {change} +/- {half} {unit_of(changes)}, {CHANGE_WORDS[each.word]}."
    yield summary(changes)


def side_lines(changes: Changes) -> Iterator[str]:
    """The change of each side's mean and spread."""
    unit = changes.units
    for side, each in changes.sides.items():
        facts = []
        if each.change_n is not None and each.percent is not None:
            before, after = (pair(value, each.u_change_n)[0] for value in (each.before_n, each.after_n))
            change, half = signed(each.change_n, each.u_change_n)
            percent, half_percent = signed(each.percent, each.u_percent)
            means = f"mean {before} to {after} {unit}: {change} +/- {half} {unit}"
            facts.append(f"{means} ({percent} +/- {half_percent} %), {_side_word(each)}")
        if each.spread_before_percent is not None and each.spread_after_percent is not None:
            facts.append(f"spread +/- {each.spread_before_percent:.1f} % to +/- {each.spread_after_percent:.1f} %")
        yield f"{SIDE_WORDS.get(side, side).capitalize()}: {'; '.join(facts) or 'not read in both rounds'}"


def since_new_line(changes: Changes, first: RoundRow) -> str:
    """What each side has lost or gained since the wheel's first kept round: what new wheels do on their first rides."""
    facts = []
    for side, each in changes.sides.items():
        if each.percent is not None:
            percent, half = signed(each.percent, each.u_percent)
            facts.append(f"{SIDE_WORDS.get(side, side)} {percent} +/- {half} %")
    told = ", ".join(facts) or f"the means cannot be compared ({'; '.join(changes.terms.said) or 'no tensions'})"
    return f"Since the first kept round ({first.id}, {local_time(first.started)}): {told}."


def _side_word(change: SideChange) -> str:
    """What the change of a mean says."""
    assert change.change_n is not None
    if abs(change.change_n) <= COVERAGE * (change.u_change_n or 0.0):
        return "no change seen"
    return "tighter" if change.change_n > 0 else "slacker"


def summary(changes: Changes) -> str:
    """Which spokes really moved, and which only seem to."""
    moved = [each for each in changes.spokes if each.word == "moved"]
    perhaps = [each for each in changes.spokes if each.word == "perhaps"]
    if not any(each.word for each in changes.spokes):
        return "No spoke was read in both rounds."
    sentence = f"Moved: {_named(changes, moved)}." if moved else "No spoke has surely moved."
    if perhaps:
        sentence += f" Perhaps, or by chance: {_named(changes, perhaps)}."
    if changes.terms.basis == "evenness":
        sentence += " Changes count from the middle one of their side: a mean moves with any spoke of it."
    return sentence


def _named(changes: Changes, spokes: list[SpokeChange]) -> str:
    """Spokes with their changes, the largest first; no more than eight."""
    ordered = sorted(spokes, key=lambda each: -abs(each.change or 0.0))
    told = [f"{each.label} {signed(each.change, each.u_change)[0]}" for each in ordered[:8]]
    more = f" and {len(ordered) - 8} more" if len(ordered) > 8 else ""
    return f"{', '.join(told)}{more} ({unit_of(changes)})"


def _cells(changes: Changes, each: SpokeChange, palette: Palette) -> list[Text]:
    """The cells of one spoke."""
    style = {"moved": palette.out, "perhaps": palette.undecided}.get(each.word or "", "")
    places = 0 if changes.terms.basis == "tension" else 1
    shown = ["" if value is None else f"{value:.{places}f}" for value in (each.before, each.after)]
    change, half = signed(each.change, each.u_change)
    word = "not read in both" if each.word is None else CHANGE_WORDS[each.word]
    cells = [Text(cell) for cell in (*shown, change, half)]
    return [Text(each.label, style=palette.strong), *cells, Text(word, style=style)]


def unit_of(changes: Changes) -> str:
    """The unit of a spoke's change."""
    return changes.units if changes.terms.basis == "tension" else "%"


def signed(value: float | None, standard: float | None) -> tuple[str, str]:
    """A change with its sign and half its 95 % interval, rounded together."""
    if value is None:
        return "", ""
    number, half = rounded(value, max(COVERAGE * (standard or 0.0), FINEST_POINTS))
    return (number if number.startswith("-") or not float(number) else f"+{number}"), half


def one_line(text: str) -> str:
    """What a user wrote, without line breaks and control characters."""
    return "".join(sign if sign.isprintable() else " " for sign in text)


def shortened(text: str) -> str:
    """A user's text on one line of the list; the whole of it is in ``show`` and ``--json``."""
    line = one_line(text)
    return line if len(line) <= MOST_SIGNS else f"{line[: MOST_SIGNS - 3]}..."
