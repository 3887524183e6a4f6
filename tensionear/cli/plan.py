"""``tensionear plan``: which nipples to turn, how far, in what order. Imports errors; all that is heavy when it runs."""

from __future__ import annotations

import json
import re
import sys
from dataclasses import replace
from fractions import Fraction
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from tensionear.errors import InputError, UsageError
from tensionear.texts import json_from

from .planreadings import Asked, given_of
from .read import table_text
from .show import Form, shown_units

if TYPE_CHECKING:
    from tensionear.reading import Units
    from tensionear.wheel.kept import KeptPass
    from tensionear.wheel.learning import RimKnowledge
    from tensionear.wheel.model import Wheel
    from tensionear.wheel.stand import Readings
    from tensionear.wheel.turnplan import TurnPlan

TURN = re.compile(r"^\s*(?P<spoke>[RLrl]?\d+)\s*=\s*(?P<size>[^=]+)$")


def plan(
    wheel: Annotated[str, typer.Argument(metavar="WHEEL", help="The wheel file (TOML).")],
    tensions: Annotated[
        str | None,
        typer.Option(metavar="FILE|ROUND", help="A reading (JSON), a round of the log, or CSV: spoke,tension_n."),
    ] = None,
    runout: Annotated[
        str | None, typer.Option(metavar="FILE", help="CSV: spoke,lateral_mm,radial_mm at any spokes; or a sheet.")
    ] = None,
    dish: Annotated[
        float | None, typer.Option(metavar="MM", help="Offset of the rim, + to the right; else the mean of lateral_mm.")
    ] = None,
    turn: Annotated[
        list[str] | None, typer.Option(metavar="N=+1/4", help="What would this turn do? May be repeated.")
    ] = None,
    step: Annotated[str, typer.Option(metavar="TURN", help="Smallest turn, such as 1/8 or 1/16.")] = "1/8",
    most: Annotated[str, typer.Option(metavar="TURN", help="Farthest a nipple goes in this pass.")] = "1",
    leave: Annotated[
        list[str] | None, typer.Option(metavar="N", help="A seized nipple, such as R7 or 13; may be repeated.")
    ] = None,
    joint: Annotated[
        str | None, typer.Option(metavar="N", help="The spoke at the rim's joint: latitude there.")
    ] = None,
    hidden: Annotated[bool, typer.Option("--hidden", help="Nipples inside the rim: touch few of them.")] = False,
    after: Annotated[
        str | None, typer.Option(metavar="FILE", help="The kept plan of the pass just done: learns this rim.")
    ] = None,
    rim: Annotated[
        str | None, typer.Option(metavar="FILE", help="A kept plan of this wheel: what it knew of the rim counts.")
    ] = None,
    log: Annotated[
        str | None, typer.Option(metavar="FILE", help="The log a ROUND is in; the usual one unless given.")
    ] = None,
    keep: Annotated[str | None, typer.Option(metavar="FILE", help="Keep this plan (JSON) for --after.")] = None,
    page: Annotated[
        str | None, typer.Option(metavar="FILE", help="Write a page to print too (HTML), a box to tick a turn.")
    ] = None,
    as_json: Annotated[bool, typer.Option("--json", help="JSON, and nothing else.")] = False,
    plain: Annotated[bool, typer.Option("--plain", help="Plain lines for pipes and screen readers.")] = False,
) -> None:
    """Which nipples to turn, how far, in what order, and what to expect of it."""
    from tensionear.loading import load_wheel
    from tensionear.wheel.plan import expect_turns, plan_turns
    from tensionear.wheel.planoptions import PlanOptions

    described = load_wheel(wheel)
    if tensions is None and runout is None and dish is None:
        raise InputError(
            "no readings given; give --tensions with the JSON of a reading, a round's number or a CSV table "
            "(spoke,tension_n), --runout CSV (spoke,lateral_mm,radial_mm), or both"
        )
    given = given_of(Asked(tensions, runout, dish, log), described)
    read = given.readings
    options = PlanOptions(
        step_turns=_turns(step, "--step"),
        most_turns=_turns(most, "--most"),
        seized=given.left | {_number(each, described, "--leave") for each in leave or ()},
        joint=None if joint is None else _number(joint, described, "--joint"),
        hidden_nipples=hidden,
        u_tensions_n=read.u_tensions_n,
        rim=_known_rim(described, read, after, rim),
    )
    if turn:
        found = expect_turns(described, _asked(turn, described), read, options)
    else:
        found = plan_turns(described, read.tensions_n, read.lateral_m, read.radial_m, read.dish_m, options)
    found = replace(found, notes=(*given.notes, *found.notes))
    if keep is not None:
        _keep(found, keep)
    if page is not None:
        from tensionear.records.files import write_whole
        from tensionear.records.turnpage import turn_page

        write_whole(Path(page), turn_page(found, shown_units(described.units)).encode())
    _show(found, "json" if as_json else "plain" if plain else "picture", described.units)


