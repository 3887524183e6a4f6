"""The wheel's card: one self-contained page that prints to one sheet. Imports the drawings, values and dashboard's words.

No script, no link, nothing fetched; every text that a user wrote is escaped by the template.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import cache
from typing import TYPE_CHECKING, Any

from tensionear.dashboard.history import local_time, one_line
from tensionear.dashboard.plain import notes, side_facts
from tensionear.dashboard.sentence import alarms, to_do
from tensionear.dashboard.states import SIDE_WORDS, STATE_WORDS, deviation, pair, state_of, verdict_words
from tensionear.errors import WheelFileError
from tensionear.reading import Reading, SpokeReading
from tensionear.wheel.model import Wheel
from tensionear.wheel.wheelfile import parse_wheel

from .drawings import rim_drawing, wheel_drawing
from .shapes import Drawing, mark, stacked
from .svg import svg_part
from .trend_drawing import trend_drawing
from .trends import Trend
from .values import KeptRound

if TYPE_CHECKING:
    from jinja2 import Template

WIDE, NARROW, WHEEL = 640.0, 350.0, 250.0
#: What fits on the sheet beside the rest: so many notes of so many signs; the log has them all.
MOST_NOTES, NOTE_SIGNS, NAME_SIGNS = 6, 220, 300
#: The confidence of a verdict: one-sided guard of JCGM 106:2012, 8.3, as the assessment uses it.
CONFIDENCE = "95 %"


@dataclass(frozen=True, slots=True)
class Row:
    """One spoke in the card's table."""

    label: str
    number: str
    half: str
    percent: str
    state: str
    word: str
    mark: str
    note: str


@dataclass(frozen=True, slots=True)
class Block:
    """Some rows of one side, so many that two or more blocks stand beside each other."""

    caption: str
    rows: tuple[Row, ...]


def card_page(kept: KeptRound, reading: Reading, trend: Trend | None) -> str:
    """The card of a kept round as an HTML page.

    Parameters
    ----------
    kept : KeptRound
    reading : Reading
        What was read of it, in the units people are shown.
    trend : Trend or None
        The rounds of the wheel up to this one, in the same units; drawn from two on.
    """
    wheel = wheel_of(kept)
    wide, narrow = rim_drawing(reading, WIDE), rim_drawing(reading, NARROW)
    drawn = bool(reading.sides) and bool(reading.spokes)
    blocks = table_blocks(reading)
    rows = max((len(block.rows) for block in blocks), default=0)
    has_trend = trend is not None and len(trend.points) > 1
    return _template().render(
        name=clipped(reading.title, NAME_SIGNS),
        long=len(reading.title) > 60,
        verdict=verdict_words(reading) or "no verdict",
        verdict_state=reading.verdict or "none",
        confidence=CONFIDENCE,
        limits=limits_told(reading),
        alarms=alarms(reading),
        to_do=to_do(reading),
        facts=facts(kept, reading),
        rim_wide=svg_part(wide, "rim") if drawn else "",
        rim_narrow=svg_part(narrow, "rim-s") if drawn else "",
        wheel=svg_part(wheel_drawing(reading, wheel, WHEEL), "wheel") if drawn else "",
        sides=[(SIDE_WORDS.get(side, side).capitalize(), side_facts(reading, side)) for side in reading.sides],
        blocks=blocks,
        known=any(spoke.tension_n is not None for spoke in reading.spokes),
        unit="N",
        row_mm=min(4.0, 84.0 / max(rows, 1)),
        columns=len(blocks),
        notes=shown_notes(reading, kept),
        sheet=sheet_rows(kept),
        trend=svg_part(trend_drawing(trend, WIDE), "trend") if has_trend and trend is not None else "",
        losing=losing_told(trend),
        note=clipped(kept.row.note, 2 * NOTE_SIGNS),
        assumptions=[clipped(each, NOTE_SIGNS) for each in reading.assumptions[:4]],
    )


def card_picture(kept: KeptRound, reading: Reading) -> Drawing:
    """Rim and wheel in one drawing, for SVG and PNG files."""
    drawings = (rim_drawing(reading, WIDE), wheel_drawing(reading, wheel_of(kept), 420))
    return stacked(drawings, clipped(f"{reading.title}: {verdict_words(reading) or 'no verdict'}", 80))


def wheel_of(kept: KeptRound) -> Wheel | None:
    """The wheel of a round, if its file is kept and today's program can still read it."""
    if kept.asked.wheel_text is None:
        return None
    try:
        return parse_wheel(kept.asked.wheel_text, "the kept wheel file")
    except WheelFileError:
        return None


