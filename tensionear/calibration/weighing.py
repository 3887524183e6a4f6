"""Mass per length of spokes from a balance and a rule, with its budget. Pure; imports physics."""

from __future__ import annotations

import math
from dataclasses import dataclass

from tensionear.errors import InputError
from tensionear.physics.spoke import Spoke
from tensionear.physics.uncertainty import Budget, Contribution

#: Standard uncertainty, relative, of taking a spoke as plain wire all along: its head and thread. Judgement, no source.
U_ENDS = 0.003
#: Implausible masses: no spoke weighs so little or so much a metre (g/m).
_LIGHTEST, _HEAVIEST = 2.0, 80.0
#: Deviations from the kind's mass, relative, that are told, and how surely (standard uncertainties).
_TOLD, _SURELY = 0.01, 2.5


@dataclass(frozen=True, slots=True)
class Weighed:
    """What was weighed: mass of all (kg), how many, whole length of one (m), each with its standard uncertainty.

    ``ends_kg`` and ``ends_m`` are mass and length of the metal ends of one composite spoke, which are taken off; they were
    weighed on the same balance and measured with the same rule.
    """

    mass_kg: float
    u_mass_kg: float
    count: int
    length_m: float
    u_length_m: float
    ends_kg: float = 0.0
    ends_m: float = 0.0


@dataclass(frozen=True, slots=True)
class WeighingResult:
    """Mass per length in kg/m with its budget; against a kind of spoke ``relative`` (0 is equal) and what that implies."""

    kg_m: float
    budget: Budget
    tabled_kg_m: float | None = None
    relative: float | None = None
    u_relative: float | None = None
    implies: str | None = None


def weigh(given: Weighed, spoke: Spoke | None) -> WeighingResult:
    """Mass per length, and what it says of a kind of spoke.

    Raises
    ------
    InputError
        If a number cannot be a spoke's.
    """
    _check(given)
    one, length = given.mass_kg / given.count - given.ends_kg, given.length_m - given.ends_m
    value = one / length
    by_length = -value / length
    ends: tuple[Contribution, ...]
    if given.ends_kg:
        ends = (
            Contribution("mass of the metal ends, kg", given.ends_kg, given.u_mass_kg, -1 / length),
            Contribution("length of the metal ends, m", given.ends_m, given.u_length_m, -by_length),
        )
    else:
        ends = (Contribution("head and thread, relative", 0.0, U_ENDS, value),)
    budget = Budget(
        (
            Contribution("mass on the balance, kg", given.mass_kg, given.u_mass_kg, 1 / (given.count * length)),
            Contribution("whole length, m", given.length_m, given.u_length_m, by_length),
            *ends,
        )
    )
    if not _LIGHTEST <= 1e3 * value <= _HEAVIEST:
        raise InputError(
            f"{1e3 * value:.1f} g/m is no spoke's mass per length ({_LIGHTEST:.0f} to {_HEAVIEST:.0f} g/m); check --mass (g), "
            "--count and "
            "--whole-length (mm)"
        )
    if spoke is None:
        return WeighingResult(value, budget)
    tabled = sum(piece.length_m * piece.linear_density_kg_m for piece in spoke.stretches(length)) / length
    u_tabled = math.hypot(*whole_slopes(spoke, length))
    relative, u = value / tabled - 1, budget.combined_standard_uncertainty / value
    return WeighingResult(
        value, budget, tabled, relative, u, implication(spoke, relative, math.hypot(u, u_tabled), given.ends_kg > 0)
    )


def whole_slopes(spoke: Spoke, length_m: float) -> list[float]:
    """What one standard deviation of each tolerance does to the mass of a whole spoke (relative)."""
    mass = [piece.length_m * piece.linear_density_kg_m for piece in spoke.stretches(length_m)]
    thick = sum(mass[at] for at in spoke.end_pieces()) / sum(mass)
    return [each.linear_density + thick * each.ends_beyond[0] for each in spoke.tolerances()]


def implication(spoke: Spoke, relative: float, u: float, ends_apart: bool) -> str:
    """What a mass so far off the kind's says of the section; ``ends_apart``: metal ends were taken off."""
    if abs(relative) < _TOLD or abs(relative) < _SURELY * u:
        return "as its section and material say"
    heavy = relative > 0
    size = "thickness" if spoke.is_flat else "diameter"
    size_percent = 100 * (relative if spoke.is_flat else math.sqrt(1 + relative) - 1)
    gauge = f"another {'thickness' if spoke.is_flat else 'gauge'} ({size} {size_percent:+.1f} %)"
    others = "coated or plated, or another material" if heavy else "hollow, more deeply butted, or another material"
    if heavy and spoke.material.name == "carbon" and not ends_apart:
        others = f"metal ends not taken off (--ends-mass, --ends-length), {others}"
    return f"{100 * abs(relative):.1f} % {'heavier' if heavy else 'lighter'} than {spoke.name}: {gauge}, {others}"


def _check(given: Weighed) -> None:
    """Refuse numbers that are no spoke's."""
    if given.count < 1:
        raise InputError(f"{given.count} spokes given; weigh 1 or more, better 10")
    if given.mass_kg <= 0 or given.length_m <= 0:
        raise InputError(f"{1e3 * given.mass_kg:g} g and {1e3 * given.length_m:g} mm given; both must be above 0")
    if (given.ends_kg > 0) != (given.ends_m > 0):
        raise InputError(
            f"metal ends of {1e3 * given.ends_kg:g} g and {1e3 * given.ends_m:g} mm: give both --ends-mass and --ends-length"
        )
    if not 0 <= given.ends_m < given.length_m or not 0 <= given.ends_kg < given.mass_kg / given.count:
        raise InputError(
            f"metal ends of {1e3 * given.ends_kg:g} g and {1e3 * given.ends_m:g} mm leave nothing of a spoke of "
            f"{1e3 * given.mass_kg / given.count:g} g and {1e3 * given.length_m:g} mm; check --ends-mass and --ends-length"
        )
