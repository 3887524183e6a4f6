"""A turn plan as a walk round the wheel: cautions, turns, what to expect. Imports wheel.plan, units and its siblings only.

The plan is in newtons; ``units`` is what people are shown.
"""

from __future__ import annotations

import textwrap
from collections.abc import Iterator
from fractions import Fraction

from rich.console import Console
from rich.table import Table
from rich.text import Text

from tensionear.physics.rounding import rounded
from tensionear.reading import Units
from tensionear.units import NEWTONS, in_words
from tensionear.wheel.forecast import Figure
from tensionear.wheel.turnplan import Turn, TurnPlan

from .glyphs import Glyphs, glyphs_for
from .palette import Palette, palette_for
from .states import COVERAGE, SIDE_WORDS

#: From this width on the turns are drawn too, and the expected tensions stand in columns of this width.
DRAWN_FROM = 80
CELL = 15
#: Characters each way from the middle line for one turn; more than one turn is cut there.
ONE_TURN = 8
MM = 1e-3

#: Common practice, no source.
CAUTIONS = (
    "Wear glasses: a spoke may break and fly. Let the pressure out of the tyre, or take it off.",
    "Keep to the limits of the makers of rim, spokes, nipples and hub. A spoke that creaks, a nipple that sticks or a "
    "rim that is cracked or dented ends the pass: leave it, and let a qualified wheel builder look at it.",
    "Hold flat spokes beside the nipple while it turns.",
    "Sound does not hear a wound-up spoke: after the pass stress-relieve the spokes and measure again before you ride.",
)
AFTERWARDS = (
    "Then read tensions and run-out again. Keep this plan (--keep FILE) and give it with the new readings "
    "(--after FILE): they teach how stiff this rim is, and the next pass lands closer."
)


def draw_plan(plan: TurnPlan, console: Console, units: Units = "N") -> None:
    """Draw a plan: cautions, turns in their order, what to expect, notes, what comes afterwards."""
    glyphs, palette = glyphs_for(console.encoding), palette_for(console)
    console.print()
    if plan.turns:
        for caution in cautions(plan):
            console.print(_barred(caution, glyphs, palette.out, palette, console.width))
        console.print()
    console.print(_title(plan, glyphs, palette, console.width))
    console.print()
    if plan.turns:
        for turn in plan.turns:
            console.print(_row(turn, glyphs, palette, console.width))
        console.print()
    console.print(_expected(plan, glyphs, palette))
    if plan.highest_n is not None and plan.turns:
        console.print(Text(highest(plan, units), style=palette.quiet))
    console.print()
    for line in _tensions(plan, units, glyphs, palette, console.width):
        console.print(line)
    for note in plan.notes:
        console.print(_wrapped(in_words(note, units), glyphs, palette, console.width))
    if plan.turns:
        console.print(_barred(AFTERWARDS, glyphs, palette.within, palette, console.width))


def plan_lines(plan: TurnPlan, units: Units = "N") -> Iterator[str]:
    """The same as plain lines, one finished fact a line."""
    if plan.turns:
        yield from (f"CAUTION: {caution}" for caution in cautions(plan))
    yield f"{plan.title}: {summary(plan)}."
    for turn in plan.turns:
        yield instruction(turn)
    for what, before, after in expectations(plan):
        yield f"Expect {what}: {after}, {before} now."
    if plan.highest_n is not None and plan.turns:
        yield f"Expect {highest(plan, units)}."
    for spoke, figure in plan.predicted.tension_n.items():
        if figure is not None:
            yield f"Expect {plan.labels[spoke]} (spoke {spoke}): {told(figure, NEWTONS[units])} {units}."
    yield from (f"Note: {in_words(note, units).rstrip('.')}." for note in plan.notes)
    if plan.turns:
        yield f"Afterwards: {AFTERWARDS}"


def instruction(turn: Turn) -> str:
    """``R7: 1/4 tighter (clockwise, seen from the tyre side)``."""
    way, sense = ("tighter", "clockwise") if turn.turns > 0 else ("looser", "counterclockwise")
    return f"{turn.label}: {fraction(turn.turns)} {way} ({sense}, seen from the tyre side)"


def fraction(turns: float) -> str:
    """A size of turn as people say it: ``1/4``, ``1``, ``1 3/8``."""
    size = Fraction(abs(turns)).limit_denominator(32)
    whole, rest = divmod(size, 1)
    if not rest:
        return str(whole)
    return f"{whole} {rest}" if whole else str(rest)


def summary(plan: TurnPlan) -> str:
    """How much work it is, in a few words."""
    turned = plan.turned()
    if not turned:
        return "nothing to turn: no pass of this step makes the wheel better"
    whole = sum(map(abs, turned.values()))
    laps = 1 + sum(later.spoke <= earlier.spoke for earlier, later in zip(plan.turns, plan.turns[1:], strict=False))
    walk = "one walk round from the valve" if laps == 1 else f"{laps} walks round from the valve"
    asked = "" if plan.quality is not None else ", as asked"
    return f"{len(turned)} of {len(plan.labels)} nipples{asked}, {whole:.3g} turns together, {walk}"


def cautions(plan: TurnPlan) -> Iterator[str]:
    """What is said before the first turn: the cautions, and how far to go past and come back against wind-up."""
    yield from CAUTIONS
    yield from wind_up_lines(plan)


def wind_up_lines(plan: TurnPlan) -> Iterator[str]:
    """How far to go past and come back, by side where the spokes of a side are alike."""
    past: dict[float, list[str]] = {}
    for turn in plan.turns:
        labels = past.setdefault(turn.past_turns, [])
        if turn.label not in labels:
            labels.append(turn.label)
    for size, labels in sorted(past.items(), reverse=True):
        if size:
            yield f"Against wind-up go {fraction(size)} past and come back {fraction(size)}: {_whom(plan, size, labels)}."


