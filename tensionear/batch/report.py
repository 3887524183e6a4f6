"""The report of a batch: charts by kind of wheel and station, days, capability, the worst, the unreadable. Imports line, page."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from .capability import FEWEST
from .chart_drawing import MOST, Points
from .line import Line, Quantity, Wheel, days_of, line_of, quantities_of, stations_of, worst_of
from .page import CHARTS, ChartFigure, Group, Section, Table, chart_figure, page_of
from .values import Row

#: The largest kinds and stations get charts; the tables have all.
MOST_KINDS, MOST_STATIONS = 8, 6
MOST_WORST, MOST_UNREADABLE, MOST_DAYS = 15, 200, 120

METHOD = (
    CHARTS,
    "A spread is half the distance between the tightest and the slackest spoke of a side, in percent of its mean. Spreads are "
    "skewed, so a few more of them than of the means lie beyond their upper line by chance.",
    "Capability after ISO 22514-2 by quantiles: the distance from the median to the nearer limit, in distances from the median "
    "to the outer quantile (0.135 % or 99.865 %) on that side. The outer quantiles are extrapolated: means taken for normal, "
    f"spreads for log-normal. Fewer than {FEWEST} wheels are too few for that.",
    "An attempt that a later one supersedes counts nowhere here. What is within, out and undecided follows from each wheel’s own "  # noqa: RUF001
    "limits and the stated uncertainty.",
)


def report_page(rows: Iterable[Row], source: str) -> str:
    """The page of the rows of a result; ``source`` is its name."""
    line = line_of(rows)
    ordered = sorted(line.kinds.items(), key=lambda item: -len(item[1]))
    sections = [_kind_section(f"k{at}", kind, wheels, line) for at, (kind, wheels) in enumerate(ordered[:MOST_KINDS])]
    said = []
    if len(ordered) > MOST_KINDS:
        said.append(f"Charts are drawn of the {MOST_KINDS} kinds with most wheels, of {len(ordered)}.")
    worst = worst_of(line.wheels(), MOST_WORST)
    sections += [_worst_section(worst, line)] if worst else []
    sections += [_unreadable_section(line.unreadable)] if line.unreadable else []
    return page_of(f"Wheels of {source}", _facts(line), said, sections, METHOD)


def _facts(line: Line) -> list[tuple[str, str]]:
    wheels = line.wheels()
    days = sorted({wheel.day for wheel in wheels if wheel.day})
    stations = sorted({wheel.station for wheel in wheels if wheel.station})
    counts = {
        word: sum(wheel.verdict == word for wheel in wheels) for word in ("within", "out", "undecided", "no verdict")
    }
    facts = [
        ("Wheels", str(len(wheels))),
        *((word.capitalize(), str(count)) for word, count in counts.items() if count),
    ]
    facts.append(("Unreadable", str(len(line.unreadable))))
    facts += [("Superseded", str(line.superseded))] if line.superseded else []
    facts += [("Days", days[0] if len(days) == 1 else f"{days[0]} to {days[-1]}")] if days else []
    facts += [("Stations", ", ".join(stations[:8]) + (" ..." if len(stations) > 8 else ""))] if stations else []
    return facts


def _kind_section(ident: str, kind: str, wheels: Sequence[Wheel], line: Line) -> Section:
    """One kind of wheel: charts by station, the stations' days, capability of all."""
    bounds = line.bounds[kind]
    stations = stations_of(wheels)
    largest = sorted(stations, key=lambda name: -len(stations[name]))[:MOST_STATIONS]
    groups = []
    for at, station in enumerate(name for name in stations if name in largest):
        charts = [
            chart
            for number, quantity in enumerate(quantities_of(stations[station], bounds))
            if (chart := _chart(quantity, f"{ident}-{at}-{number}")) is not None
        ]
        title = f"Station {station}" if station else "No station stated" if len(stations) > 1 else ""
        groups += [Group(title, charts)] if charts else []
    count = "1 wheel" if len(wheels) == 1 else f"{len(wheels)} wheels"
    said = [f"{count}."] if groups else [f"{count}: too few for a chart."]
    if len(stations) > MOST_STATIONS:
        said.append(f"Charts are drawn of the {MOST_STATIONS} stations with most wheels, of {len(stations)}.")
    tables = [_capability_table(quantities_of(wheels, bounds)), _days_table(wheels)]
    return Section(kind, said, groups, [table for table in tables if table.rows])


