"""Hanging masses for ``tensionear calibrate``: cautions, questions, the table. Imports errors; the rest when it runs."""

from __future__ import annotations

import csv
import math
import sys
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Protocol

import typer

from tensionear.errors import InputError, UsageError
from tensionear.texts import Rows

from .read import table_text

if TYPE_CHECKING:
    from tensionear.calibration.hanging import Hung, Jig
    from tensionear.calibration.records import Document, Head
    from tensionear.physics.spoke import Spoke

CAUTIONS = (
    "A spoke under a mass can snap and the mass falls. Wear eye protection, keep feet and hands from under it, stand aside.",
    "Hang the mass a hand's breadth over a soft pad, with a strap or cap that catches it should the spoke slip out.",
    "Never hang more than the spoke's working load: {limit:.0f} N, {mass:.0f} kg, for this kind.",
    "Hang the spoke from its head so that it swings free, let it come to rest, pluck it gently, and let it ring for a second.",
)
COLUMNS = ("sound", "mass_kg", "u_mass_kg")


@dataclass(frozen=True, slots=True)
class Hanging:
    """What the options say of the jig."""

    kind: str
    length_mm: float
    u_length_mm: float
    table: str
    latitude_deg: float | None
    height_m: float
    density_kg_m3: float | None


class Keeps(Protocol):
    """What knows how a record is headed."""

    def head(self, usual: str) -> Head:
        """The head of a record named by the ``usual`` words unless it was given a name."""
        ...


def calibrate_hanging(given: Hanging, keeping: Keeps) -> tuple[Document, list[str]]:
    """Caution, hear every mass, fit, keep; the record, and what it says in lines."""
    import numpy as np

    from tensionear.calibration.hanging import Jig, check_masses, fit_hanging, pull_of
    from tensionear.calibration.hearing import hear_hanging
    from tensionear.calibration.records import HangingData, as_kept, hanging_document
    from tensionear.calibration.store import keep
    from tensionear.calibration.words import hanging_lines
    from tensionear.catalogue import library_spoke
    from tensionear.physics.gravity import gravity
    from tensionear.physics.inverse import Partials
    from tensionear.physics.rounding import rounded
    from tensionear.pipeline import checked_length

    spoke = library_spoke(given.kind)
    length_m = checked_length(given.length_mm / 1e3, spoke)
    where = gravity(given.latitude_deg, given.height_m)
    jig = Jig(length_m, given.u_length_mm / 1e3, where, given.density_kg_m3)
    _caution(spoke)
    if not Path(given.table).exists():
        _ask_table(given.table, spoke, jig)
    rows = hanging_rows(table_text(given.table), given.table)
    masses = tuple(mass for _, mass in rows)
    check_masses(masses, spoke, jig)
    folder = Path(given.table).parent
    pulls = [pull_of(mass.mass_kg, spoke, jig) for mass in masses]
    sounds = [folder / sound for sound, _ in rows]
    heard = [as_kept(hear_hanging(sound, spoke, length_m, pull)) for sound, pull in zip(sounds, pulls, strict=True)]
    partials = Partials(
        np.array([one.log_frequency for one in heard]),
        np.array([one.sd for one in heard]),
        np.array([one.start_log_tension for one in heard]),
    )
    result = fit_hanging(spoke, jig, masses, partials)
    data = HangingData(given.kind, spoke, jig, masses, tuple(sound for sound, _ in rows), partials)
    record = keep(hanging_document(keeping.head(f"lot {given.kind}"), data, result))
    share = 100 * (pulls[0] / (masses[0].mass_kg * where.m_s2) - 1)
    lines = [
        *hanging_lines(result),
        f"Gravity {' +/- '.join(rounded(where.m_s2, 1.96 * where.u_m_s2))} m/s2; half the spoke's weight less the air's "
        f"buoyancy is {share:+.3f} % of the first mass.",
        f"Kept as {record.path}. The jig's ends are not a wheel's and are not used.",
        f'Wheels built with this lot say so at the top of their files: calibration = "{record.name}".',
    ]
    return record.document, lines


def hanging_rows(text: str, name: str) -> list[tuple[str, Hung]]:
    """The rows of a table of hanging masses: sound (beside the table), mass and its standard uncertainty in kg.

    Raises
    ------
    InputError
        If a column is missing, or a row lacks a sound or has no fit number.
    """
    from tensionear.calibration.hanging import Hung
    from tensionear.wheel.comparison import number_of

    table = Rows(text, name)
    if not set(COLUMNS) <= set(table.heading):
        raise InputError(
            f"{name}: the columns are {table.columns}; needed are {', '.join(COLUMNS)}; add a heading line"
        )
    rows = []
    for row in table:
        where = f"{name}, line {table.line_num}"
        if None in row:
            raise InputError(f"{where}: more values than columns: a decimal comma? write numbers with a point")
        mass, u = number_of(row, "mass_kg", where), number_of(row, "u_mass_kg", where)
        sound = (row["sound"] or "").strip()
        if mass <= 0 or u < 0 or not sound:
            raise InputError(
                f"{where}: needed are a sound, a mass above 0 and an uncertainty of 0 or more; correct the row"
            )
        rows.append((sound, Hung(mass, u)))
    return rows


def _caution(spoke: Spoke) -> None:
    from tensionear.calibration.hanging import working_load_n

    limit = working_load_n(spoke)
    for text in CAUTIONS:
        sys.stderr.write(f"! {text.format(limit=limit, mass=math.floor(limit / 9.81))}\n")


def _asked_sound(folder: Path) -> str:
    """The name of a recording that is there."""
    while True:
        name = str(typer.prompt("Hang it, pluck three times, and name the recording", err=True)).strip()
        if (folder / name).is_file():
            return name
        typer.echo(f"{folder / name} is not there; name the recording again.", err=True)


def _ask_table(path: str, spoke: Spoke, jig: Jig) -> None:
    """Ask for masses and recordings one by one and write the table."""
    from tensionear.calibration.hanging import Hung, check_masses, pull_of, working_load_n

    if not sys.stdin.isatty():
        raise InputError(f"{path} does not exist; write it with the columns {', '.join(COLUMNS)}")
    rows: list[tuple[str, float, float]] = []
    try:
        while len(rows) < 3 or typer.confirm("Another mass?", default=len(rows) < 5, err=True):
            mass = typer.prompt(f"Mass {len(rows) + 1} with its hook, kg", type=float, err=True)
            if pull_of(mass, spoke, jig) > working_load_n(spoke):
                typer.echo(f"That is more than {working_load_n(spoke):.0f} N; hang less.", err=True)
                continue
            u = typer.prompt(
                "Known to, kg (one standard uncertainty)", default=round(mass * 1e-3, 4), type=float, err=True
            )
            rows.append((_asked_sound(Path(path).parent), mass, u))
    except typer.Abort:
        raise UsageError("the questions were not answered to the end; nothing was written") from None
    check_masses([Hung(mass, u) for _, mass, u in rows], spoke, jig)
    with Path(path).open("x", encoding="utf-8", newline="") as stream:
        writer = csv.writer(stream)
        writer.writerow(COLUMNS)
        writer.writerows(rows)
