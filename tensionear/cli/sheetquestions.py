"""The questions of ``tensionear sheet``: one key a choice, an empty answer skips. Imports typer; wheel for types only."""

from __future__ import annotations

from collections.abc import Callable
from typing import TYPE_CHECKING, Any

import typer

if TYPE_CHECKING:
    from tensionear.wheel.model import Wheel

#: Quick keys and what they stand for.
TYRE = {"n": "none", "m": "mounted", "i": "inflated"}
HELD = {"f": "free", "b": "bike"}
AGE = {"n": "new", "r": "relieved", "u": "ridden"}
MM_LIMITS = (-50.0, 50.0)
END = "q"


class _EnoughError(Exception):
    """The user has typed q."""


def ask_sheet(wheel: Wheel) -> dict[str, Any]:
    """The answers as the keys of a sheet file."""
    typer.echo(f"{wheel.name}. Enter skips a question, {END} skips the rest. Lengths in mm, right and outward are +.\n")
    told: dict[str, Any] = {}
    try:
        _ask_state(told)
        _ask_runout(told, wheel)
        _ask_dish(told)
        if any(place.spoke.is_flat for place in wheel.places):
            _ask_twist(told, wheel)
        for key, text, high in (
            ("mass_g", "Mass of the wheel, g", 50_000.0),
            ("rim_width_outer_mm", "Rim width over all", 200.0),
            ("rim_width_inner_mm", "Rim width between the hooks", 200.0),
        ):
            value = _number(text, 0.1, high)
            if value is not None:
                told[key] = value
        notes = _line("Notes")
        if notes:
            told["notes"] = notes
    except _EnoughError:
        pass
    return told


def _ask_state(told: dict[str, Any]) -> None:
    """How the wheel stands."""
    state: dict[str, Any] = {}
    tyre = _choice("Tyre: n none, m mounted, i inflated", TYRE)
    if tyre:
        state["tyre"] = tyre
        told["state"] = state
    if tyre == "inflated":
        _put(state, "pressure_kpa", _number("Its pressure, kPa (1 bar is 100)", 20, 2000))
    for key, text, keys in (
        ("held", "Wheel: f hangs free, b in the bike", HELD),
        ("age", "Spokes: n new, r stress-relieved, u used", AGE),
    ):
        answer = _choice(text, keys)
        if answer:
            state[key] = answer
            told["state"] = state
    _put(state, "temperature_c", _number("Temperature, degrees C", -40, 60))
    if _choice("Has it been in a crash? y n", {"y": "yes", "n": "no"}) == "yes":
        state["crash"] = True
    if state:
        told["state"] = state


def _ask_runout(told: dict[str, Any], wheel: Wheel) -> None:
    """Run-out, as a range over one turn or at single spokes."""
    for key, text in (("lateral", "Run-out sideways"), ("radial", "Run-out of round")):
        way = _choice(f"{text}: r range over one turn, s spoke by spoke", {"r": "range", "s": "spokes"})
        if way == "range":
            _put(told, f"{key}_range_mm", _number("  peak to peak", 0, 50))
        elif way == "spokes":
            _spoke_by_spoke(told, wheel, f"{key}_mm", lambda number: f"  spoke {number}", MM_LIMITS)


def _ask_dish(told: dict[str, Any]) -> None:
    """Dish, as the offset or as a flip-over gauge shows it."""
    way = _choice("Dish: o offset of the rim, f flip-over reading (twice the offset)", {"o": "offset", "f": "flip"})
    if way:
        value = _number("  + where the rim stands to the right", *MM_LIMITS)
        if value is not None:
            told["dish_mm"] = value / 2 if way == "flip" else value


def _ask_twist(told: dict[str, Any], wheel: Wheel) -> None:
    """Twist of flat spokes."""
    if _choice("Twist of flat spokes: s spoke by spoke", {"s": "spokes"}):
        flat = {place.number for place in wheel.places if place.spoke.is_flat}
        _spoke_by_spoke(told, wheel, "twist_deg", lambda number: f"  spoke {number}, degrees", (-180.0, 180.0), flat)


def _spoke_by_spoke(
    told: dict[str, Any],
    wheel: Wheel,
    key: str,
    text: Callable[[int], str],
    limits: tuple[float, float],
    only: set[int] | None = None,
) -> None:
    """A number for each spoke that is given one; ``q`` ends this list."""
    for place in wheel.places:
        if only is not None and place.number not in only:
            continue
        try:
            value = _number(text(place.number), *limits)
        except _EnoughError:
            return
        if value is not None:
            told.setdefault("spoke", {}).setdefault(str(place.number), {})[key] = value


def _put(table: dict[str, Any], key: str, value: float | None) -> None:
    if value is not None:
        table[key] = value


def _line(text: str) -> str:
    answer = str(typer.prompt(text, default="", show_default=False)).strip()
    if answer.lower() == END:
        raise _EnoughError
    return answer


def _choice(text: str, keys: dict[str, str]) -> str | None:
    """One of the quick keys, or the word it stands for; None for an empty answer."""
    while True:
        answer = _line(text).lower()
        if not answer:
            return None
        if answer in keys:
            return keys[answer]
        if answer in keys.values():
            return answer
        typer.echo(f"  {answer!r} is none of {', '.join(keys)}; Enter skips")


def _number(text: str, low: float, high: float) -> float | None:
    """A number within limits, with a decimal point or comma; None for an empty answer."""
    while True:
        answer = _line(text)
        if not answer:
            return None
        try:
            value = float(answer.replace(",", "."))
        except ValueError:
            typer.echo(f"  {answer!r} is no number; Enter skips")
            continue
        if low <= value <= high:
            return value
        typer.echo(f"  {value:g} given; allowed: {low:g} to {high:g}")