def _chart(quantity: Quantity, ident: str) -> ChartFigure | None:
    control = quantity.control()
    if control is None:
        return None
    points = Points(
        [wheel.name for wheel in quantity.wheels],
        [wheel.day for wheel in quantity.wheels],
        f"{quantity.side.capitalize()} {quantity.what}",
        quantity.unit,
        quantity.upper if quantity.what == "spread" else None,
    )
    count = len(control.values)
    caption = f"{count} wheels" if count <= MOST else f"{count} wheels, the last {MOST} drawn"
    caption += f"; {len(control.beyond)} beyond, {len(control.range_beyond)} jumps"
    caption += "" if control.settled else "; provisional limits"
    return chart_figure(control, points, ident, f"{caption}.")


def _capability_table(quantities: Sequence[Quantity]) -> Table:
    heading = ("what", "wheels", "median", "0.135 %", "99.865 %", "from", "to", "beyond", "index", "95 %")
    rows = []
    for each in quantities:
        name, limits = f"{each.side} {each.what}, {each.unit}", (_told(each.lower), _told(each.upper))
        found = each.capability()
        if found is None:
            rows.append((name, str(len(each.values)), "", "", "", *limits, "", f"too few (of {FEWEST})", ""))
            continue
        index = "no limit" if found.index is None else f"{found.index:.2f}"
        interval = "" if found.interval_95 is None else f"{found.interval_95[0]:.2f} to {found.interval_95[1]:.2f}"
        quantiles = (_told(found.median), _told(found.low), _told(found.high))
        beyond = "" if found.index is None else str(found.count_beyond)
        rows.append((name, str(found.count), *quantiles, *limits, beyond, index, interval))
    return Table("Capability", heading, rows)


def _days_table(wheels: Sequence[Wheel]) -> Table:
    heading = (
        "station, day", "wheels", "within", "out", "undecided", "right mean N", "left mean N", "right spread %", "left spread %",
    )  # fmt: skip
    days = days_of(wheels, ())
    rows = [
        (
            ", ".join(part for part in (each.station, each.day) if part) or "not stated",
            *(str(count) for count in (each.wheels, each.within, each.out, each.undecided)),
            *(_told(mean) for mean in each.means_n), *(_told(spread) for spread in each.spreads_percent),
        )
        for each in days[-MOST_DAYS:]
    ]  # fmt: skip
    note = "" if len(days) <= MOST_DAYS else f"The last {MOST_DAYS} of {len(days)} lines."
    return Table("By station and day: means, and medians of the spreads", heading, rows, note=note)


def _worst_section(worst: Sequence[Wheel], line: Line) -> Section:
    heading = ("wheel", "kind", "station", "verdict", "right spread %", "left spread %", "spokes out")
    rows = [
        (
            wheel.name, wheel.kind, wheel.station, wheel.verdict, *(_told(each) for each in wheel.spreads_percent),
            ", ".join(wheel.spokes_out[:8]) + (" ..." if len(wheel.spokes_out) > 8 else ""),
        )
        for wheel in worst
    ]  # fmt: skip
    more = sum(wheel.verdict in ("out", "undecided") for wheel in line.wheels()) - len(worst)
    note = f"and {more} more that are out or undecided." if more else ""
    return Section("The worst wheels", tables=[Table("Out first, then by spread", heading, rows, (1, 2, 3, 6), note)])


def _unreadable_section(wheels: Sequence[Wheel]) -> Section:
    rows = [(wheel.file, wheel.station, wheel.day, wheel.reason) for wheel in wheels[:MOST_UNREADABLE]]
    more = len(wheels) - len(rows)
    note = f"and {more} more: see the rows with status failed." if more else ""
    return Section(
        "Unreadable",
        tables=[Table("Files without a reading", ("file", "station", "day", "why"), rows, (1, 2, 3), note)],
    )


def _told(value: float | None) -> str:
    """A number in few digits; nothing where unknown."""
    if value is None:
        return "–"  # noqa: RUF001 - a dash in a table
    return f"{value:.0f}" if abs(value) >= 100 else f"{value:.1f}" if abs(value) >= 10 else f"{value:.2f}"
