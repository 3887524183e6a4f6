"""A gauge study and a check wheel's charts, told: lines for a terminal, a page, JSON. Imports study, control, page."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from tensionear.reading import plain_form

from .chart_drawing import Points, told_of
from .control import Control, control_of
from .page import CHARTS, Group, Section, Table, chart_figure, page_of
from .study import SIGNIFICANT, Component, Source, Study
from .study_table import Reading

FORMAT = "tensionear.study/1"
UNITS = {"_n": "N", "_percent": "%", "_hz": "Hz", "_mm": "mm"}
METHOD = (
    "A crossed study by the analysis of variance, wheels and operators both taken for random: Measurement Systems Analysis, 4th "
    "edition, 2010, chapter III; ISO/TR 12888:2011. Repeatability: one operator, one wheel, again. Reproducibility: between "
    "operators, with their interaction with the wheels where it is significant at 5 %; else it joins repeatability.",
    "Percent of total compares standard deviations and does not add up to 100; percent of variance does. Categories: how many "
    "groups of wheels can be told apart. Usual, no source: a gauge below 10 % of the total is good, above 30 % is not fit.",
)


@dataclass(frozen=True, slots=True)
class Check:
    """The check wheel's chart of one station and one column; ``control`` is None below two readings."""

    column: str
    station: str
    control: Control | None
    readings: tuple[Reading, ...]

    @property
    def points(self) -> Points:
        """What belongs to the values."""
        names = [reading.recorded or str(at) for at, reading in enumerate(self.readings, 1)]
        title = f"{self.column}, station {self.station}" if self.station else self.column
        return Points(names, [reading.recorded[:10] for reading in self.readings], title, unit_of(self.column))


def check_of(column: str, station: str, readings: Sequence[Reading]) -> Check:
    """The chart of these readings, in order."""
    values = [reading.values[column] for reading in readings]
    floor = 0.0 if column.endswith("spread_percent") else None
    return Check(column, station, control_of(values, floor) if len(values) > 1 else None, tuple(readings))


def unit_of(column: str) -> str:
    """The unit in the name of a column, empty if there is none."""
    return next((unit for end, unit in UNITS.items() if column.endswith(end)), "")


def study_lines(column: str, study: Study) -> list[str]:
    """A study for a terminal."""
    unit = unit_of(column)
    lines = [
        f"{column}: {study.wheels} wheels x {study.operators} operators x {study.readings} readings",
        "",
        f"{'source':<22}{'squares':>14}{'df':>5}{'mean square':>14}{'F':>9}{'p':>8}",
    ]
    lines += [_source_line(each) for each in study.table]
    lines += ["", f"{'scatter':<22}{f'sd {unit}':>14}{'% of total':>14}{'% of variance':>15}"]
    lines += [_component_line(each) for each in study.components]
    return [*lines, "", *told(study)]


def told(study: Study) -> list[str]:
    """What the numbers say, in sentences."""
    joined = (
        "is not significant and joins repeatability" if study.pooled else "is significant and counts as reproducibility"
    )
    p = study.table[2].p
    lines = [f"The interaction {joined} (p = {'-' if p is None else f'{p:.3f}'}, limit {SIGNIFICANT:g})."]
    if study.categories is not None:
        lines.append(f"Categories of wheels that can be told apart: {study.categories}.")
    if study.tolerance_percent is not None:
        lines.append(f"Six standard deviations of the gauge are {study.tolerance_percent:.1f} % of the tolerance.")
    return lines


def _source_line(source: Source) -> str:
    f = "" if source.f is None else f"{source.f:.3f}"
    p = "" if source.p is None else f"{source.p:.4f}"
    return (
        f"{source.name:<22}{source.squares:>14.5g}{source.freedom:>5}{source.mean_square:>14.5g}{f:>9}{p:>8}".rstrip()
    )


def _component_line(component: Component) -> str:
    return f"{component.name:<22}{component.sigma:>14.4g}{component.study_percent:>14.1f}{component.variance_percent:>15.1f}"


def check_lines(part: str, check: Check) -> list[str]:
    """A check wheel's chart for a terminal: what it shows, and whether the last reading is usual."""
    where = f"station {check.station}" if check.station else "no station stated"
    head = f"check wheel {part}, {where}, {check.column}:"
    if check.control is None:
        return [f"{head} 1 reading, {check.readings[0].values[check.column]:g}; a chart needs two."]
    return [f"{head} {told_of(check.control, check.points)} {last_told(check.control)}"]


def last_told(control: Control) -> str:
    """What is to be done now, from the last value."""
    last = len(control.values) - 1
    if last in control.beyond or last in control.range_beyond:
        return "The last one is not usual: look at the station before it measures on."
    if last in control.runs:
        return "The last ones drift to one side: look at the station."
    return "The last one is usual."


def document(part: str | None, studies: Mapping[str, Study], checks: Sequence[Check]) -> dict[str, Any]:
    """All of it for scripts."""
    return {
        "format": FORMAT,
        "studies": {column: plain_form(study) for column, study in studies.items()},
        "check_wheel": part,
        "checks": [
            {"column": each.column, "station": each.station or None, "chart": plain_form(each.control)}
            for each in checks
        ],
    }


def study_page(source: str, part: str | None, studies: Mapping[str, Study], checks: Sequence[Check]) -> str:
    """All of it as a page."""
    sections = [_study_section(column, study) for column, study in studies.items()]
    charts = [
        chart_figure(each.control, each.points, f"c{at}", f"{len(each.readings)} readings. {last_told(each.control)}")
        for at, each in enumerate(checks)
        if each.control is not None
    ]
    if charts:
        sections.append(Section(f"Check wheel {part}", groups=[Group("", charts)]))
    method = [*(METHOD if studies else ()), *([CHARTS] if charts else ())]
    return page_of(f"Gauge study of {source}", [], [], sections, method)


def _study_section(column: str, study: Study) -> Section:
    unit = unit_of(column)
    variance = [
        (
            each.name, f"{each.squares:.5g}", str(each.freedom), f"{each.mean_square:.5g}",
            "" if each.f is None else f"{each.f:.3f}", "" if each.p is None else f"{each.p:.4f}",
        )
        for each in study.table
    ]  # fmt: skip
    scatter = [
        (each.name, f"{each.sigma:.4g}", f"{each.study_percent:.1f}", f"{each.variance_percent:.1f}")
        for each in study.components
    ]
    tables = [
        Table("Analysis of variance", ("source", "squares", "df", "mean square", "F", "p"), variance),
        Table("Scatter", ("source", f"sd {unit}".strip(), "% of total", "% of variance"), scatter),
    ]
    size = f"{study.wheels} wheels, {study.operators} operators, {study.readings} readings of each."
    return Section(column, [size, *told(study)], tables=tables)
