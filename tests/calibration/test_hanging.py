"""Hanging masses on exact partials: mass and stiffness come back, the jig's ends do not matter, slips are refused."""

from __future__ import annotations

import dataclasses

import numpy as np
import pytest

from tensionear.calibration.hanging import Hung, Jig, fit_hanging, pull_of, working_load_n
from tensionear.calibration.lots import figures_of
from tensionear.catalogue import library_spoke
from tensionear.errors import InputError
from tensionear.physics.beam import natural_frequencies
from tensionear.physics.gravity import Gravity
from tensionear.physics.inverse import Partials
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


@pytest.mark.parametrize("seed", [1, 2, 3, 4])
def test_a_flat_spoke_with_round_ends(seed: int) -> None:
    """Its middle and its ends are each off by their own tolerances, as a lot's are."""
    rng = np.random.default_rng(seed)
    spoke = library_spoke("steel-oval-2.3x1.0")
    width, thick, end = 1 + rng.normal(size=3) * [0.005, 0.01, 0.003]
    ends, middle = (end**2, end**4, end**4), (width * thick, width * thick**3, width**3 * thick)
    names = ("linear_density_kg_m", "flat_stiffness_n_m2", "edge_stiffness_n_m2")
    pieces = [
        dataclasses.replace(each, **{name: getattr(each, name) * by for name, by in zip(names, up, strict=True)})
        for each, up in zip(spoke.stretches(LENGTH_M), (ends, middle, ends), strict=True)
    ]
    logs, sd = np.zeros((len(MASSES), 3, MODES)), np.full((len(MASSES), 3, MODES), np.inf)
    pulls = [pull_of(mass, spoke, JIG) for mass in MASSES]
    for row, pull in enumerate(pulls):
        for at, plane in enumerate(("flat", "edge")):
            found = np.log(natural_frequencies(pieces, pull, 8.0, 30.0, plane, HEARD))  # type: ignore[arg-type]
            logs[row, at, :HEARD] = found + 1e-4 * rng.normal(size=HEARD)
            sd[row, at, :HEARD] = 1e-4
    result = fit_hanging(spoke, JIG, hung(), Partials(logs, sd, np.log(pulls)))
    figures = {each.name: each for each in figures_of(result.lot)}
    told = ("mass per length", "bending stiffness, flat", "bending stiffness, edge")
    for name, true in zip(told, middle, strict=True):
        one = figures[name]
        assert abs(one.value / one.tabled - true) < 3 * one.u / one.tabled, name


def test_the_budget_is_the_whole_uncertainty_of_the_mass() -> None:
    result = fit_hanging(ROUND, JIG, hung(), partials(1.0, 1.0))
    mass = figures_of(result.lot)[0]
    assert result.budget.combined_standard_uncertainty == pytest.approx(mass.u / mass.tabled, rel=1e-3)
    parts = {each.source: each.contribution for each in result.budget.contributions}
    assert parts["length"] == pytest.approx(
        2 * JIG.u_length_m / LENGTH_M, rel=0.2
    )  # f is as 1/L for a string: mu as 1/L^2
    assert parts["masses, each by itself"] == pytest.approx(
        1e-3 / np.sqrt(5), rel=0.5
    )  # mu is as the mean of the pulls
    assert parts["gravity and buoyancy"] < 1e-4


def test_a_split_that_is_misheard_does_not_draw_the_mass_off() -> None:
    """The upper of two lines heard 0.3 % high throughout: not a plane of a stiffer spoke, for the jig holds both alike."""
    heard = partials(1.0, 1.0)
    heard.log_frequency[:, 1, :HEARD] += 0.003
    found = figures_of(fit_hanging(ROUND, JIG, hung(), heard).lot)[0]
    assert abs(found.value / found.tabled - 1) < 2.5 * found.u / found.tabled
    assert (
        found.u / found.tabled
        > 1.2 * figures_of(fit_hanging(ROUND, JIG, hung(), partials(1.0, 1.0)).lot)[0].u / found.tabled
    )