def table_blocks(reading: Reading) -> tuple[Block, ...]:
    """The spokes of each side, in blocks of at most 24 rows, or of more where there would be more than four blocks."""
    sides = [(side, [spoke for spoke in reading.spokes if spoke.side == side]) for side in reading.sides]
    most = max((len(spokes) for _, spokes in sides), default=1)
    each_side = max(1, math.ceil(most / 24))
    if each_side * max(len(sides), 1) > 4:
        each_side = max(1, 4 // max(len(sides), 1))
    blocks = []
    for side, spokes in sides:
        size = max(1, math.ceil(len(spokes) / each_side))
        for start in range(0, len(spokes), size):
            part = spokes[start : start + size]
            range_ = "" if len(part) == len(spokes) else f", {part[0].label} to {part[-1].label}"
            blocks.append(Block(f"{SIDE_WORDS.get(side, side).capitalize()}{range_}", tuple(map(_row, part))))
    return tuple(blocks)


def _row(spoke: SpokeReading) -> Row:
    """One spoke."""
    number, half = pair(spoke.tension_n, spoke.u_tension_n)
    if spoke.tension_n is None:
        half = pair(spoke.deviation_percent, spoke.u_deviation_percent)[1]
    state = state_of(spoke)
    note = spoke.leave_out or spoke.doubt or ""
    return Row(spoke.label, number, half, deviation(spoke), state, STATE_WORDS[state], _mark(state), clipped(note, 40))


@cache
def _mark(state: str) -> str:
    """The mark of a state beside its word; the word says it, so the mark is hidden from those who listen."""
    part = svg_part(Drawing(12, 12, "", "", mark(state, 6, 6, 8)), "m")
    body = part[part.index("</desc>") + len("</desc>") :]
    return f'<svg viewBox="0 0 12 12" aria-hidden="true">{body}'


def facts(kept: KeptRound, reading: Reading) -> list[tuple[str, str]]:
    """What stands under the title."""
    used = sum(pluck.used for pluck in reading.plucks)
    tyre = {"none": "bare, no tyre", "mounted": "tyre mounted", "inflated": "tyre inflated", None: "not stated"}
    state = tyre.get(kept.state.tyre, str(kept.state.tyre))
    if kept.state.pressure_kpa is not None:
        state += f", {kept.state.pressure_kpa:g} kPa"
    if kept.state.temperature_c is not None:
        state += f", {kept.state.temperature_c:g} °C"
    return [
        ("Plucked", local_time(kept.row.started)),
        ("Round", str(kept.row.id)),
        ("Wheel", state),
        ("Plucks used", f"{used} of {len(reading.plucks)}"),
        ("Read by", f"tensionear {kept.program}, model {kept.model}"),
    ]


def limits_told(reading: Reading) -> str:
    """The limits the verdict is held against."""
    limits = reading.limits
    told = [f"every spoke within {limits.evenness_percent:g} % of the mean of its side"]
    if limits.max_tension_n is not None:
        told.append(f"none over {limits.max_tension_n:.0f} N")
    if limits.floor_n is not None:
        told.append(f"none under {limits.floor_n:.0f} N")
    if limits.max_tension_n is None and reading.job == "wheel":
        told.append("no maximum is stated, so none is judged")
    return ", ".join(told)


def shown_notes(reading: Reading, kept: KeptRound) -> list[str]:
    """As many notes as fit, and how many more the log has."""
    found = [clipped(text, NOTE_SIGNS) for text in notes(reading)]
    if len(found) <= MOST_NOTES:
        return found
    return [*found[: MOST_NOTES - 1], f"and {len(found) - MOST_NOTES + 1} more: tensionear log show {kept.row.id}"]


def sheet_rows(kept: KeptRound) -> list[tuple[str, str]]:
    """The other readings of the sitting: numbers and words as they were kept, the unit from the end of the name."""
    found = []
    for key, value in kept.sheet.items():
        if isinstance(value, (int, float, str)) and not isinstance(value, bool):
            found.append((clipped(key.replace("_", " "), 40), clipped(f"{value}", 60)))
    return found[:8]


def losing_told(trend: Trend | None) -> str:
    """The spokes that keep losing tension."""
    if trend is None or not trend.losing:
        return ""
    named = [f"{each.label} ({each.percent:+.1f} % in {each.rounds} rounds)" for each in trend.losing[:6]]
    return f"Keeps losing tension against its side: {', '.join(named)}."


def clipped(text: str, most: int) -> str:
    """A user's text on one line, cut with an ellipsis where it is longer."""
    line = one_line(text)
    return line if len(line) <= most else f"{line[: most - 1]}…"


@cache
def _template() -> Template:
    """The page's template, with everything escaped that is put into it."""
    from jinja2 import Environment, PackageLoader, StrictUndefined
    from markupsafe import Markup

    def drawn(svg: str) -> Markup:
        """An SVG of ours, whose texts were escaped when it was made."""
        return Markup(svg)

    environment = Environment(
        loader=PackageLoader("tensionear.records", "pages"), autoescape=True, undefined=StrictUndefined,
        trim_blocks=True, lstrip_blocks=True,
    )  # fmt: skip
    environment.filters["drawn"] = drawn
    found: Any = environment.get_template("card.html")
    return found  # type: ignore[no-any-return]
