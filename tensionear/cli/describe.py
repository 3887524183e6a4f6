"""``tensionear describe``: asks for a wheel and writes its file, or shows what follows. Imports loading and wheel."""

from __future__ import annotations

import math
import os
import tempfile
from collections.abc import Iterator
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from tensionear.catalogue import nearest, rim_classes, spoke_ids
from tensionear.errors import InputError, UsageError
from tensionear.loading import load_wheel

from .show import shown_units

if TYPE_CHECKING:
    from tensionear.wheel.geometry import Side
    from tensionear.wheel.model import Wheel

#: Pitch is told at this tension where the wheel file states no target.
USUAL_N = 1000.0


def describe(
    file: Annotated[Path, typer.Argument(metavar="FILE", help="The wheel file (TOML) to write or to show.")],
    show: Annotated[bool, typer.Option("--show", help="Show what follows from the file; write nothing.")] = False,
    force: Annotated[bool, typer.Option("--force", help="Replace FILE if it exists.")] = False,
) -> None:
    """Ask for a wheel and write its file."""
    if show:
        _tell(load_wheel(file))
        return
    if file.is_dir():
        raise InputError(f"{file}: is a directory; name a file to write")
    if file.exists() and not force:
        raise UsageError(f"{file}: exists already; give --force to replace it, --show to look at it, or another name")
    if not file.parent.is_dir():
        raise InputError(f"{file}: there is no folder {file.parent}; make it first or name another")
    try:
        answers = ask_wheel()
    except typer.Abort:
        raise UsageError("the questions were not answered to the end; nothing was written") from None
    write_wheel(file, answers)
    typer.echo(f"{file} written.\n")
    _tell(load_wheel(file))


def ask_wheel() -> dict[str, Any]:
    """The answers, as the tables of a wheel file."""
    typer.echo("An empty answer takes what is in [brackets], or leaves the key out.")
    typer.echo("Right is the rider's right. Spoke 1 is the first clockwise from the valve hole, seen from the right.\n")
    name = _ask(("name",), "A name for the wheel", needed=True)
    spokes = _ask(("lacing", "spokes"), "How many spokes", needed=True)
    sides = _ask_sides(spokes)
    rim: dict[str, Any] = {
        "seat_diameter_mm": _ask(("rim", "seat_diameter_mm"), "Rim: diameter across the nipple seats, mm"),
        "seat_offset_mm": _ask(("rim", "seat_offset_mm"), "Rim: spoke bed off the middle, mm, + to the right"),
        "stiffness": _ask_name(("rim", "stiffness"), "Rim: class", rim_classes(), needed=False),
        "max_tension_n": _ask(("rim", "max_tension_n"), "Rim: the maker's highest spoke tension, N"),
    }
    answers: dict[str, Any] = {
        "format": 1,
        "name": name,
        "lacing": {"spokes": spokes, "sides": sides},
        "rim": rim,
    }
    before: dict[str, Any] = {}
    for side in ("right", "left"):
        if side[0].upper() in sides:
            typer.echo("")
            before = answers[side] = _ask_side(side, before, computable=rim["seat_diameter_mm"] is not None)
    answers["state"] = {"tyre": _ask(("state", "tyre"), "Tyre when plucked: none, mounted, inflated", "none")}
    return answers


def write_wheel(file: Path, answers: dict[str, Any]) -> None:
    """Write the wheel file whole or not at all; WheelFileError, with nothing written, if the answers contradict."""
    from tensionear.wheel.wheelfile import parse_wheel
    from tensionear.wheel.writer import wheel_toml

    text = wheel_toml(answers)
    parse_wheel(text, os.fspath(file))
    try:
        handle, half = tempfile.mkstemp(dir=file.parent, prefix=f".{file.name[:40]}.", suffix=".part")
        try:
            with os.fdopen(handle, "w", encoding="utf-8", newline="\n") as stream:
                stream.write(text)
                stream.flush()
                os.fsync(stream.fileno())
            Path(half).chmod(0o644)
            Path(half).replace(file)
        except BaseException:
            Path(half).unlink(missing_ok=True)
            raise
    except OSError as error:
        raise InputError(
            f"{file}: cannot be written: {error.strerror}; name a file in a folder you may write to"
        ) from None


def _ask_sides(spokes: int) -> str:
    while True:
        sides = str(_ask(("lacing", "sides"), "Sides from spoke 1 on, repeated (RL, LR, RLR ...)", "RL")).upper()
        if spokes % len(sides) == 0:
            return sides
        typer.echo(f"  {sides} does not divide {spokes} spokes")


