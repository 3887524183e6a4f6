"""``tensionear study``: how well wheels are measured, and a check wheel day by day. Imports errors; the rest when it runs."""

from __future__ import annotations

import json
import sys
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from tensionear.errors import UsageError

from .read import table_text

if TYPE_CHECKING:
    from tensionear.batch.study import Study
    from tensionear.batch.study_report import Check
    from tensionear.batch.study_table import StudyTable


def study(
    table: Annotated[
        str, typer.Argument(metavar="CSV", help="serial (or wheel), operator, value; or a batch's result.")
    ],
    value: Annotated[str | None, typer.Option(metavar="COLUMN", help="The column of values.")] = None,
    tolerance: Annotated[
        float | None, typer.Option(metavar="WIDTH", help="The width between the limits, in the unit of the values.")
    ] = None,
    check: Annotated[
        str | None, typer.Option(metavar="SERIAL", help="Chart the readings of this check wheel, by station.")
    ] = None,
    report: Annotated[str | None, typer.Option(metavar="FILE.html", help="Write it as a page too.")] = None,
    as_json: Annotated[bool, typer.Option("--json", help="JSON, and nothing else.")] = False,
) -> None:
    """A gauge study: operators x wheels x repeats by the analysis of variance; or with --check a check wheel's chart."""
    from tensionear.batch.study_report import check_lines, document, study_lines, study_page
    from tensionear.batch.study_table import parse_study
    from tensionear.records.files import write_whole

    if tolerance is not None and not tolerance > 0:
        raise UsageError(f"--tolerance {tolerance:g}: the width between two limits is above 0")
    if report is not None and Path(report).suffix.lower() not in (".html", ".htm"):
        raise UsageError(f"--report {report}: the report is a page; give a name that ends in .html")
    found = parse_study(table_text(table), table, value)
    studies = _studies(found, table, tolerance) if check is None else {}
    checks = [] if check is None else _checks(found, check, table)
    if as_json:
        sys.stdout.write(json.dumps(document(check, studies, checks), indent=1, allow_nan=False) + "\n")
    else:
        lines = [line for column, each in studies.items() for line in (*study_lines(column, each), "")]
        lines += [line for each in checks for line in check_lines(check or "", each)]
        if found.passed_over:
            lines.append(f"{found.passed_over} lines without a reading were passed over.")
        sys.stdout.write("\n".join(lines).rstrip("\n") + "\n")
    if report is not None:
        write_whole(Path(report), study_page(Path(table).name, check, studies, checks).encode())
        if not as_json:
            sys.stdout.write(f"{report}\n")


def _studies(table: StudyTable, name: str, tolerance: float | None) -> dict[str, Study]:
    from tensionear.batch.study import analyse
    from tensionear.batch.study_table import crossed

    if tolerance is not None and len(table.columns) > 1:
        raise UsageError(
            f"--tolerance is for one column, there are {', '.join(table.columns)}; choose one with --value"
        )
    return {column: analyse(crossed(table.readings, column, name), tolerance) for column in table.columns}


def _checks(table: StudyTable, part: str, name: str) -> list[Check]:
    from tensionear.batch.study_report import check_of
    from tensionear.batch.study_table import checks_of

    stations = checks_of(table.readings, part, name)
    return [check_of(column, station, own) for column in table.columns for station, own in stations.items()]
