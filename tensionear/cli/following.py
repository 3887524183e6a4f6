"""A turn plan to follow live: one that was kept, or one made now from a reading. Imports errors; the rest when it runs."""

from __future__ import annotations

import json
from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

from tensionear.errors import InputError, UsageError

from .earlier import LAST, Wanted, last_round
from .planreadings import Asked, given_of
from .read import table_text

if TYPE_CHECKING:
    from tensionear.live.checklist import Checklist, Item
    from tensionear.reading import Units
    from tensionear.wheel.model import Wheel

NOTE = "turn plan"


@dataclass(frozen=True, slots=True)
class Pass:
    """A turn plan to follow, and the tensions (N, by spoke) it was made from."""

    checklist: Checklist
    tensions_n: Mapping[int, float]


def pass_of(given: str, log: str | None, wheel: Wheel) -> Pass:
    """The turn plan in a file that ``tensionear plan`` wrote; else one made now from the reading that is named.

    Raises
    ------
    UsageError, InputError, LogError
        If it is no plan of this wheel, there is nothing to turn, or what is named cannot be used.
    """
    from tensionear.live.checklist import Checklist, Expecting, walks_of
    from tensionear.wheel.kept import kept_pass
    from tensionear.wheel.turnplan import Turn

    document = _kept(given)
    if document is None:
        document = _made(given, log, wheel)
    done = kept_pass(document, given)
    if done.wheel != wheel.name:
        raise InputError(f"{given} is a plan of {done.wheel!r}, not of {wheel.name!r}; give the plan of this wheel")
    try:
        turns = tuple(
            Turn(int(each["spoke"]), str(each["label"]), float(each["turns"]), float(each["past_turns"]))
            for each in document["turns"]
        )
    except (KeyError, TypeError, ValueError):
        raise InputError(f"{given} is no plan; give what tensionear plan --keep wrote") from None
    if not turns:
        raise UsageError(f"nothing to turn: the plan from {given} has no turns; listen without --plan")
    strange = [turn.spoke for turn in turns if not 1 <= turn.spoke <= wheel.spokes]
    if strange:
        raise InputError(
            f"{given} turns spoke {strange[0]}, the wheel has 1 to {wheel.spokes}; give the plan of this wheel"
        )
    expecting = Expecting(wheel, done.before, done.rim)
    return Pass(Checklist(expecting, walks_of(turns)), done.before.tensions_n)


def show_pass(
    items: tuple[Item, ...], document: dict[str, Any] | None, units: Units, write: Callable[[str], None]
) -> None:
    """End with what was turned and heard: as JSON where there is a document, else in lines."""
    from tensionear.dashboard.live.checkpicture import summary_lines

    if document is not None:
        write(json.dumps(document, indent=1, allow_nan=False))
        return
    write("")
    for line in summary_lines(items, units):
        write(line)


def _kept(given: str) -> dict[str, Any] | None:
    """The plan in a JSON file; None if what is named is something else."""
    from tensionear.wheel.kept import FORMAT

    if not Path(given).is_file():
        return None
    text = table_text(given)
    try:
        document = json.loads(text) if text.lstrip().startswith("{") else {}
    except ValueError:
        raise InputError(f"{given} is no JSON file; give what tensionear plan --keep wrote") from None
    return document if document.get("format") == FORMAT else None


def _made(given: str, log: str | None, wheel: Wheel) -> dict[str, Any]:
    """A plan made now, as its document."""
    from tensionear.wheel.plan import plan_turns
    from tensionear.wheel.planoptions import PlanOptions

    named = str(last_round(Wanted(LAST, log, wheel.name, wheel.spokes))) if given == LAST else given
    found = given_of(Asked(named, None, None, log), wheel)
    read = found.readings
    options = PlanOptions(u_tensions_n=read.u_tensions_n, seized=found.left)
    made = plan_turns(wheel, read.tensions_n, read.lateral_m, read.radial_m, read.dish_m, options)
    return replace(made, notes=(*found.notes, *made.notes)).to_dict()
