"""A turn plan as one self-contained page to print and tick off at the stand. Imports the dashboard's words for a plan.

No script, no link, nothing fetched; every text that a user wrote is escaped by the template.
"""

from __future__ import annotations

from tensionear.dashboard.turns import AFTERWARDS, cautions, expectations, highest, instruction, summary, told
from tensionear.reading import Units
from tensionear.units import NEWTONS, in_words
from tensionear.wheel.turnplan import Turn, TurnPlan

from .templates import template


def turn_page(plan: TurnPlan, units: Units = "N") -> str:
    """The plan as an HTML page: cautions before the first turn, the turns in their order with a box each, what to expect.

    ``units`` is what people are shown; the plan is in newtons.
    """
    return template("tensionear.records", "turns.html").render(
        name=plan.title,
        summary=summary(plan),
        cautions=list(cautions(plan)) if plan.turns else [],
        rows=[_row(plan, turn, units) for turn in plan.turns],
        known=any(figure is not None for figure in plan.predicted.tension_n.values()),
        unit=units,
        expected=[tuple(map(_signed, row)) for row in expectations(plan)],
        highest=highest(plan, units) if plan.turns and plan.highest_n is not None else "",
        notes=[in_words(note, units) for note in plan.notes],
        afterwards=AFTERWARDS if plan.turns else "",
    )


def _row(plan: TurnPlan, turn: Turn, units: Units) -> tuple[str, str, str, str]:
    """Label, how far and which way, the sense, and what the spoke should hold once all turns are done."""
    what, _, sense = instruction(turn).partition(" (")
    figure = plan.predicted.tension_n[turn.spoke]
    then = "" if figure is None else _signed(told(figure, NEWTONS[units]))
    return turn.label, what.partition(": ")[2], sense.partition(",")[0], then


def _signed(text: str) -> str:
    return text.replace("+/-", "±")
