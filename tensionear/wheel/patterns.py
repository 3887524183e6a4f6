"""Patterns in the deviations of a wheel's spokes: waves, zigzag, two kinds, pairs, neighbours. Imports numpy, model, reading.

Each test compares a pattern with the scatter of what it leaves over, so that an unevenness without order names none.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from tensionear.reading import Finding

from .evenness import side_pattern
from .geometry import Side
from .model import Wheel
from .sidefit import ReadTension

Floats = npt.NDArray[np.float64]

_FEWEST = 8  # spokes of a side below which no pattern is looked for
_SURE = 4.5  # standard deviations from which a pattern is no accident: some 1e-5 for each that is looked for
_WAVE, _ZIGZAG = 0.4, 0.4  # amplitude as a share of the evenness limit; judgement, no source
_APART = 0.10  # two kinds of spoke sound at least so far apart in tension; judgement, no source
_SLACK_PAIR = -0.10  # both of a pair so far under the mean; judgement, no source
_SHARP = 1.5  # neighbours differ sharply from so many evenness limits on; judgement, no source
_SPLIT = 0.10  # levels of the sides so far apart tell how the wheel is laced


@dataclass(frozen=True, slots=True)
class Patterns:
    """What was found, and which spokes' unevenness it explains: they are not named one by one as well."""

    findings: tuple[Finding, ...]
    explained: frozenset[int]


@dataclass(frozen=True, slots=True, eq=False)
class _Row:
    """The judged spokes of a side in rim order: numbers, ranks within the side from 0, deviations and their u."""

    side: Side
    numbers: tuple[int, ...]
    ranks: Floats
    deviation: Floats
    u: Floats

    def scatter(self, left_over: Floats) -> float:
        """Standard deviation of what a pattern leaves over, from its mean size; at least the readings' own doubt."""
        size = math.sqrt(math.pi / 2) * float(np.mean(np.abs(left_over)))  # of a normal distribution
        size *= math.sqrt(len(left_over) / (len(left_over) - 2))  # two medians were taken off
        return max(size, float(np.mean(self.u)), 1e-4)


def patterns_of(wheel: Wheel, tensions: Mapping[int, ReadTension], allowed: float) -> Patterns:
    """All patterns; ``allowed`` is the evenness limit as a ratio."""
    rows = [_row(wheel, side, tensions) for side in wheel.sides]
    rows = [row for row in rows if len(row.numbers) >= _FEWEST]
    laced = _lacing(wheel, tensions)
    if laced:
        return Patterns(tuple(laced), frozenset(tensions))
    found: list[Finding] = []
    explained: set[int] = set()
    for row in rows:
        one = _zigzag(row, allowed) or _two_kinds(row)
        if one is not None:
            found.append(one)
            explained |= set(row.numbers) if one.code == "zigzag" else set(one.spokes)
            if one.code == "mixed-spokes":
                explained |= set(_shifted(row, one.spokes, allowed))
    found += _waves(wheel, [row for row in rows if not explained & set(row.numbers)], allowed)
    for row in rows:
        pairs = _loose_pairs(wheel, row)
        if pairs:
            text = "both of a pair are slack: look for a dent, a blow or a moved rim there before turning"
            found.append(Finding("loose-pair", text, pairs, "fault"))
            explained |= set(pairs)
    return Patterns(tuple(found), frozenset(explained))


def sharp_neighbours(wheel: Wheel, tensions: Mapping[int, ReadTension], allowed: float) -> tuple[int, ...]:
    """Spokes next to each other on a side that surely differ by more than 1.5 limits, although neither is out alone."""
    found: set[int] = set()
    for side in wheel.sides:
        numbers = [number for number in wheel.sides[side].numbers if number in tensions]
        for here, there in zip(numbers, numbers[1:] + numbers[:1], strict=True):
            one, other = tensions[here], tensions[there]
            apart = abs(one.deviation - other.deviation)
            if apart - 1.645 * math.hypot(one.u_deviation, other.u_deviation) > _SHARP * allowed:
                found |= {here, there}
    return tuple(sorted(found))


def _row(wheel: Wheel, side: Side, tensions: Mapping[int, ReadTension]) -> _Row:
    order = wheel.sides[side].numbers
    numbers = tuple(number for number in order if number in tensions)
    ranks = np.array([order.index(number) for number in numbers], dtype=float)
    deviation = np.array([tensions[number].deviation for number in numbers])
    return _Row(side, numbers, ranks, deviation, np.array([tensions[number].u_deviation for number in numbers]))


def _zigzag(row: _Row, allowed: float) -> Finding | None:
    """Tight and slack in turn."""
    signs = np.where(row.ranks % 2 == 0, 1.0, -1.0)
    up, down = row.deviation[signs > 0], row.deviation[signs < 0]
    if len(up) < 3 or len(down) < 3:
        return None
    amplitude = float(np.median(up) - np.median(down)) / 2
    left_over = np.where(signs > 0, row.deviation - np.median(up), row.deviation - np.median(down))
    # the median of n scatters 1.25 times as far as the mean of n
    sd = row.scatter(left_over) * 1.25 * math.sqrt(1 / len(up) + 1 / len(down)) / 2
    if abs(amplitude) < _ZIGZAG * allowed or abs(amplitude) < _SURE * sd:
        return None
    text = (
        f"{row.side} side: every second spoke reads {200 * abs(amplitude):.1f} % tighter: first see whether the heads sit "
        "elbow-in and elbow-out in turn (then their free lengths differ: state them), only then even them out"
    )
    return Finding("zigzag", text, row.numbers)


