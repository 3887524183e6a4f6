"""Hanging masses on exact partials: mass and stiffness come back, the jig's ends do not matter, slips are refused."""

from __future__ import annotations

import dataclasses

import numpy as np
import pytest

from tensionear.calibration.hanging import Hung, Jig, fit_hanging, pull_of, working_load_n
from tensionear.calibration.lots import figures_of
from tensionear.errors import InputError
from tensionear.physics.beam import natural_frequencies
from tensionear.physics.gravity import Gravity
from tensionear.physics.group import Partials
from tensionear.physics.modes import MODES
from tests.physics.drawn import ROUND

LENGTH_M = 0.280
JIG = Jig(LENGTH_M, 1e-4, Gravity(9.81, 1e-4), 7900.0)
MASSES = (10.0, 18.0, 28.0, 40.0, 55.0)
HEARD = 6


def partials(
    mass_factor: float, stiffness_factor: float, ends: tuple[float, float] = (8.0, 30.0), seed: int = 0
) -> Partials:
    rng = np.random.default_rng(seed)
    pieces = [
        dataclasses.replace(
            each,
            linear_density_kg_m=each.linear_density_kg_m * mass_factor,
            flat_stiffness_n_m2=each.flat_stiffness_n_m2 * stiffness_factor,
            edge_stiffness_n_m2=each.edge_stiffness_n_m2 * stiffness_factor,
        )
        for each in ROUND.stretches(LENGTH_M)
    ]
    logs, sd = np.zeros((len(MASSES), 3, MODES)), np.full((len(MASSES), 3, MODES), np.inf)
    pulls = [pull_of(mass, ROUND, JIG) for mass in MASSES]
    for row, pull in enumerate(pulls):
        found = np.log(natural_frequencies(pieces, pull, *ends, "flat", HEARD))
        for plane in range(2):
            logs[row, plane, :HEARD] = found + 1e-4 * rng.normal(size=HEARD)
            sd[row, plane, :HEARD] = 1e-4
    return Partials(logs, sd, np.log(pulls))


def hung(masses: tuple[float, ...] = MASSES) -> tuple[Hung, ...]:
    return tuple(Hung(mass, 1e-3 * mass) for mass in masses)


@pytest.mark.parametrize(("mass", "stiffness"), [(1.0, 1.0), (1.008, 0.98), (0.993, 1.03)])
@pytest.mark.parametrize("ends", [(8.0, 30.0), (2.0, 150.0)])
def test_mass_and_stiffness_come_back(mass: float, stiffness: float, ends: tuple[float, float]) -> None:
    result = fit_hanging(ROUND, JIG, hung(), partials(mass, stiffness, ends))
    figures = {each.name: each for each in figures_of(result.lot)}
    found, bending = figures["mass per length"], figures["bending stiffness"]
    assert found.value / found.tabled == pytest.approx(mass, abs=0.003)
    assert abs(found.value / found.tabled - mass) < 3 * found.u / found.tabled
    assert bending.value / bending.tabled == pytest.approx(stiffness, abs=0.02)
    assert found.u / found.value < 0.0025
    assert result.probability > 0.01


def test_half_the_spoke_and_the_air_count() -> None:
    """55 kg: half of 6.9 g adds 0.0063 %, air takes 0.0152 % off."""
    assert pull_of(55.0, ROUND, JIG) / (55.0 * 9.81) - 1 == pytest.approx(0.0000632 - 0.000152, abs=2e-6)


@pytest.mark.parametrize(
    ("masses", "match"),
    [
        ((10.0, 10.0, 28.0, 28.0, 28.0), "at least 3 different"),
        ((10.0, 18.0, 28.0, 40.0, 550.0), "hang less"),
        ((0.010, 18.0, 28.0, 40.0, 55.0), "hang more"),
        ((10.0, 18.0, 28.0, 40.0, 70.0), "70 kg does not go with its sound"),
        ((22.0, 39.6, 61.7, 88.0, 98.0), "% of the stated masses"),
    ],
)
def test_slips_are_refused(masses: tuple[float, ...], match: str) -> None:
    with pytest.raises(InputError, match=match):
        fit_hanging(ROUND, JIG, hung(masses), partials(1.0, 1.0))


def test_a_makers_limit_counts_more_than_the_usual_stress() -> None:
    assert working_load_n(dataclasses.replace(ROUND, max_tension_n=700.0)) == 700.0
    assert working_load_n(ROUND) == pytest.approx(330e6 * np.pi * 1e-6)
