"""The wheel's card: one self-contained page that prints to one sheet. Imports the drawings, values and dashboard's words.

No script, no link, nothing fetched; every text that a user wrote is escaped by the template.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import cache

from tensionear.dashboard.history import local_time, one_line
from tensionear.dashboard.plain import notes, side_facts
from tensionear.dashboard.sentence import alarms, to_do
from tensionear.dashboard.states import SIDE_WORDS, STATE_WORDS, deviation, pair, state_of, verdict_words
from tensionear.errors import WheelFileError
from tensionear.reading import Reading, SpokeReading
from tensionear.wheel.model import Wheel
from tensionear.wheel.wheelfile import parse_wheel

from .drawings import rim_drawing, wheel_drawing
from .layout import READABLE_MM, foot_mm, row_mm
from .shapes import Drawing, mark, stacked
from .svg import svg_part
from .templates import template
from .trend_drawing import trend_drawing
from .trends import Trend
from .values import KeptRound

WIDE, NARROW, WHEEL, TREND = 640.0, 350.0, 250.0, 350.0
#: Blocks of the table beside each other on the sheet, at most; a title longer than this is set smaller.
MOST_BLOCKS, LONG = 4, 60
_SHEET_UNITS = {"mm": "mm", "g": "g", "deg": "degrees"}
#: What fits on the sheet beside the rest: so many notes of so many signs; the log has them all.
MOST_NOTES, NOTE_SIGNS, NAME_SIGNS, MOST_ALARMS = 5, 150, 300, 4
#: The confidence of a verdict: one-sided guard of JCGM 106:2012, 8.3, as the assessment uses it.
CONFIDENCE = "95 %"


METHOD = (
    "Every spoke was plucked and recorded, and its tension worked out from the pitches of its partials and the physics of a "
    "tensioned beam. The value after ± is half of a 95 % interval: it holds what is uncertain about the sound, the spoke’s "  # noqa: RUF001
    "length and section and its ends, most of which all spokes of a side share."
)
CAUTIONS = (
    "This card tells what was heard at that time; it is no inspection. The lowest limit that the makers of rim, hub and spokes "
    "state is the limit. Have a wheel with a cracked, bent or very slack part looked at before it is ridden, and check it "
    "again after the first rides."
)


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
    drawn = bool(reading.sides) and bool(reading.spokes)
    has_trend = trend is not None and len(trend.points) > 1
    foot = Foot(shown_notes(reading, kept), sheet_rows(kept), clipped(kept.row.note, 2 * NOTE_SIGNS), _assumed(reading))
    warned = shown_alarms(reading)
    blocks, height = _fitted(reading, len(reading.title) > LONG, len(warned), foot_mm(foot.sections, has_trend))
    return template("tensionear.records", "card.html").render(
        name=clipped(reading.title, NAME_SIGNS),
        long=len(reading.title) > LONG,
        verdict=verdict_words(reading) or "no verdict",
        verdict_state=reading.verdict or "none",
        confidence=CONFIDENCE,
        limits=limits_told(reading),
        alarms=warned,
        to_do=to_do(reading),
        facts=facts(kept, reading),
        rim_wide=svg_part(rim_drawing(reading, WIDE), "rim") if drawn else "",
        rim_narrow=svg_part(rim_drawing(reading, NARROW), "rim-s") if drawn else "",
        wheel=svg_part(wheel_drawing(reading, wheel_of(kept), WHEEL), "wheel") if drawn else "",
        sides=[(SIDE_WORDS.get(side, side).capitalize(), side_facts(reading, side)) for side in reading.sides],
        blocks=blocks,
        known=any(spoke.tension_n is not None for spoke in reading.spokes),
        unit=reading.units,
        row_mm=height,
        columns=max(len(blocks), 1),
        trend=svg_part(trend_drawing(trend, TREND), "trend") if has_trend and trend is not None else "",
        losing=losing_told(trend),
        foot=foot,
        method=METHOD,
        cautions=CAUTIONS,
    )


@dataclass(frozen=True, slots=True)
class Foot:
    """The paragraphs at the foot of the card that differ from card to card."""

    notes: list[str]
    sheet: list[tuple[str, str]]
    note: str
    assumed: list[str]

    @property
    def sections(self) -> list[list[str]]:
        """All paragraphs of the foot by section."""
        sheet = [f"{key} {value}" for key, value in self.sheet]
        return [self.notes, sheet, [self.note] if self.note else [], self.assumed, [METHOD], [CAUTIONS]]


def _assumed(reading: Reading) -> list[str]:
    return [clipped(each, NOTE_SIGNS) for each in reading.assumptions[:4]]


def _fitted(reading: Reading, long_title: bool, alarms_: int, foot: float) -> tuple[tuple[Block, ...], float]:
    """The table in as few blocks as leave its rows readable, and the height of a row."""
    sides = max(len(reading.sides), 1)
    for each_side in range(1, max(2, MOST_BLOCKS // sides + 1)):
        blocks = table_blocks(reading, each_side)
        rows = max((len(block.rows) for block in blocks), default=0)
        height = row_mm(rows, long_title, alarms_, foot, bool(blocks))
        if height >= READABLE_MM:
            break
    return blocks, height


def shown_alarms(reading: Reading) -> list[str]:
    """The alarms, the caution last; where there are many, how many more."""
    found = list(alarms(reading))
    if len(found) <= MOST_ALARMS:
        return found
    more = len(found) - MOST_ALARMS + 1
    return [*found[: MOST_ALARMS - 2], f"and {more} more spokes are beyond a limit: see the table.", found[-1]]


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


def table_blocks(reading: Reading, each_side: int) -> tuple[Block, ...]:
    """The spokes of each side, in so many blocks a side."""
    blocks = []
    for side in reading.sides:
        spokes = [spoke for spoke in reading.spokes if spoke.side == side]
        size = max(1, math.ceil(len(spokes) / each_side))
        for start in range(0, len(spokes), size):
            part = spokes[start : start + size]
            which = "" if len(part) == len(spokes) else f", {part[0].label} to {part[-1].label}"
            blocks.append(Block(f"{SIDE_WORDS.get(side, side).capitalize()}{which}", tuple(map(_row, part))))
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
        told.append(f"none over {limits.max_tension_n:.0f} {reading.units}")
    if limits.floor_n is not None:
        told.append(f"none under {limits.floor_n:.0f} {reading.units}")
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
            name, _, last = key.rpartition("_")
            unit = _SHEET_UNITS.get(last, "")
            words = (name if unit else key).replace("_", " ")
            found.append((clipped(words, 40), clipped(f"{value:g} {unit}" if unit else f"{value}", 60)))
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
