"""How a wheel stands before a pass: the best estimate from its readings, and what each spoke should hold. Pure.

Imports the wheel, its geometry, untrue rims and errors. Arrays have one entry a spoke, in rim order.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from tensionear.errors import InputError
from tensionear.wheel.geometry import Side, side_tension_ratio
from tensionear.wheel.model import Wheel
from tensionear.wheel.ringbeam import Floats
from tensionear.wheel.untrue import USUAL, Untrue, most_likely

Flags = npt.NDArray[np.bool_]

#: Standard uncertainties of readings that state none: of tension within its side, and of a dial gauge, run-out and dish.
U_TENSION_PERCENT, U_RUNOUT_M, U_DISH_M = 1.0, 0.02e-3, 0.02e-3  # common practice, no source
#: A tension is never known better than this, in percent: a spoke does not hold still better.
LEAST_PERCENT = 0.1
#: What a spoke is taken to hold where neither tension nor target is known, for stiffness only. Common practice.
USUAL_N = 1000.0
#: How wheels come about, one sigma: nipples at random by so many turns. Judgement, no source.
TURNED = 0.1
#: Factors of that, as the scatter of tensions makes it, among which the readings choose.
TURNED_FACTORS = tuple(float(2**power) for power in np.arange(-0.75, 1.0, 0.25))
#: Level of each side, and what a tension has that no turn explains, as shares of the target. Judgement, no source.
LEVEL, SLACK = 0.15, 0.003
#: From so many standard uncertainties apart a tension is not what turns could make, and is believed all the same.
SURPRISE_U = 4.0
#: So many places of run-out tell how untrue this rim is.
ENOUGH_PLACES = 12
#: Zero of a run-out, and where the rim stands at all: not known before.
FREE_M = 2e-3


@dataclass(frozen=True, slots=True)
class Readings:
    """What was read, by spoke number; lateral + to the right, radial + outward with an arbitrary zero.

    ``dish_m`` is the mean lateral place; if given, the zero of ``lateral_m`` is arbitrary too. ``u_tensions_n`` are
    individual standard uncertainties; a spoke without one gets 1 %.
    """

    tensions_n: Mapping[int, float]
    lateral_m: Mapping[int, float]
    radial_m: Mapping[int, float]
    dish_m: float | None
    u_tensions_n: Mapping[int, float]


@dataclass(frozen=True, slots=True, eq=False)
class Rows:
    """Readings in rows: tension (N), lateral and radial place (m) of each spoke, stacked; (3 spokes,) each.

    ``u`` is the standard uncertainty, infinite where nothing was read.
    """

    values: Floats
    u: Floats

    @property
    def read(self) -> Flags:
        """Which rows were read, (3, spokes)."""
        return np.isfinite(self.u).reshape(3, -1)


@dataclass(frozen=True, slots=True, eq=False)
class Stand:
    """The best estimate of a wheel from its readings.

    Parameters
    ----------
    state : (3 spokes,)
        Tension (N), lateral and radial place (m) of each spoke, stacked; radial about its mean.
    covariance : (3 spokes, 3 spokes)
    target_n : (spokes,)
    read : (3, spokes)
        What was read at all.
    dish_read : bool
    """

    state: Floats
    covariance: Floats
    target_n: Floats
    read: Flags
    dish_read: bool

    @property
    def tension_n(self) -> Floats:
        """(spokes,)"""
        found: Floats = self.state.reshape(3, -1)[0]
        return found

    @property
    def u(self) -> Floats:
        """Standard uncertainties of the state, (3, spokes)."""
        found: Floats = np.sqrt(np.maximum(np.diag(self.covariance), 0.0)).reshape(3, -1)
        return found


def rows_of(wheel: Wheel, readings: Readings) -> Rows:
    """The readings in rows; InputError for one that cannot be used or if there is none."""
    _check(wheel, readings)
    count = wheel.spokes
    values, u = np.zeros((3, count)), np.full((3, count), np.inf)
    for number, value in readings.tensions_n.items():
        stated = readings.u_tensions_n.get(number, value * U_TENSION_PERCENT / 100)
        values[0, number - 1], u[0, number - 1] = value, max(stated, value * LEAST_PERCENT / 100)
    for row, table in ((1, readings.lateral_m), (2, readings.radial_m)):
        for number, value in table.items():
            values[row, number - 1], u[row, number - 1] = value, U_RUNOUT_M
    return Rows(values.ravel(), u.ravel())


@dataclass(frozen=True, slots=True, eq=False)
class Supposed:
    """What a wheel is taken for before its readings, one sigma each: how far its nipples were turned at random, in
    turns; how untrue its rim is; and what each tension has that no turn explains, ``free_n`` (spokes,)."""

    turned: float
    untrue: Untrue
    free_n: Floats


@dataclass(frozen=True, slots=True, eq=False)
class Seen:
    """Readings of a wheel that should hold ``target_n`` (spokes,), as linear maps of its state.

    ``maps`` (readings, 3 spokes), ``values`` and ``scale`` (readings,), and ``noise`` (readings, readings), their
    covariance; all but ``rows`` and ``maps`` in the readings' own standard deviations 1 / ``scale``.
    """

    rows: Rows
    dish_read: bool
    target_n: Floats
    maps: Floats
    values: Floats
    scale: Floats
    noise: Floats

    def weighed(self, change: Floats, supposed: Supposed) -> tuple[Floats, Floats, float]:
        """State, covariance, and the logarithm of how likely the readings are; ``change`` as in `stand_of`."""
        mean, prior = _before_reading(self.rows, self.target_n, change, supposed)
        maps = self.scale[:, None] * self.maps
        root = np.linalg.cholesky(maps @ prior @ maps.T + self.noise)
        half = np.linalg.solve(root, maps @ prior)
        unit = np.linalg.solve(root, self.scale * (self.values - self.maps @ mean))
        log_likelihood = -0.5 * float(unit @ unit) - float(np.log(np.diag(root)).sum())
        return mean + half.T @ unit, prior - half.T @ half, log_likelihood


def seen(rows: Rows, dish_m: float | None, target_n: Floats) -> Seen:
    """The readings as what is seen of a state; without ``dish_m`` the zero of the lateral readings counts."""
    maps, values, noise = _what_was_read(rows, dish_m, len(target_n))
    scale = 1 / np.sqrt(np.diag(noise))
    dish_read = dish_m is not None or bool(rows.read[1].any())
    return Seen(rows, dish_read, target_n, maps, values, scale, scale[:, None] * noise * scale)


def suppose(what: Seen, change: Floats) -> Supposed:
    """What the readings themselves make of the usual suppositions.

    A tension that no such wheel has (a broken spoke, a wrong pluck) is to stand as it was read; and where run-out was read
    at enough places, it tells how untrue this rim is.
    """
    count, read = len(what.target_n), what.rows.read
    usual = Supposed(_turned(what, change), USUAL, np.full(count, SLACK) * what.target_n)
    first, _, _ = what.weighed(change, usual)
    apart = np.where(read[0], np.abs(what.rows.values - first)[:count], 0.0)
    free = np.where(apart > SURPRISE_U * what.rows.u[:count], np.maximum(apart, usual.free_n), usual.free_n)
    usual = replace(usual, free_n=free)

    def likely(tried: Supposed) -> float:
        return what.weighed(change, tried)[2]

    if np.count_nonzero(read[1:]) < ENOUGH_PLACES:
        return usual
    best = replace(usual, untrue=most_likely(lambda untrue: likely(replace(usual, untrue=untrue))))
    if not read[0].any():
        return best
    return max((replace(best, turned=best.turned * factor) for factor in TURNED_FACTORS), key=likely)


def _turned(what: Seen, change: Floats) -> float:
    """How far nipples were turned at random, by how much tensions scatter."""
    read = what.rows.read[0]
    if not read.any():
        return TURNED
    share = what.rows.values[: len(read)][read] / what.target_n[read]
    scatter = float(np.std(share)) * float(what.target_n.mean())
    return max(TURNED, scatter / float(np.mean(np.diag(change[: len(read)]))))


def stand_of(what: Seen, change: Floats, supposed: Supposed) -> Stand:
    """What the readings say of the wheel together with how wheels come about.

    Parameters
    ----------
    what : Seen
    change : (3 spokes, spokes)
        What a turn of each nipple does to tension, lateral and radial place.
    supposed : Supposed

    Notes
    -----
    A wheel is taken for a true one at some level whose nipples were turned at random and whose rim is not quite true, by
    as much as its run-out makes likely; readings are weighed against that by linear least squares (C. E. Rasmussen and
    C. K. I. Williams, Gaussian Processes for Machine Learning, eqs. 2.25, 2.26 and 2.30; from memory). It takes noise off
    the readings that no wheel could have, and tells what was not read from what was.
    """
    count = len(what.target_n)
    state, covariance, _ = what.weighed(change, supposed)
    about_mean = np.eye(3 * count)
    about_mean[2 * count :, 2 * count :] -= 1 / count
    state, covariance = about_mean @ state, about_mean @ covariance @ about_mean
    return Stand(state, (covariance + covariance.T) / 2, what.target_n, what.rows.read, what.dish_read)


def _before_reading(rows: Rows, target_n: Floats, change: Floats, supposed: Supposed) -> tuple[Floats, Floats]:
    """Mean and covariance of the state of such wheels."""
    count = len(target_n)
    read = rows.read[0]
    level = float(np.mean(rows.values[:count][read] / target_n[read])) if read.any() else 1.0
    mean = np.concatenate([level * target_n, np.zeros(2 * count)])
    prior = supposed.turned**2 * change @ change.T
    lateral, radial = slice(count, 2 * count), slice(2 * count, 3 * count)
    for block, covariance in zip((lateral, radial), supposed.untrue.covariance(count), strict=True):
        prior[block, block] += covariance + FREE_M**2
    sides = target_n[:, None] * np.isclose(target_n[:, None], target_n)
    prior[:count, :count] += (LEVEL * np.where(sides > 0, target_n, 0.0)) * LEVEL * target_n[:, None]
    prior[:count, :count] += np.diag(supposed.free_n**2)
    return mean, prior


def _what_was_read(rows: Rows, dish_m: float | None, count: int) -> tuple[Floats, Floats, Floats]:
    """Readings as linear maps of the state, their values and the covariance of their errors."""
    places = np.flatnonzero(np.isfinite(rows.u))
    maps, values = np.eye(3 * count)[places], rows.values[places].copy()
    noise = np.diag(rows.u[places] ** 2)
    part = places // count
    free = [2] if dish_m is None else [1, 2]
    for which in free:
        members = np.flatnonzero(part == which)
        if len(members):
            values[members] -= values[members].mean()
            noise[np.ix_(members, members)] += FREE_M**2
    if dish_m is not None:
        mean = np.concatenate([np.zeros(count), np.full(count, 1 / count), np.zeros(count)])
        maps, values = np.vstack([maps, mean]), np.append(values, dish_m)
        noise = np.block([[noise, np.zeros((len(noise), 1))], [np.zeros((1, len(noise))), np.array([[U_DISH_M**2]])]])
    return maps, values, noise


def targets_n(wheel: Wheel, tensions_n: Mapping[int, float]) -> tuple[Floats, tuple[str, ...]]:
    """What each spoke should hold, N, and what to say about it.

    The sides of a rim at rest hold each other in the ratio their angles dictate, whatever is wished: the tighter side
    gets its target, the other follows. Without a target the level stays as it is.
    """
    ratio = side_tension_ratio([place.line for place in wheel.places if place.line is not None])
    shape = np.array([ratio if ratio is not None and place.side == "left" else 1.0 for place in wheel.places])
    stated = {side: whole.target_n for side, whole in wheel.sides.items() if whole.target_n is not None}
    if ratio is None:
        return _side_by_side(wheel, stated, tensions_n), ()
    if stated:
        share: dict[Side, float] = {"right": 1.0, "left": ratio}
        tight = max(stated, key=lambda side: share[side])
        level = stated[tight] / share[tight]
        notes = []
        for side, wished in stated.items():
            follows = level * share[side]
            if abs(follows - wished) > 0.03 * wished:
                notes.append(
                    f"the {side} side is planned to {follows:.0f} N, not its target of {wished:.0f} N: "
                    f"with the other at {stated[tight]:.0f} N the rim rests in the middle only so"
                )
        return shape * level, tuple(notes)
    if tensions_n:
        level = float(np.mean([tensions_n[number] / shape[number - 1] for number in tensions_n]))
        return shape * level, ("no target is stated: the mean tension is kept as it is",)
    return shape * USUAL_N / max(ratio, 1.0), ()


def _side_by_side(wheel: Wheel, stated: Mapping[Side, float], tensions_n: Mapping[int, float]) -> Floats:
    """Targets of a wheel whose sides do not balance each other: the stated ones, else the present means."""
    found = np.full(wheel.spokes, USUAL_N)
    for side, whole in wheel.sides.items():
        read = [tensions_n[number] for number in whole.numbers if number in tensions_n]
        level = stated.get(side) or (math.fsum(read) / len(read) if read else USUAL_N)
        found[np.array(whole.numbers) - 1] = level
    return found


def _check(wheel: Wheel, readings: Readings) -> None:
    """InputError for a spoke the wheel does not have, or a number that is none."""
    if not readings.tensions_n and not readings.lateral_m and not readings.radial_m and readings.dish_m is None:
        raise InputError(
            "no readings given: turns are planned from tensions, run-out or dish; "
            "give tensions_n, lateral_m, radial_m or dish_m (on the command line --tensions, --runout)"
        )
    tables = {
        "tensions_n": (readings.tensions_n, 1.0, 10_000.0, "N"),
        "lateral_m": (readings.lateral_m, -0.05, 0.05, "m"),
        "radial_m": (readings.radial_m, -0.05, 0.05, "m"),
    }
    for name, (table, least, most, unit) in tables.items():
        for number, value in table.items():
            if not isinstance(number, (int, np.integer)) or not 1 <= number <= wheel.spokes:
                raise InputError(
                    f"{name}: spoke {number} is given, the wheel has 1 to {wheel.spokes}; check the spoke numbers"
                )
            if not (math.isfinite(value) and least <= value <= most):
                raise InputError(
                    f"{name}: spoke {number} is given {value:g} {unit}; allowed: {least:g} to {most:g} {unit}; "
                    "check the number and its unit"
                )
    for number, value in readings.u_tensions_n.items():
        if not (math.isfinite(value) and 0 <= value <= 10_000):
            raise InputError(
                f"u_tensions_n: spoke {number} is given {value:g} N; give a standard uncertainty, 0 to 10000 N"
            )
    if readings.dish_m is not None and not (math.isfinite(readings.dish_m) and abs(readings.dish_m) <= 0.05):
        raise InputError(f"dish_m is {readings.dish_m:g} m; allowed: -0.05 to 0.05 m; check the number and its unit")
