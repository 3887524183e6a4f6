"""Which peak is which partial: names by mode and bending plane, from one ring or from what a side knows. Imports ``lines``."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from .series import Found, SeriesGrid, tolerance_of
from .spectrum import Array, Peaks

_FIRST_MODE_REACH = 0.025  # the first mode is looked for farther off than the others
_BAND_HZ = 75.0
_STRANGER_DB = 60.0  # strangers further below the named line beside them do not disturb it
_MOST_COMPONENTS, _MOST_LINES = 3, 26
#: The planes of a round spoke lie at most this far apart, relative to the frequency.
WIDEST_PAIR = 0.013
_TWIN_DB = 18.0


@dataclass(frozen=True, slots=True)
class Named:
    """A peak with the partial it may be; ``plane`` None for a stranger that is only fitted to keep it out of the others."""

    frequency_hz: float
    level_db: float
    plane: int | None
    mode: int | None


def name_peaks(peaks: tuple[Peaks, Peaks], series: Found, grid: SeriesGrid) -> list[Named]:
    """Peaks at the partials of the series, each named once, and the strangers close to them."""
    frequency = np.concatenate([found.frequency_hz for found in peaks])
    level = np.concatenate([found.level_db for found in peaks])
    kept = _distinct(frequency, level, len(peaks[0].frequency_hz))
    names: dict[int, tuple[int, int]] = {}
    for plane, logs in enumerate(series.log_frequency):
        if logs is None:
            continue
        width = tolerance_of(np.arange(1.0, len(logs) + 1))
        for mode, (target, near) in enumerate(zip(np.exp(logs), width, strict=True), start=1):
            close = [at for at in kept if abs(frequency[at] / target - 1) < near and at not in names]
            if not close and plane == 0 and mode == 1:
                close = [at for at in kept if abs(frequency[at] / target - 1) < _FIRST_MODE_REACH and at not in names]
            if close:
                best = max(close, key=lambda at: level[at] - 8 * abs(frequency[at] / target - 1) / near)
                names[best] = (0 if grid.alike else plane, mode)
    if grid.alike:
        new = np.concatenate([found.height_db for found in peaks]) > 0
        _name_twins(names, frequency, level, [at for at in kept if new[at]])
    named = [Named(float(frequency[at]), float(level[at]), *names[at]) for at in names]
    strangers = [
        Named(float(frequency[at]), float(level[at]), None, None)
        for at in kept
        if at not in names
        and any(
            abs(frequency[at] - line.frequency_hz) < _BAND_HZ and level[at] > line.level_db - _STRANGER_DB
            for line in named
        )
    ]
    return sorted(named + strangers[:8], key=lambda line: line.frequency_hz)[:_MOST_LINES]


def _name_twins(names: dict[int, tuple[int, int]], frequency: Array, level: Array, new: list[int]) -> None:
    """Name the other plane's line of a round spoke where its series was too weak to be found: near, new and loud enough.

    A neighbour's ring lies as near, but 20 dB and more below.
    """
    for at, (plane, mode) in list(names.items()):
        if sum(other == (plane, mode) for other in names.values()) > 1:
            continue
        close = [
            other
            for other in new
            if other not in names
            and abs(frequency[other] / frequency[at] - 1) < WIDEST_PAIR
            and level[other] > level[at] - _TWIN_DB
        ]
        if close:
            names[max(close, key=lambda other: level[other])] = (plane, mode)


def _distinct(frequency: Array, level: Array, sharp: int) -> list[int]:
    """Indices of the peaks that are not the shoulder of a louder one; the first ``sharp`` come from the long window."""
    kept: list[int] = []
    for at in np.argsort(-level, kind="stable"):
        width = 4.0 if at < sharp else 25.0
        if all(abs(frequency[at] - frequency[other]) > width for other in kept):
            kept.append(int(at))
    return kept


def clusters_of(named: list[Named]) -> list[list[Named]]:
    """Lines nearer than a band's width share one band; a full band keeps its named and strongest lines."""
    clusters: list[list[Named]] = []
    for line in named:
        if clusters and line.frequency_hz - clusters[-1][0].frequency_hz < _BAND_HZ:
            clusters[-1].append(line)
        else:
            clusters.append([line])
    kept = []
    for cluster in clusters:
        ranked = sorted(cluster, key=lambda line: (line.plane is None, -line.level_db))[:_MOST_COMPONENTS]
        if any(line.plane is not None for line in ranked):
            kept.append(sorted(ranked, key=lambda line: line.frequency_hz))
    return kept