def _two_kinds(row: _Row) -> Finding | None:
    """Some spokes of a side all off by the same: of another kind or length."""
    order = np.argsort(row.deviation)
    sorted_ones = row.deviation[order]
    gaps = np.diff(sorted_ones)
    for cut in np.argsort(gaps)[::-1][:2]:
        low, high = sorted_ones[: cut + 1], sorted_ones[cut + 1 :]
        fewer = order[: cut + 1] if len(low) < len(high) else order[cut + 1 :]
        apart = float(high.mean() - low.mean())
        inside = max(float(np.std(low)), float(np.std(high)), float(np.mean(row.u)))
        if len(fewer) >= 3 and apart > _APART and gaps[cut] > 0.5 * apart and apart > 5 * inside:
            numbers = tuple(sorted(row.numbers[int(at)] for at in fewer))
            if np.all(np.diff(np.sort(fewer)) == 1):
                return None  # an unbroken stretch of the rim is no mixture but a dent or a blow
            text = (
                f"{row.side} side: these read {100 * apart:.0f} % off the rest, all by the same: spokes of another kind or "
                "length? Measure one of each and state it ([spoke.N] in the wheel file); turn none on this reading"
            )
            return Finding("mixed-spokes", text, numbers)
    return None


def _shifted(row: _Row, odd: Sequence[int], allowed: float) -> tuple[int, ...]:
    """Spokes that are off the side's mean only because the odd ones pull the mean."""
    rest = np.array([number not in odd for number in row.numbers])
    level = 1 + float(np.median(row.deviation[rest]))
    near = np.abs((1 + row.deviation) / level - 1) < allowed
    return tuple(
        number for number, is_near, is_rest in zip(row.numbers, near, rest, strict=True) if is_near and is_rest
    )


def _waves(wheel: Wheel, rows: Sequence[_Row], allowed: float) -> list[Finding]:
    """A slow wave round the rim: once or twice round, of both sides together or one against the other."""
    best: tuple[float, Finding] | None = None
    if not rows:
        return []
    angle = np.concatenate([2 * np.pi * (np.array(row.numbers) - 0.5) / wheel.spokes for row in rows])
    side = np.concatenate([np.full(len(row.numbers), 1.0 if row.side == "right" else -1.0) for row in rows])
    deviation = np.clip(np.concatenate([row.deviation for row in rows]), -2 * allowed, 2 * allowed)
    u = float(np.mean(np.concatenate([row.u for row in rows])))
    for order in (1, 2):
        for sense in (np.ones_like(side), side) if len(rows) > 1 else (np.ones_like(side),):
            basis = np.stack([sense * np.cos(order * angle), sense * np.sin(order * angle)], axis=1)
            fit, *_ = np.linalg.lstsq(basis, deviation, rcond=None)
            amplitude = float(np.hypot(*fit))
            sd = max(float(np.std(deviation - basis @ fit)), u) * math.sqrt(2 / len(deviation))
            if amplitude < _WAVE * allowed or amplitude < _SURE * sd:
                continue
            times = {1: "once", 2: "twice"}[order]
            harmonic = {1: "first", 2: "second"}[order]
            if np.all(sense == 1):
                what = "both sides together: the rim is out of round" if len(rows) > 1 else "the rim is out of round"
            else:
                what = "the sides against each other: the rim runs out sideways"
            text = (
                f"tension swings {times} round the rim by +/- {100 * amplitude:.1f} % ({harmonic} harmonic), {what}, or was "
                "true before it was tensioned; check run-out before evening it out"
            )
            finding = Finding("slow-wave", text)
            if best is None or amplitude / sd > best[0]:
                best = (amplitude / sd, finding)
    return [] if best is None else [best[1]]


def _loose_pairs(wheel: Wheel, row: _Row) -> tuple[int, ...]:
    """Pairs of crossing partners (neighbours of a side where none is known) that are both surely slack."""
    slack = {
        number
        for number, deviation, u in zip(row.numbers, row.deviation, row.u, strict=True)
        if deviation + 1.645 * u < _SLACK_PAIR
    }
    found: set[int] = set()
    order = wheel.sides[row.side].numbers
    for rank, number in enumerate(order):
        meets = wheel.place(number).meets
        partner = order[(rank + 1) % len(order)] if meets is None or meets.partner is None else meets.partner
        if {number, partner} <= slack:
            found |= {number, partner}
    return tuple(sorted(found))


def _lacing(wheel: Wheel, tensions: Mapping[int, ReadTension]) -> list[Finding]:
    """Whether the spokes' levels follow another pattern of sides than the file's."""
    if (
        len(wheel.sides) < 2
        or len(tensions) < 0.8 * wheel.spokes
        or any(not one.tension_n for one in tensions.values())
    ):
        return []
    logs = {number: math.log(one.tension_n) for number, one in tensions.items()}
    groups = side_pattern(logs, wheel.spokes)
    if set(groups) == {"all"}:
        return []
    level = {
        group: float(np.median([logs[number] for number in logs if groups[number - 1] == group]))
        for group in ("higher", "lower")
    }
    if level["higher"] - level["lower"] < _SPLIT:
        return []
    stated = {frozenset(side.numbers) for side in wheel.sides.values()}
    heard = {frozenset(n for n, group in enumerate(groups, 1) if group == name) for name in level}
    if stated == heard:
        return []
    text = (
        "tight and slack spokes follow another order round the rim than the wheel file's sides: check [lacing] sides and "
        "which spoke is 1; turn nothing on this reading"
    )
    return [Finding("lacing-disagrees", text)]
