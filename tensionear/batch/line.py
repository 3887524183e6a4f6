"""The rows of a batch as a production line sees them: kinds of wheel, stations, days. Pure; imports values, control, capability.

A kind is what one wheel file describes. Superseded attempts do not count.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from statistics import fmean, median

import numpy as np

from .capability import Capability, Quantiles, capability_of, normal_quantiles, skewed_quantiles
from .control import Control, control_of
from .values import Row

SIDES = ("right", "left")


@dataclass(frozen=True, slots=True)
class Wheel:
    """What the line needs of a row; spreads and means are None where not read."""

    name: str
    file: str
    kind: str
    station: str
    recorded: str
    verdict: str
    means_n: tuple[float | None, float | None]
    spreads_percent: tuple[float | None, float | None]
    spokes_out: tuple[str, ...]
    reason: str

    @property
    def day(self) -> str:
        """The day it was recorded, empty if unknown."""
        return self.recorded[:10]

    def worst_percent(self) -> float:
        """The larger spread, 0 if none was read."""
        return max((each for each in self.spreads_percent if each is not None), default=0.0)


@dataclass(frozen=True, slots=True)
class Bounds:
    """The limits of a kind of wheel: evenness for spreads, target and level for means; None where not stated."""

    evenness_percent: float | None = None
    level_percent: float | None = None
    targets_n: tuple[float | None, float | None] = (None, None)


@dataclass(frozen=True, slots=True)
class Quantity:
    """One thing that is charted, of one side."""

    side: str
    what: str
    unit: str
    values: tuple[float, ...]
    wheels: tuple[Wheel, ...]
    quantiles: Quantiles
    lower: float | None
    upper: float | None
    floor: float | None

    def control(self) -> Control | None:
        """The chart; None below two values."""
        return control_of(self.values, self.floor) if len(self.values) > 1 else None

    def capability(self) -> Capability | None:
        """How it lies within its limits; None where there are too few."""
        return capability_of(np.array(self.values), self.quantiles, self.lower, self.upper)


@dataclass(frozen=True, slots=True)
class DayRow:
    """The wheels of one station on one day."""

    station: str
    day: str
    wheels: int
    within: int
    out: int
    undecided: int
    unreadable: int
    means_n: tuple[float | None, float | None]
    spreads_percent: tuple[float | None, float | None]


@dataclass(slots=True)
class Line:
    """All wheels that count, by kind, and those that could not be read."""

    kinds: dict[str, list[Wheel]] = field(default_factory=dict)
    bounds: dict[str, Bounds] = field(default_factory=dict)
    unreadable: list[Wheel] = field(default_factory=list)
    superseded: int = 0

    def wheels(self) -> list[Wheel]:
        """All wheels that were read."""
        return [wheel for kind in self.kinds.values() for wheel in kind]


def line_of(rows: Iterable[Row]) -> Line:
    """The line behind the rows of a result."""
    line = Line()
    for row in rows:
        wheel = _wheel(row)
        if row.superseded_by:
            line.superseded += 1
        elif row.status == "failed":
            line.unreadable.append(wheel)
        else:
            line.kinds.setdefault(wheel.kind, []).append(wheel)
            targets = (row.right_target_n, row.left_target_n)
            line.bounds[wheel.kind] = Bounds(row.evenness_limit_percent, row.level_limit_percent, targets)
    for kind, wheels in line.kinds.items():
        if all(wheel.recorded for wheel in wheels):
            line.kinds[kind] = sorted(wheels, key=lambda wheel: wheel.recorded)
    return line


def _wheel(row: Row) -> Wheel:
    last = row.file.replace("\\", "/").rsplit("/", 1)[-1]
    return Wheel(
        row.serial or last, row.file, row.wheel or row.wheel_file or "unknown", row.station, row.recorded,
        "unreadable" if row.status == "failed" else row.verdict or "no verdict",
        (row.right_mean_n, row.left_mean_n), (row.right_spread_percent, row.left_spread_percent), row.spokes_out, row.reason,
    )  # fmt: skip


def stations_of(wheels: Sequence[Wheel]) -> dict[str, list[Wheel]]:
    """Wheels by station, in order of their names."""
    found: dict[str, list[Wheel]] = {}
    for wheel in sorted(wheels, key=lambda wheel: wheel.station):
        found.setdefault(wheel.station, []).append(wheel)
    return found


def quantities_of(wheels: Sequence[Wheel], bounds: Bounds) -> list[Quantity]:
    """Means and spreads of each side, those that were read at all; wheels in order of time."""
    found = []
    for at, side in enumerate(SIDES):
        target, level = bounds.targets_n[at], bounds.level_percent
        reach = None if target is None or level is None else target * level / 100
        means = [(wheel, value) for wheel in wheels if (value := wheel.means_n[at]) is not None]
        spreads = [(wheel, value) for wheel in wheels if (value := wheel.spreads_percent[at]) is not None]
        lower, upper = (None, None) if target is None or reach is None else (target - reach, target + reach)
        if means:
            found.append(_quantity(side, "mean", "N", means, normal_quantiles, lower, upper, None))
        if spreads:
            found.append(_quantity(side, "spread", "%", spreads, skewed_quantiles, None, bounds.evenness_percent, 0.0))
    return found


def _quantity(
    side: str, what: str, unit: str, pairs: Sequence[tuple[Wheel, float]], quantiles: Quantiles,
    lower: float | None, upper: float | None, floor: float | None,
) -> Quantity:  # fmt: skip
    wheels, values = tuple(wheel for wheel, _ in pairs), tuple(value for _, value in pairs)
    return Quantity(side, what, unit, values, wheels, quantiles, lower, upper, floor)


def days_of(wheels: Sequence[Wheel], unreadable: Sequence[Wheel]) -> list[DayRow]:
    """One line a station and day."""
    groups: dict[tuple[str, str], list[Wheel]] = {}
    for wheel in [*wheels, *unreadable]:
        groups.setdefault((wheel.station, wheel.day), []).append(wheel)
    return [_day(station, day, group) for (station, day), group in sorted(groups.items())]


def _day(station: str, day: str, group: Sequence[Wheel]) -> DayRow:
    counts = {
        word: sum(wheel.verdict == word for wheel in group) for word in ("within", "out", "undecided", "unreadable")
    }
    means = [[value for wheel in group if (value := wheel.means_n[at]) is not None] for at in (0, 1)]
    spreads = [[value for wheel in group if (value := wheel.spreads_percent[at]) is not None] for at in (0, 1)]
    return DayRow(
        station, day, len(group), counts["within"], counts["out"], counts["undecided"], counts["unreadable"],
        (fmean(means[0]) if means[0] else None, fmean(means[1]) if means[1] else None),
        (median(spreads[0]) if spreads[0] else None, median(spreads[1]) if spreads[1] else None),
    )  # fmt: skip


def worst_of(wheels: Sequence[Wheel], most: int) -> list[Wheel]:
    """The wheels that are not within, those of the largest spread first."""
    bad = [wheel for wheel in wheels if wheel.verdict in ("out", "undecided")]
    return sorted(bad, key=lambda wheel: (wheel.verdict != "out", -wheel.worst_percent()))[:most]