def _whom(plan: TurnPlan, size: float, labels: list[str]) -> str:
    """The spokes of one wind-up: all, a side, or by name."""
    if all(turn.past_turns == size for turn in plan.turns):
        return "every nipple"
    for side, numbers in plan.sides.items():
        mine = {plan.labels[number] for number in numbers}
        if set(labels) == {turn.label for turn in plan.turns if turn.label in mine}:
            return f"every nipple of the {SIDE_WORDS[side]}"
    return ", ".join(labels)


def expectations(plan: TurnPlan) -> Iterator[tuple[str, str, str]]:
    """What is expected: name, now and afterwards, each with its 95 % interval; only what the readings tell."""
    now, then = plan.present, plan.predicted
    for side, figure in then.spread_percent.items():
        before = now.spread_percent[side]
        if figure is not None and before is not None:
            yield f"spread of the {SIDE_WORDS[side]}", f"{told(before, 1.0)} %", f"{told(figure, 1.0)} %"
    for name, before, figure in (
        ("lateral run-out", now.lateral_m, then.lateral_m),
        ("radial run-out", now.radial_m, then.radial_m),
        ("dish", now.dish_m, then.dish_m),
    ):
        if figure is not None and before is not None:
            yield name, f"{told(before, MM)} mm", f"{told(figure, MM)} mm"


def highest(plan: TurnPlan, units: Units = "N") -> str:
    """The highest tension on the way, beside the maximum."""
    limit = "no maximum is stated" if plan.max_tension_n is None else f"the maximum is {plan.max_tension_n:.0f} N"
    return in_words(f"{plan.highest_n:.0f} N at most in any spoke on the way; {limit}", units)


def told(figure: Figure, unit: float) -> str:
    """A figure with half its 95 % interval, rounded together."""
    value, half = rounded(figure.value / unit, max(COVERAGE * figure.u / unit, 1e-6))
    return f"{value} +/- {half}"


def _title(plan: TurnPlan, glyphs: Glyphs, palette: Palette, width: int) -> Text:
    """Name and amount of work over a rule."""
    title = Text(plan.title, style=palette.strong)
    more = summary(plan)
    gap = width - title.cell_len - len(more)
    lines = [more] if gap > 1 else textwrap.wrap(more, width)
    title.append(" " * gap if gap > 1 else "\n")
    title.append("\n".join(lines), style=palette.quiet)
    title.append("\n")
    title.append(glyphs.rule * width, style=palette.line)
    return title


def _row(turn: Turn, glyphs: Glyphs, palette: Palette, width: int) -> Text:
    """One instruction; where there is room, behind a bar that leans left to loosen and right to tighten."""
    row = Text()
    if width >= DRAWN_FROM:
        size = min(max(round(abs(turn.turns) * ONE_TURN), 1), ONE_TURN)
        bar = glyphs.bars[-1] * size
        left, right = (bar, "") if turn.turns < 0 else ("", bar)
        style = palette.out if turn.turns < 0 else palette.within
        row.append(f"{left:>{ONE_TURN}}", style=style)
        row.append(glyphs.stem, style=palette.line)
        row.append(f"{right:<{ONE_TURN}} ", style=style)
    what, _, sense = instruction(turn).partition(" (")
    row.append(what, style=palette.strong)
    row.append(f" ({sense}", style=palette.quiet)
    return row


def _expected(plan: TurnPlan, glyphs: Glyphs, palette: Palette) -> Table:
    """Now and afterwards."""
    table = Table(box=None, pad_edge=False, padding=(0, 2, 0, 0), header_style=palette.quiet)
    table.add_column("what to expect" if plan.turns else "as it stands")
    table.add_column("now", justify="right")
    if plan.turns:
        table.add_column("afterwards", justify="right")
    for what, before, after in expectations(plan):
        cells = (before, after) if plan.turns else (before,)
        table.add_row(Text(what), *(Text(glyphs.words(cell)) for cell in cells))
    return table


def _tensions(plan: TurnPlan, units: Units, glyphs: Glyphs, palette: Palette, width: int) -> Iterator[Text]:
    """The expected tension of each spoke in columns, one block a side."""
    across = max(width // CELL, 1)
    for side, numbers in plan.sides.items():
        cells = [(plan.labels[one], figure) for one in numbers if (figure := plan.predicted.tension_n[one]) is not None]
        if not cells:
            continue
        yield Text(f"{SIDE_WORDS[side]}, {units} {glyphs.plus_minus} 95 %", style=palette.quiet)
        for start in range(0, len(cells), across):
            line = Text()
            for label, figure in cells[start : start + across]:
                text = glyphs.words(told(figure, NEWTONS[units])).replace(" ", "")
                line.append(f"{label:<4}", style=palette.strong)
                line.append(f"{text:<{CELL - 4}}")
            line.rstrip()
            yield line
        yield Text("")


def _wrapped(text: str, glyphs: Glyphs, palette: Palette, width: int) -> Text:
    """A note whose further lines stand under its first word."""
    shown = Text(f"{glyphs.dot} ", style=palette.quiet)
    shown.append("\n  ".join(textwrap.wrap(text, width - 2)), style="not dim")
    return shown


def _barred(text: str, glyphs: Glyphs, bar_style: str, palette: Palette, width: int) -> Text:
    """A text behind a bar at its left, on every line of it."""
    shown = Text()
    for number, line in enumerate(textwrap.wrap(text, width - 2, break_on_hyphens=False)):
        shown.append("\n" if number else "")
        shown.append(f"{glyphs.alarm} ", style=bar_style)
        shown.append(line, style=palette.strong)
    return shown
