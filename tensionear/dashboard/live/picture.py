"""The live round as lines of text for a screen of any size from 60x20 up. Pure; imports words, figures and live.

From the top: what is awaited, large; the last number and the one thing to change; the unrolled rim filling up; how to
pluck; the level. What has no room is left out from the bottom of that list.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from rich.text import Text

from tensionear.dashboard.glyphs import Glyphs
from tensionear.dashboard.palette import Palette
from tensionear.live.machine import Round
from tensionear.live.subject import Subject, WheelSubject
from tensionear.live.told import Snapshot
from tensionear.reading import Units
from tensionear.units import in_words

from . import checkpicture, words
from .figures import large, meter
from .strip import Strip, strip_of
from .turnpicture import turn_lines

#: The keys, for ever narrower screens.
KEYS = (
    "b back  s skip  r redo  j jump  p pause  n note  o out only  t turn  q quit",
    "b back s skip r redo j jump p pause n note o out t turn q quit",
    "b)ack s)kip r)edo j)ump p)ause n)ote o)ut t)urn q)uit",
    "keys b s r j p n o t, q quits",
)
_LABEL_COLUMNS = 24
_BESIDE = 60  # columns from which words stand beside the large label
_WIDE = 76  # columns from which a place in words fits beside any label


@dataclass(frozen=True, slots=True)
class Look:
    """How it is drawn: size in characters, signs and colours, what is being typed, and the unit for newtons."""

    width: int
    height: int
    glyphs: Glyphs
    palette: Palette
    typed: str | None = None
    units: Units = "N"


def draw(snapshot: Snapshot, subject: Subject, look: Look) -> list[Text]:
    """The whole screen, as many lines as it is high, none wider than it."""
    body = _body(snapshot, subject, look)
    body = body[: look.height - 1]
    body += [Text("")] * (look.height - 1 - len(body))
    lines = [*body, _keys(look)]
    for line in lines:
        line.no_wrap = True
        line.truncate(look.width)
    return lines


def _body(snapshot: Snapshot, subject: Subject, look: Look) -> list[Text]:
    if snapshot.turning:
        return turn_lines(snapshot, subject, look)
    return plan_lines(snapshot, subject, look) if snapshot.items else round_lines(snapshot, subject, look)


def plan_lines(snapshot: Snapshot, subject: Subject, look: Look) -> list[Text]:
    """Everything above the keys while a turn plan is followed."""
    state, items = snapshot.round, snapshot.items
    rule = Text(look.glyphs.rule * look.width, look.palette.line)
    awaited = [each for each in items if each.heard is None and each.turn.spoke == state.spoke]
    told = checkpicture.beside(awaited[0], look) if awaited else ("all turned", "", "", "", "")
    waits = state.trouble or state.paused or state.taken
    now = _labelled(subject.label(state.spoke), (f"{told[0]}; {_task(state)}" if waits else told[0], *told[1:]), look)
    if any(each.heard is not None for each in items):
        foot = [*_how(state, subject, look)]
    else:
        foot = [Text(f" {caution}", look.palette.out) for caution in words.CAUTIONS]
    foot = [rule, *foot, Text(f" {meter(snapshot.level, look.glyphs)}")]
    head = [_title(snapshot, subject, look, f"turning, {checkpicture.count_words(items)}"), rule]
    said = [_heard(snapshot, subject, look), _said(state, look), rule]
    room = look.height - 1 - len(head) - len(now) - len(said) - len(foot)
    return [*head, *now, *said, *_filled(checkpicture.list_lines(items, state.spoke, max(room, 2), look), room), *foot]


def _filled(lines: list[Text], room: int) -> list[Text]:
    return [*lines, *(Text("") for _ in range(room - len(lines)))]


def _heard(snapshot: Snapshot, subject: Subject, look: Look) -> Text:
    """The last number; of a spoke that was ticked off, with what was expected of it."""
    line = _last(snapshot, subject, look)
    shown = snapshot.round.shown
    ticked = [each for each in snapshot.items if each.heard and shown and each.turn.spoke == shown.spoke]
    if not ticked or shown is None or not shown.final or shown.spoke == snapshot.round.spoke:
        return line
    found = Text(" last  ")
    number = words.number_words(shown.value, True)
    told = f"{subject.label(shown.spoke)}  {number}  {checkpicture.ticked_words(ticked[-1])}"
    found.append(fitting(look.glyphs.words(in_words(told, look.units)), look.width - 7), look.palette.strong)
    return found


def round_lines(snapshot: Snapshot, subject: Subject, look: Look) -> list[Text]:
    """Everything above the keys while measuring."""
    state, palette = snapshot.round, look.palette
    rule = Text(look.glyphs.rule * look.width, palette.line)
    head = [_title(snapshot, subject, look, words.progress(snapshot.round)), rule]
    now = _awaited(state, subject, look)
    said = [_last(snapshot, subject, look), _said(state, look)]
    foot = [rule, *_how(state, subject, look), Text(f" {meter(snapshot.level, look.glyphs)}")]
    room = look.height - 1 - len(head) - len(now) - len(said) - len(foot) - 1
    strip = strip_of(snapshot, subject, Strip(look.width, max(room, 4), look.glyphs, palette))
    return [*head, *now, *said, rule, *strip, *foot]


def _title(snapshot: Snapshot, subject: Subject, look: Look, right: str) -> Text:
    if snapshot.round.paused:
        right = f"PAUSED  {right}"
    room = look.width - len(right) - 3
    title = subject.title if len(subject.title) <= room else f"{subject.title[: room - 2]}.."
    return Text(f" {title:<{room}} {right} ", look.palette.strong)


def _awaited(state: Round, subject: Subject, look: Look) -> list[Text]:
    """The awaited spoke, large, and where it is."""
    spoke = state.spoke
    beside = (
        _task(state),
        words.where(spoke),
        words.where_from_left(spoke),
        words.way(state.left, spoke, subject.spokes),
        "",
    )
    return _labelled(subject.label(spoke), beside, look)


def _labelled(label: str, beside: Sequence[str], look: Look) -> list[Text]:
    """A large label with five lines beside it, or the first of them below it where there is no room."""
    rows = large(label, look.glyphs)
    if look.width < _BESIDE:
        below = (Text(f" {fitting(each, look.width - 1)}") for each in beside[:3])
        return [*(Text(f" {row}", look.palette.strong) for row in rows), *below]
    found = []
    columns = min(_LABEL_COLUMNS, max(len(row) for row in rows) + 3) if look.width < _WIDE else _LABEL_COLUMNS
    for index, row in enumerate(rows):
        line = Text(f" {row:<{columns}}", look.palette.strong)
        line.append(fitting(beside[index], look.width - columns - 2), "" if index else look.palette.strong)
        found.append(line)
    return found


def fitting(text: str, room: int) -> str:
    """The text without its last clauses, as far as it must do without them."""
    while len(text) > room:
        cut = max(text.rfind(sign) for sign in (", ", "; ", " (", ": "))
        if cut <= 0:
            return text[:room]
        text = text[:cut]
        if text.count("(") > text.count(")"):
            text = text[: text.rfind(" (")]
    return text


def _task(state: Round) -> str:
    if state.trouble:
        return "waiting for the microphone"
    if state.paused:
        return "paused; p goes on"
    if state.complete:
        return "all plucked; the first once more proves the count, q ends"
    if state.needed == 1:
        return "pluck"
    return f"pluck {len(state.taken) + 1} of {max(state.needed, len(state.taken) + 1)}"


def _last(snapshot: Snapshot, subject: Subject, look: Look) -> Text:
    shown = snapshot.round.shown
    if shown is None:
        return Text(" nothing plucked yet", look.palette.quiet)
    line = Text(" last  ")
    number = look.glyphs.words(in_words(words.number_words(shown.value, shown.final), look.units))
    line.append(f"{subject.label(shown.spoke)}  {number}", look.palette.strong)
    deviation = words.deviation_words(shown.value)
    if not shown.final:
        line.append("  first look", look.palette.undecided)
    elif deviation:
        line.append(f"  {deviation}")
    return line


def _said(state: Round, look: Look) -> Text:
    """The one thing to change, or what is wrong."""
    if look.typed is not None:
        return Text(f" {look.typed}_", look.palette.strong)
    if state.trouble:
        return Text(f" ! {state.trouble}", look.palette.alarm)
    code, text = state.said[0], in_words(state.said[1], look.units)
    if not text:
        return Text("")
    mark = "" if code == "noted" else "! "
    return Text(f" {mark}{text}", look.palette.out if mark else "")


def _how(state: Round, subject: Subject, look: Look) -> list[Text]:
    """Where and with what to pluck, drawn and in words."""
    place = subject.wheel.place(state.spoke) if isinstance(subject, WheelSubject) else None
    told = words.how_to_pluck(place)
    rule, mark = look.glyphs.rule, look.glyphs.high
    drawing = f" hub |{rule * min(22, max(look.width - 42, 2))}{mark}{rule * 4}| rim"
    return [Text(f"{drawing}   {told[0]}"), Text(f" {fitting('; '.join(told[1:]), look.width - 1)}")]


def _keys(look: Look) -> Text:
    text = next((each for each in KEYS if len(each) < look.width), KEYS[-1])
    return Text(f" {text}", look.palette.quiet)
