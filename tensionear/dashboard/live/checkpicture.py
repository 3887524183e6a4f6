"""A turn plan that is followed live: its words, its lines on a screen, its summary. Pure; imports words, turns and live.

What was heard stands beside what was expected of the spoke at its place in the pass.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import TYPE_CHECKING

from rich.text import Text

from tensionear.dashboard.states import pair
from tensionear.dashboard.turns import fraction, instruction
from tensionear.live.checklist import Item, Verdict
from tensionear.reading import Units
from tensionear.units import NEWTONS, in_words
from tensionear.wheel.forecast import Figure

from . import words

if TYPE_CHECKING:
    from .picture import Look

#: Columns of one item in the list; as many stand side by side as there is room for.
CELL = 38
_VERDICTS: dict[Verdict, str] = {
    "expected": "as expected",
    "higher": "higher than expected",
    "lower": "lower than expected",
    "unmoved": "as if not turned",
    "wrong-way": "as if turned the other way",
}
_SHORT: dict[Verdict, str] = {"expected": "", "higher": "high", "lower": "low", "unmoved": "same", "wrong-way": "way?"}
AFTERWARDS = (
    "Now stress-relieve the spokes, then pluck the whole wheel once more: sound does not hear a wound-up spoke, and each "
    "turn moved its neighbours."
)

WAITS = "What is not done waits: the same command with --resume goes on with it."


def figure_words(figure: Figure | None) -> str:
    """``1040 +/- 40 N``; empty where nothing is expected."""
    if figure is None:
        return ""
    number, half = pair(figure.value, figure.u)
    return f"{number} +/- {half} N"


def past_words(item: Item) -> str:
    """What to do against wind-up; empty where nothing is."""
    past = item.turn.past_turns
    return f"go {fraction(past)} past and come back {fraction(past)}" if past else ""


def next_line(item: Item) -> str:
    """What to do next, in one line."""
    parts = [instruction(item.turn), past_words(item)]
    expected = figure_words(item.expected)
    parts.append(
        f"then pluck it: {expected} expected, {figure_words(item.before)} now" if expected else "then pluck it"
    )
    return f"turn {'; '.join(part for part in parts if part)}"


def ticked_words(item: Item) -> str:
    """What was heard against what was expected: ``expected 1040 +/- 40 N: as expected``."""
    if item.verdict is None:
        return "ticked off"
    return f"expected {figure_words(item.expected)}: {_VERDICTS[item.verdict]}"


def count_words(items: Sequence[Item]) -> str:
    """``3 of 14 turns``."""
    return f"{sum(each.heard is not None for each in items)} of {len(items)} turns"


def summary_lines(items: Sequence[Item], units: Units) -> Iterator[str]:
    """All of the plan as it was done, one line a turn, and what comes now."""
    yield f"{count_words(items)} done"
    for item in items:
        heard = "not done" if item.heard is None else f"{words.number_words(item.heard)}; {ticked_words(item)}"
        yield in_words(f"{instruction(item.turn)}: {heard}", units)
    yield AFTERWARDS if all(each.heard for each in items) else WAITS


def beside(item: Item, look: Look) -> tuple[str, ...]:
    """What stands beside the large label of the awaited spoke: the turn, its sense, wind-up, place, what to expect."""
    what, _, sense = instruction(item.turn).partition(": ")[2].partition(" (")
    expected = figure_words(item.expected)
    told = f"then {expected}, now {figure_words(item.before)}" if expected else "then pluck it"
    lines = (what, sense.rstrip(")"), past_words(item), words.where(item.turn.spoke), told)
    return tuple(look.glyphs.words(in_words(each, look.units)) for each in lines)


def list_lines(items: Sequence[Item], now: int | None, rows: int, look: Look) -> list[Text]:
    """The turns in their order, in as many columns as fit, with the awaited one in sight."""
    across = max(1, (look.width - 1) // CELL)
    heading = f"{'':2}{'spoke':<6}{'turn':>7}{'expected':>9}{'heard':>7}"
    height = max(1, rows - 1)
    at = next((index for index, each in enumerate(items) if each.heard is None and each.turn.spoke == now), 0)
    page = at // (height * across) * height * across
    shown = items[page : page + height * across]
    down = min(height, -(-len(shown) // across))
    columns = -(-len(shown) // down) if down else 1
    found = [Text(f" {''.join(f'{heading:<{CELL}}' for _ in range(columns))}".rstrip(), look.palette.quiet)]
    for row in range(down):
        line = Text(" ")
        for index in range(row, len(shown), down):
            item = shown[index]
            cell, style = _cell(item, page + index == at and item.heard is None, look)
            line.append(f"{cell:<{CELL}}", style)
        line.rstrip()
        found.append(line)
    return found


def _cell(item: Item, is_now: bool, look: Look) -> tuple[str, str]:
    """One turn in the list: mark, spoke, turn, tensions, and a word where what was heard is not as expected."""
    palette, glyphs = look.palette, look.glyphs
    verdict = item.verdict
    mark = ">" if is_now else glyphs.dot if item.heard is None else "x" if verdict in ("expected", None) else "!"
    style = palette.strong if is_now else palette.quiet if item.heard is None else palette.out if mark == "!" else ""
    scale = NEWTONS[look.units]
    expected = "" if item.expected is None else f"{item.expected.value / scale:.0f}"
    heard = "" if item.heard is None else _short(item, scale)
    sign = "+" if item.turn.turns > 0 else "-"
    word = _SHORT[verdict] if verdict else ""
    return (
        f"{mark} {item.turn.label:<6}{sign + fraction(item.turn.turns):>7}{expected:>9}{heard:>7} {word}".rstrip(),
        style,
    )


def _short(item: Item, scale: float) -> str:
    assert item.heard is not None
    return f"{item.heard.pitch_hz:.0f}Hz" if item.heard.tension_n is None else f"{item.heard.tension_n / scale:.0f}"
