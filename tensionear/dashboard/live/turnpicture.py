"""One spoke while it is turned, as lines of a screen. Pure; imports words, figures and live."""

from __future__ import annotations

from typing import TYPE_CHECKING

from rich.text import Text

from tensionear.live.subject import Subject
from tensionear.live.told import Snapshot
from tensionear.live.turning import Turning
from tensionear.units import NEWTONS, in_words

from . import words
from .figures import large, meter, turn_bar

if TYPE_CHECKING:
    from .picture import Look

_LABEL_COLUMNS = 24
_TRACE_ROWS = 5


def turn_lines(snapshot: Snapshot, subject: Subject, look: Look) -> list[Text]:
    """Everything above the keys while turning."""
    state = snapshot.turning
    assert state is not None
    palette, glyphs = look.palette, look.glyphs
    rule = Text(glyphs.rule * look.width, palette.line)
    title = f" {subject.title}"[: look.width - 12]
    lines = [Text(f"{title:<{look.width - 10}} turning ", palette.strong), rule]
    beside = (
        _number(state, look),
        words.eighths_words(state.eighths) if state.last else "pluck it once before the first turn",
        turn_bar(state.eighths, glyphs) if state.last else "",
        glyphs.words(in_words(words.turning_words(state).partition("; ")[2], look.units)),
        words.where(state.spoke),
    )
    for row, text in zip(large(subject.label(state.spoke), glyphs), beside, strict=True):
        line = Text(f" {row:<{_LABEL_COLUMNS}}", palette.strong)
        line.append(text[: look.width - _LABEL_COLUMNS - 2])
        lines.append(line)
    lines.append(_said(snapshot, look))
    lines.append(rule)
    lines += _trace(state, look)
    lines += _neighbours(state, subject, look)
    if not state.trace:
        lines += [Text(f" {caution}", palette.out) for caution in words.CAUTIONS]
    return [*lines, rule, Text(f" {meter(snapshot.level, glyphs)}   t back to the round")]


def _number(state: Turning, look: Look) -> str:
    number = look.glyphs.words(in_words(words.number_words(state.last, state.final), look.units))
    return number if state.final else f"{number}  first look"


def _said(snapshot: Snapshot, look: Look) -> Text:
    if snapshot.round.trouble:
        return Text(f" ! {snapshot.round.trouble}", look.palette.alarm)
    text = in_words(snapshot.round.said[1], look.units)
    return Text(f" ! {text}", look.palette.out) if text else Text("")


def _trace(state: Turning, look: Look) -> list[Text]:
    """The last ten plucks, the newest at the right, with the target as a line."""
    values = [each.tension_n for each in state.trace if each.tension_n is not None]
    if not values:
        return [Text(" the last ten plucks will stand here", look.palette.quiet)]
    aim = state.target_n
    low, high = min([*values, aim or values[0]]), max([*values, aim or values[0]])
    step = max((high - low) / (_TRACE_ROWS - 1), 1.0)
    rows = []
    for row in range(_TRACE_ROWS):
        level = high - row * step
        is_aim = aim is not None and round((high - aim) / step) == row
        cells = "".join(
            f"   {look.glyphs.within}  "
            if round((high - value) / step) == row
            else (look.glyphs.limit * 6 if is_aim else " " * 6)
            for value in values
        )
        rows.append(Text(f"{in_words(f'{level:.0f} N', look.units):>8} {cells}{'  target' if is_aim else ''}"))
    return [
        *rows,
        Text(f"{'':>9}" + "".join(f"{value / NEWTONS[look.units]:^6.0f}" for value in values), look.palette.quiet),
    ]


def _neighbours(state: Turning, subject: Subject, look: Look) -> list[Text]:
    """Neighbours, hollow until they are plucked again, with what they should read by now."""
    if not state.answering.others_n:
        text = " how the neighbours answer is not known: the wheel file lacks the geometry"
        return [Text(text, look.palette.quiet)]
    stale = state.stale()
    found = []
    for number, gain in sorted(state.answering.others_n.items()):
        change = stale.get(number, 0.0)
        before = state.neighbours_n.get(number)
        hollow = look.glyphs.unjudged if abs(change) >= 1.0 else look.glyphs.within if before else look.glyphs.dot
        expected = f"{before + change:.0f} N" if before is not None else f"{change:+.0f} N"
        found.append(
            f"{hollow} {subject.label(number)} {expected}"
            if stale
            else f"{hollow} {subject.label(number)} {gain / 8:+.0f} N an eighth"
        )
    half = len(found) // 2
    head = (
        "expected of the neighbours until plucked again:"
        if stale
        else "what an eighth of a turn does to the neighbours:"
    )
    return [
        Text(f" {head}", look.palette.quiet),
        Text(in_words(" " + "   ".join(found[:half]), look.units)),
        Text(in_words(" " + "   ".join(found[half:]), look.units)),
    ]