def _show(found: TurnPlan, form: Form, stated: Units) -> None:
    """Put a plan out as picture or plain lines, in the units set or stated in the wheel file, or as JSON in newtons."""
    if form == "json":
        sys.stdout.write(f"{json.dumps(found.to_dict(), indent=1, allow_nan=False)}\n")
        return
    from tensionear.dashboard.turns import draw_plan, plan_lines
    from tensionear.dashboard.view import NARROWEST, terminal

    units, console = shown_units(stated), terminal()
    if form == "plain" or console.width < NARROWEST:
        for line in plan_lines(found, units):
            sys.stdout.write(f"{line}\n")
    else:
        draw_plan(found, console, units)


def _known_rim(wheel: Wheel, read: Readings, after: str | None, rim: str | None) -> RimKnowledge | None:
    """What is known of the rim from earlier passes: after one more, or as a kept plan has it; None without either."""
    from tensionear.wheel.plan import learn_rim

    if after is not None and rim is not None:
        raise UsageError(
            "--after and --rim are both given; --after FILE knows that plan's rim too, so give one of them"
        )
    if after is not None:
        done = _kept(wheel, after)
        return learn_rim(wheel, done.before, read, done.turns, done.rim)
    return None if rim is None else _kept(wheel, rim).rim


def _kept(wheel: Wheel, path: str) -> KeptPass:
    """The plan of this wheel kept at ``path``."""
    from tensionear.wheel.kept import kept_pass

    try:
        document = json_from(table_text(path))
    except ValueError:
        raise InputError(f"{path} is no JSON file; give the file that --keep wrote") from None
    done = kept_pass(document, path)
    if done.wheel != wheel.name:
        raise InputError(f"{path} is a plan of {done.wheel!r}, not of {wheel.name!r}; give the plan of this wheel")
    return done


def _asked(given: list[str], wheel: Wheel) -> dict[int, float]:
    """``--turn`` options as turns by spoke number."""
    found: dict[int, float] = {}
    for text in given:
        parts = TURN.match(text)
        if parts is None:
            raise UsageError(f"--turn {text} is not N=+1/4; give a spoke and a turn, such as R7=+1/4 or 13=-1/8")
        name = parts["spoke"].upper()
        number = _number(name, wheel, f"--turn {text}:")
        if number in found:
            raise UsageError(f"--turn gives spoke {name} twice; keep one of them")
        found[number] = _turns(parts["size"], f"--turn {name}")
    return found


def _number(name: str, wheel: Wheel, what: str) -> int:
    """The number of a spoke given by number or label, ``13`` or ``R7``."""
    plain = name.strip().upper()
    numbers = {place.label: place.number for place in wheel.places}
    number = int(plain) if plain.isdecimal() else numbers.get(plain)
    if number is None or not 1 <= number <= wheel.spokes:
        raise UsageError(f"{what} there is no spoke {plain}; the wheel has {_range(wheel)}")
    return number


def _range(wheel: Wheel) -> str:
    """The names its spokes have."""
    ends = [(side.numbers[0], side.numbers[-1]) for side in wheel.sides.values()]
    labels = [f"{wheel.place(first).label} to {wheel.place(last).label}" for first, last in ends]
    return f"1 to {wheel.spokes}, {', '.join(labels)}"


def _turns(text: str, what: str) -> float:
    """A size of turn: ``1/8``, ``+1/4``, ``-0.25``."""
    try:
        return float(Fraction(text.strip()))
    except (ValueError, ZeroDivisionError, OverflowError):
        raise UsageError(
            f"{what} {text} is no size of turn; give a fraction or a number, such as 1/8 or 0.25"
        ) from None


def _keep(found: TurnPlan, path: str) -> None:
    """Write a plan's JSON."""
    try:
        Path(path).write_text(f"{json.dumps(found.to_dict(), indent=1, allow_nan=False)}\n", "utf-8")
    except (OSError, ValueError) as error:
        reason = getattr(error, "strerror", None) or str(error)
        raise InputError(f"{path} cannot be written ({reason}); check the name and the folder") from None