def _ask_side(side: str, before: dict[str, Any], computable: bool) -> dict[str, Any]:
    """One side; the other side's answers are offered where they usually hold for both."""
    title = side.capitalize()
    told: dict[str, Any] = {}

    def ask(key: str, text: str, default: Any = None, needed: bool = False) -> None:
        told[key] = _ask((side, key), f"{title}: {text}", default, needed)

    told["spoke"] = _ask_name(
        (side, "spoke"), f"{title}: kind of spoke (? lists them)", spoke_ids(), before.get("spoke")
    )
    ask("head", "head: elbow or straight", before.get("head", "elbow"))
    text = "free length, hub bearing point to the nipple's hub-side tip, mm"
    ask("free_length_mm", f"{text} (empty: computed)" if computable else text, needed=not computable)
    needed = told["free_length_mm"] is None
    ask("hub_circle_diameter_mm", "hub hole circle, diameter, mm", before.get("hub_circle_diameter_mm"), needed)
    ask("flange_offset_mm", "flange from the hub's middle plane, mm", None, needed)
    ask("crosses", "crossings per spoke (0 to 4)", before.get("crosses"), needed)
    if told["crosses"]:
        first = "which way its first spoke runs, hub to rim, seen from the right: clockwise, counterclockwise"
        ask("first_runs", first, before.get("first_runs"))
        ask("crossing", "where spokes cross: apart, touching, pinched, tied", before.get("crossing"))
    ask("target_n", "target tension, N")
    return told


def _ask(path: tuple[str, ...], text: str, default: Any = None, needed: bool = False) -> Any:
    """Ask until the answer is allowed for the key at ``path``; None for an empty one where it is not needed."""
    from tensionear.wheel.wheelfile import is_number, problem_with

    while True:
        shown = "" if default is None else f"{default:g}" if isinstance(default, float) else str(default)
        answer = str(typer.prompt(text, default=shown, show_default=shown != "")).strip()
        if not answer and not needed:
            return None
        if path == ("lacing", "sides"):
            answer = answer.upper()
        value = _number(answer) if is_number(path) else answer
        problem = problem_with(path, value)
        if problem is None:
            return value
        typer.echo(f"  {problem}")


def _ask_name(path: tuple[str, ...], text: str, names: Any, default: Any = None, needed: bool = True) -> Any:
    """Ask for one of ``names``; ``?`` lists them."""
    while True:
        answer = _ask(path, text, default, needed)
        if answer is None or answer in names:
            return answer
        typer.echo(
            f"  {', '.join(names)}" if answer == "?" else f"  no {answer!r}; {nearest(answer, names)}; ? lists all"
        )


def _number(answer: str) -> int | float | str:
    """A number, with a decimal point or comma; the text itself if it is none."""
    for kind in (int, float):
        try:
            return kind(answer.replace(",", "."))
        except ValueError:
            continue
    return answer


def _tell(wheel: Wheel) -> None:
    from tensionear.units import in_words

    units = shown_units(wheel.units)
    for line in facts(wheel):
        typer.echo(in_words(line, units))


def facts(wheel: Wheel) -> Iterator[str]:
    """What follows from a wheel file, line by line: lengths, angles, crossing, expected pitch per side, warnings."""
    from tensionear.wheel.geometry import side_tension_ratio

    yield f"{wheel.name}: {wheel.spokes} spokes"
    for side in wheel.sides:
        yield from _side_facts(wheel, side)
    lines = [place.line for place in wheel.places if place.line is not None]
    if len(wheel.sides) == 2 and len(lines) == wheel.spokes:
        ratio = side_tension_ratio(lines)
        balance = "never, by these flange offsets" if ratio is None else f"left = {ratio:.2f} x right tension"
        yield f"sides in balance at: {balance}"
    if wheel.limits.max_tension_n is not None:
        yield f"highest tension any maker allows: {wheel.limits.max_tension_n:g} N"
    for warning in wheel.warnings:
        yield f"warning ({warning.code}): {warning.text}"


def _side_facts(wheel: Wheel, side: Side) -> Iterator[str]:
    from tensionear.wheel.expected_pitch import expected_pitch

    whole = wheel.sides[side]
    places = [wheel.place(number) for number in whole.numbers]
    yield f"{side}: {len(places)} x {whole.spoke.name}"
    yield f"  free length {_span([place.free_length_m * 1e3 for place in places], 1)} mm"
    bracing = [math.degrees(place.line.bracing_angle_rad) for place in places if place.line is not None]
    if bracing:
        yield f"  bracing angle {_span(bracing, 1)} degrees"
    meets = [place.meets for place in places if place.meets is not None]
    if whole.crosses == 0:
        yield "  radial: no crossing"
    elif meets:
        along = _span([meet.from_hub_m * 1e3 for meet in meets], 1)
        angle = _span([math.degrees(meet.angle_rad) for meet in meets], 0)
        how = whole.crossing or "touching or apart not stated"
        yield f"  outermost crossing {along} mm from the hub, at {angle} degrees, {how}"
    tension_n = whole.target_n or USUAL_N
    pitches = [expected_pitch(place, tension_n) for place in places]
    low, high = min(pitch.hinged_hz for pitch in pitches), max(pitch.clamped_hz for pitch in pitches)
    why = "its target" if whole.target_n else "no target stated"
    yield f"  expected pitch {low:.0f} .. {high:.0f} Hz (hinged .. clamped ends) at {tension_n:g} N, {why}"


def _span(values: list[float], digits: int) -> str:
    low, high = f"{min(values):.{digits}f}", f"{max(values):.{digits}f}"
    return low if low == high else f"{low} .. {high}"
