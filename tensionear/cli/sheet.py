"""``tensionear sheet``: the other readings of one sitting, and the verdict with them. Imports errors; the rest when it runs."""

from __future__ import annotations

import os
import sys
import tempfile
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from tensionear.errors import InputError, UsageError

from .read import table_text
from .show import Form, View, show, show_json

if TYPE_CHECKING:
    from tensionear.wheel.model import Wheel
    from tensionear.wheel.sheet import Sheet

MM, G = 1e-3, 1e-3


def sheet(
    wheel: Annotated[str, typer.Argument(metavar="WHEEL", help="The wheel file (TOML).")],
    runout: Annotated[
        str | None, typer.Option(metavar="CSV", help="spoke,lateral_mm,radial_mm,twist_deg, at any spokes.")
    ] = None,
    lateral_range: Annotated[float | None, typer.Option(metavar="MM", help="Sideways run-out, peak to peak.")] = None,
    radial_range: Annotated[float | None, typer.Option(metavar="MM", help="Run-out of round, peak to peak.")] = None,
    dish: Annotated[float | None, typer.Option(metavar="MM", help="Offset of the rim, + to the right.")] = None,
    flip: Annotated[float | None, typer.Option(metavar="MM", help="Flip-over reading: twice the offset.")] = None,
    mass: Annotated[float | None, typer.Option(metavar="G", help="Mass of the wheel.")] = None,
    width_outer: Annotated[float | None, typer.Option(metavar="MM", help="Rim width over all.")] = None,
    width_inner: Annotated[float | None, typer.Option(metavar="MM", help="Rim width between the hooks.")] = None,
    notes: Annotated[str | None, typer.Option(help="Anything worth keeping.")] = None,
    tensions: Annotated[
        str | None, typer.Option(metavar="CSV", help="spoke,tension_n: judge them with the sheet.")
    ] = None,
    out: Annotated[str | None, typer.Option(metavar="FILE", help="Where the sheet is kept.")] = None,
    as_json: Annotated[bool, typer.Option("--json", help="JSON, and nothing else.")] = False,
    plain: Annotated[bool, typer.Option("--plain", help="Plain lines for pipes and screen readers.")] = False,
    view: Annotated[View, typer.Option(help="The rim unrolled, the wheel from the side, histograms, or all.")] = "rim",
) -> None:
    """Ask for run-out, dish, twist, mass and notes, or take them from options; keep them, and judge the wheel."""
    from tensionear.loading import load_wheel
    from tensionear.wheel.sheetfile import parse_sheet

    described = load_wheel(wheel)
    if dish is not None and flip is not None:
        raise UsageError(f"--dish {dish:g} and --flip {flip:g} given; give one: the offset, or twice the offset")
    path = Path(out) if out is not None else Path(wheel).with_suffix(".sheet.toml")
    kept = parse_sheet(table_text(str(path)), str(path), described) if path.is_file() else None
    given: dict[str, float | str | None] = {
        "lateral_range_mm": lateral_range,
        "radial_range_mm": radial_range,
        "dish_mm": flip / 2 if flip is not None else dish,
        "mass_g": mass,
        "rim_width_outer_mm": width_outer,
        "rim_width_inner_mm": width_inner,
        "notes": notes,
    }
    told = {key: value for key, value in given.items() if value is not None}
    if not told and runout is None and tensions is None and kept is None:
        told = _asked(described)
    found = _put(told, described, kept)
    if runout is not None:
        from tensionear.wheel.runout import run_out
        from tensionear.wheel.sheetfile import with_table

        found = with_table(found, run_out(table_text(runout), runout), described, runout)
    _write(path, found, described)
    form: Form = "json" if as_json else "plain" if plain else "picture"
    _show(described, found, tensions, form, view)
    if form != "json":
        typer.echo(f"\n{path} written. Give it to a reading: --sheet {path}")


def _asked(wheel: Wheel) -> dict[str, Any]:
    """The answers as keys of a sheet file."""
    from .sheetquestions import ask_sheet

    try:
        return ask_sheet(wheel)
    except typer.Abort:
        raise UsageError("the questions were not answered to the end; nothing was written") from None


def _put(told: dict[str, Any], wheel: Wheel, kept: Sheet | None) -> Sheet:
    """The kept sheet with what was told put in; what is told is checked as if it stood in the file."""
    from tensionear.wheel.sheet import Sheet
    from tensionear.wheel.sheetfile import parse_sheet
    from tensionear.wheel.writer import wheel_toml

    fresh = parse_sheet(wheel_toml({"format": 1, **told}), "what was told", wheel)
    blank = Sheet()
    changed = {
        name: getattr(fresh, name)
        for name in Sheet.__dataclass_fields__
        if getattr(fresh, name) != getattr(blank, name)
    }
    return replace(kept or blank, **changed)


def _show(wheel: Wheel, found: Sheet, tensions: str | None, form: Form, view: View) -> None:
    """The verdict on what there is."""
    from tensionear.readings.tabled import read_table
    from tensionear.wheel.comparison import known_tensions

    known = {} if tensions is None else known_tensions(table_text(tensions), tensions)
    reading = read_table(tensions or "no tensions", wheel, known, found)
    if form == "json":
        show_json([reading])
        return
    show(reading, form, view, wheel)
    sys.stdout.flush()


def _write(path: Path, found: Sheet, wheel: Wheel) -> None:
    """Write the sheet whole or not at all."""
    from tensionear.wheel.sheetfile import sheet_toml

    try:
        handle, half = tempfile.mkstemp(dir=path.parent, prefix=f".{path.name[:40]}.", suffix=".part")
        try:
            with os.fdopen(handle, "w", encoding="utf-8", newline="\n") as stream:
                stream.write(sheet_toml(found, wheel))
            Path(half).chmod(0o644)
            Path(half).replace(path)
        except BaseException:
            Path(half).unlink(missing_ok=True)
            raise
    except OSError as error:
        raise InputError(
            f"{path}: cannot be written: {error.strerror}; name a file in a folder you may write to (--out)"
        ) from None
