"""``tensionear weigh``: from the mass of spokes to mass per length. Imports errors; the rest when it runs."""

from __future__ import annotations

import json
import sys
from typing import Annotated, Any

import typer

from tensionear.errors import UsageError

FORMAT = "tensionear.weigh/1"
MM, G = 1e-3, 1e-3


def weigh(
    mass: Annotated[
        float | None, typer.Option(metavar="G", help="Mass of all, without nipples; asked for if left out.")
    ] = None,
    whole_length: Annotated[float | None, typer.Option(metavar="MM", help="Whole length of one spoke's wire.")] = None,
    count: Annotated[
        int, typer.Option(metavar="N", help="How many were weighed together; ten are better than one.")
    ] = 1,
    u_mass: Annotated[float, typer.Option(metavar="G", help="Standard uncertainty of the mass.", min=0)] = 0.02,
    u_length: Annotated[float, typer.Option(metavar="MM", help="Standard uncertainty of the length.", min=0)] = 0.5,
    ends_mass: Annotated[float, typer.Option(metavar="G", help="Metal ends of one composite spoke.", min=0)] = 0.0,
    ends_length: Annotated[float, typer.Option(metavar="MM", help="... and how much of it they are.", min=0)] = 0.0,
    kind: Annotated[str | None, typer.Option(metavar="ID", help="The kind of spoke it should be.")] = None,
    name: Annotated[
        str | None, typer.Option(metavar="NAME", help="Keep it as a calibration of this lot; needs --kind.")
    ] = None,
    by: Annotated[str | None, typer.Option(metavar="WHO", help="Who weighed.")] = None,
    as_json: Annotated[bool, typer.Option("--json", help="JSON, and nothing else.")] = False,
) -> None:
    """Mass of spokes and their whole length to mass per length, and what that says of the section."""
    from tensionear.calibration.weighing import Weighed
    from tensionear.calibration.weighing import weigh as weighed
    from tensionear.calibration.words import weighing_lines
    from tensionear.catalogue import library_spoke

    if name is not None and kind is None:
        raise UsageError(f"--name {name} without --kind ID has no kind of spoke to be a lot of; give --kind")
    if mass is None or whole_length is None:
        mass, whole_length, count = _asked(mass, whole_length, count)
    given = Weighed(mass * G, u_mass * G, count, whole_length * MM, u_length * MM, ends_mass * G, ends_length * MM)
    result = weighed(given, None if kind is None else library_spoke(kind))
    if as_json:
        sys.stdout.write(f"{json.dumps(_document(result), indent=1, allow_nan=False)}\n")
    else:
        for line in weighing_lines(result):
            typer.echo(line)
        if not ends_mass:
            one = mass / count
            typer.echo(
                f"In a wheel file, under [spokes.NAME]: mass_g = {one:.4g}, whole_length_mm = {whole_length:g}, "
                f"u_mass_g = {u_mass / count:.3g}"
            )
    if name is not None and kind is not None:
        _keep(name, kind, by, given)


def _keep(name: str, kind: str, by: str | None, given: Any) -> None:
    """Keep what was weighed as a lot of this kind."""
    from tensionear.calibration.records import weighed_document
    from tensionear.calibration.store import keep
    from tensionear.catalogue import library_spoke

    from .calibrate import Keeping

    record = keep(weighed_document(Keeping(name, by, "").head(name), kind, given, library_spoke(kind)))
    sys.stderr.write(f'Kept as {record.path}. Wheels built with this lot say so: calibration = "{record.name}".\n')


def _document(result: Any) -> dict[str, Any]:
    """The result for scripts."""
    budget = result.budget
    return {
        "format": FORMAT,
        "mass_per_length_g_m": 1e3 * result.kg_m,
        "u_mass_per_length_g_m": 1e3 * budget.combined_standard_uncertainty,
        "budget": [
            {"source": each.source, "u_relative": each.contribution / result.kg_m} for each in budget.contributions
        ],
        "expected_g_m": None if result.tabled_kg_m is None else 1e3 * result.tabled_kg_m,
        "relative": result.relative,
        "implies": result.implies,
    }


def _asked(mass: float | None, length: float | None, count: int) -> tuple[float, float, int]:
    """Ask for what was left out; without a terminal that is an error."""
    if not sys.stdin.isatty():
        raise UsageError("give --mass G and --whole-length MM (and --count N if several were weighed together)")
    try:
        if mass is None:
            count = typer.prompt("How many spokes are on the balance", default=count, type=int)
            mass = typer.prompt("Mass of all of them, g", type=float)
        if length is None:
            length = typer.prompt("Whole length of one, along the wire, mm", type=float)
    except typer.Abort:
        raise UsageError("the questions were not answered to the end; nothing was weighed") from None
    assert mass is not None
    assert length is not None
    return mass, length, count
