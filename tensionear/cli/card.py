"""``tensionear card``: one printable page of a kept round, and its pictures and tables. Imports errors; the rest when it runs."""

from __future__ import annotations

import json
import re
import sys
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from tensionear.errors import LogError, UsageError

from .show import as_shown

if TYPE_CHECKING:
    from tensionear.records.log import Log
    from tensionear.records.values import KeptRound


def card(
    what: Annotated[str, typer.Argument(metavar="WHEEL|ROUND", help="A wheel's name or file, or a round's number.")],
    out: Annotated[str | None, typer.Option(metavar="FILE", help="Where to write the page; card-ROUND.html.")] = None,
    picture: Annotated[str | None, typer.Option(metavar="FILE", help="Write the pictures too: .svg or .png.")] = None,
    csv: Annotated[str | None, typer.Option(metavar="FILE", help="Write the table too, as CSV.")] = None,
    as_json: Annotated[
        str | None, typer.Option("--json", metavar="FILE", help="Write the reading too, as JSON.")
    ] = None,
    log: Annotated[str | None, typer.Option(metavar="FILE", help="Another log than the usual one.")] = None,
) -> None:
    """One page that prints to one sheet: the pictures, the table, the verdict, the cautions."""
    from tensionear.records.card import card_page, card_picture
    from tensionear.records.files import write_whole
    from tensionear.records.log import Log
    from tensionear.records.trends import trend_of

    if picture is not None and Path(picture).suffix.lower() not in (".svg", ".png"):
        raise UsageError(f"--picture {picture}: pictures are .svg or .png; give one of these endings")
    there = Log(log)
    kept = round_of(there, what)
    reading = kept.reading
    if reading is None:
        raise LogError(f"round {kept.row.id} is unfinished and has no reading; finish it first, or choose another")
    shown = as_shown(reading)
    page = Path(out or f"card-{kept.row.id}.html")
    write_whole(page, card_page(kept, shown, trend_of(there, kept.row.title, kept.row.id, shown.units)).encode())
    written = [page]
    if picture is not None:
        from tensionear.records.png import png_file
        from tensionear.records.svg import svg_file

        drawing = card_picture(kept, shown)
        png = Path(picture).suffix.lower() == ".png"
        write_whole(Path(picture), png_file(drawing) if png else svg_file(drawing).encode())
        written.append(Path(picture))
    if csv is not None:
        from tensionear.records.tables import spoke_table

        write_whole(Path(csv), spoke_table(reading).encode())
        written.append(Path(csv))
    if as_json is not None:
        from tensionear.records.documents import round_document

        text = json.dumps(round_document(kept), indent=1, allow_nan=False)
        write_whole(Path(as_json), f"{text}\n".encode())
        written.append(Path(as_json))
    for path in written:
        sys.stdout.write(f"{path}\n")


def round_of(log: Log, what: str) -> KeptRound:
    """The round of this number, or the latest finished one of the wheel of this name or file."""
    from tensionear.records.schema import key_of
    from tensionear.records.search import Search

    if re.fullmatch(r"\d{1,15}", what):
        return log.load(int(what))
    name = _name_in(Path(what)) if what.endswith(".toml") or Path(what).is_file() else what
    rows = [row for row in log.rounds(Search(wheel=name)) if row.finished is not None]
    exact = [row for row in rows if key_of(row.title) == key_of(name)]
    names = {key_of(row.title): row.title for row in rows}
    if exact:
        return log.load(exact[0].id)
    if len(names) == 1:
        return log.load(rows[0].id)
    if not rows:
        raise LogError(f"no finished round of {name!r} is in {log.path}; tensionear log list shows what there is")
    some = ", ".join(sorted(names.values())[:4])
    raise LogError(
        f"{name!r} is part of the names of {len(names)} wheels ({some}); give a whole name or a round's number"
    )


def _name_in(path: Path) -> str:
    """The name in a wheel file."""
    from tensionear.loading import load_wheel

    return load_wheel(path).name
