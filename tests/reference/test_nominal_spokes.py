"""Nominal spokes forward and inverse, sensitivities, butted strings: exact values recomputed with another solver.

Steel E = 200 GPa, 7900 kg/m3 unless said: AISI 304 group, EN 10088-1 (read, secondary).
"""

import math

import numpy as np
import pytest
from scipy.optimize import brentq

from tensionear.physics.beam import natural_frequencies
from tensionear.physics.material import Material
from tensionear.physics.section import Section
from tensionear.physics.spoke import Spoke, Stretch
from tensionear.physics.string import ideal_string_frequency_hz, ideal_string_tension_n
from tests.reference.normalised import CLAMPED, PINNED, cents

STEEL = (200e9, 7900.0)
ENDS = {"pinned": (PINNED, PINNED), "half": (CLAMPED, PINNED), "clamped": (CLAMPED, CLAMPED)}
# diameter mm, free length mm, tension N, (E Pa, rho kg/m3), then: mu g/m, xi, f0 Hz, first mode pinned, clamped-pinned,
# clamped, second mode clamped, EA/L N/mm.
NOMINAL = [
    (2.0, 290, 1000, STEEL, 24.8186, 23.1387, 346.0856, 349.2609, 365.0674, 382.3315, 785.1645, 2166.62),
    (2.0, 290, 1000, (185e9, 8000.0), 25.1327, 24.0584, 343.9158, 346.8355, 361.9047, 378.3085, 775.4507, 2004.12),
    (2.0, 290, 400, STEEL, 24.8186, 14.6342, 218.8838, 223.8706, 240.3312, 259.2089, 550.4610, 2166.62),
    (1.8, 290, 1000, STEEL, 20.1031, 28.5662, 384.5396, 386.8580, 400.9120, 416.0073, 846.8900, 1754.96),
    (1.8, 250, 1000, STEEL, 20.1031, 24.6261, 446.0659, 449.6810, 468.7481, 489.4636, 1002.2316, 2035.75),
    (1.5, 290, 1000, STEEL, 13.9605, 41.1354, 461.4475, 462.7912, 474.3312, 486.4567, 981.4151, 1218.72),
    (2.0, 290, 1000, (113.8e9, 4430.0), 13.9173, 30.6748, 462.1630, 464.5805, 480.2565, 497.0111, 1009.4929, 1232.80),
]
# 2.0 mm x 290 mm steel: Hz, then T in N clamped, clamped-pinned, pinned, as a string.
INVERSE = [
    (300.0, 570.96, 654.67, 732.97, 751.41),
    (350.0, 818.09, 913.75, 1004.31, 1022.75),
    (382.3315, 1000.00, 1103.47, 1202.00, 1220.43),
    (400.0, 1106.76, 1214.52, 1317.40, 1335.84),
]
# The same spoke clamped at 1000 N: d ln T / d ln x at constant frequency of the first mode, from the characteristic
# equation in 40-digit arithmetic (recomputed).
SENSITIVITIES = {"frequency": 2.25393, "length": 2.50785, "diameter": 1.74607, "modulus": -0.12696, "density": 1.12696}
# Double-butted strings without stiffness, 1000 N, 290 mm, ends 30 mm of 2.0 mm: middle mm, Hz; all of the middle, Hz.
BUTTED_STRINGS = [(1.8, 383.8933, 384.5396), (1.5, 458.8495, 461.4473)]


def spoke(diameter_mm: float, modulus_pa: float, density_kg_m3: float, ends_mm: float | None = None) -> Spoke:
    middle = Section("round", diameter_mm / 1000, diameter_mm / 1000)
    ends = middle if ends_mm is None else Section("round", ends_mm / 1000, ends_mm / 1000)
    thick = 0.0 if ends_mm is None else 0.030
    return Spoke("nominal", Material("steel", density_kg_m3, modulus_pa, 0.5, 2.0), middle, ends, thick, thick)


def first_hz(tension_n: float, hub: float, nipple: float, pieces: tuple[Stretch, ...]) -> float:
    return float(natural_frequencies(pieces, tension_n, hub, nipple, "flat", 1)[0])


@pytest.mark.parametrize("row", NOMINAL, ids=lambda row: f"{row[0]} mm, {row[1]} mm, {row[2]} N, {row[3][0]:.3g} Pa")
def test_nominal_spokes_forward(row):
    diameter, length_mm, tension, (modulus, density), g_m, xi, f0, pinned, half, clamped, second, n_per_mm = row
    length = length_mm / 1000
    (piece,) = pieces = spoke(diameter, modulus, density).stretches(length)
    assert 1000 * piece.linear_density_kg_m == pytest.approx(g_m, abs=6e-5)
    assert length * math.sqrt(tension / piece.flat_stiffness_n_m2) == pytest.approx(xi, abs=6e-5)
    assert piece.axial_stiffness_n / length / 1000 == pytest.approx(n_per_mm, abs=6e-3)
    assert ideal_string_frequency_hz(tension, length, piece.linear_density_kg_m) == pytest.approx(f0, abs=6e-5)
    for ends, expected in zip(ENDS.values(), (pinned, half, clamped), strict=True):
        assert cents(first_hz(tension, *ends, pieces), expected) == pytest.approx(0, abs=5e-4)
    two = natural_frequencies(pieces, tension, CLAMPED, CLAMPED, "edge", 2)
    assert cents(two[1], second) == pytest.approx(0, abs=5e-4)


@pytest.mark.parametrize(("frequency", "clamped", "half", "pinned", "string"), INVERSE)
def test_nominal_spokes_inverse(frequency, clamped, half, pinned, string):
    (piece,) = pieces = spoke(2.0, *STEEL).stretches(0.290)
    for ends, expected in [("clamped", clamped), ("half", half), ("pinned", pinned)]:
        found = brentq(
            lambda tension, ends=ends: first_hz(tension, *ENDS[ends], pieces) - frequency, 50, 3000, xtol=1e-7
        )
        assert found == pytest.approx(expected, abs=0.006)
    assert ideal_string_tension_n(frequency, 0.290, piece.linear_density_kg_m) == pytest.approx(string, abs=0.006)


def log_slope(function) -> float:
    """d ln f / d ln x at x = 1 times the nominal value, by central differences."""
    step = 1e-4
    return (math.log(function(1 + step)) - math.log(function(1 - step))) / (2 * step)


def test_sensitivities_of_tension():
    def frequency(tension=1.0, length=1.0, diameter=1.0, modulus=1.0, density=1.0) -> float:
        pieces = spoke(2.0 * diameter, 200e9 * modulus, 7900 * density).stretches(0.290 * length)
        return first_hz(1000 * tension, CLAMPED, CLAMPED, pieces)

    by_tension = log_slope(lambda x: frequency(tension=x))
    found = {"frequency": 1 / by_tension}
    for name in ("length", "diameter", "modulus", "density"):
        found[name] = -log_slope(lambda x, name=name: frequency(**{name: x})) / by_tension
    assert found == pytest.approx(SENSITIVITIES, abs=6e-6)


@pytest.mark.parametrize("ends", ENDS.values(), ids=ENDS)
@pytest.mark.parametrize("tension_n", [150.0, 1000.0])
@pytest.mark.parametrize("mode", [1, 3])
def test_identities_of_the_sensitivities(ends, tension_n, mode):
    """S_f = 2 S_mu, S_d = 2 S_mu + 4 S_EI, S_L = S_f - 2 S_EI, S_mu + S_EI = 1: scaling of the equation of motion.

    They hold for pinned and clamped ends, in any mode; a string has 2, 2, 2, 0, 1.
    """

    def frequency(tension=1.0, length=1.0, mass=1.0, stiffness=1.0) -> float:
        ei = 0.157 * stiffness
        piece = Stretch(0.290 * length, 0.0248 * mass, ei, ei, 0.0)
        return float(natural_frequencies([piece], tension_n * tension, *ends, "flat", mode)[-1])

    by_tension = log_slope(lambda x: frequency(tension=x))
    by_frequency = 1 / by_tension
    by_length = -log_slope(lambda x: frequency(length=x)) / by_tension
    by_mass = -log_slope(lambda x: frequency(mass=x)) / by_tension
    by_stiffness = -log_slope(lambda x: frequency(stiffness=x)) / by_tension
    by_diameter = -log_slope(lambda x: frequency(mass=x**2, stiffness=x**4)) / by_tension
    assert by_frequency == pytest.approx(2 * by_mass, abs=1e-5)
    assert by_diameter == pytest.approx(2 * by_mass + 4 * by_stiffness, abs=1e-5)
    assert by_length == pytest.approx(by_frequency - 2 * by_stiffness, abs=1e-5)
    assert by_mass + by_stiffness == pytest.approx(1, abs=1e-5)


@pytest.mark.parametrize(("middle_mm", "butted_hz", "uniform_hz"), BUTTED_STRINGS)
def test_butted_spokes_without_stiffness_are_butted_strings(middle_mm, butted_hz, uniform_hz):
    """tan(k1 l1) tan(k2 h) = sqrt(mu1/mu2), k = 2 pi f sqrt(mu/T); the beam here is 2e5 times softer than steel."""
    soft = (STEEL[0] / 2e5, STEEL[1])
    butted = spoke(middle_mm, *soft, ends_mm=2.0).stretches(0.290)
    uniform = spoke(middle_mm, *soft).stretches(0.290)
    assert [round(piece.length_m, 9) for piece in butted] == [0.030, 0.230, 0.030]
    assert cents(first_hz(1000, PINNED, PINNED, butted), butted_hz) == pytest.approx(0, abs=2e-3)
    assert cents(first_hz(1000, PINNED, PINNED, uniform), uniform_hz) == pytest.approx(0, abs=2e-3)


def test_elongation_stress_and_sag_of_a_nominal_spoke():
    """1000 N on 2.0 mm x 290 mm: T L/(EA) = 0.4616 mm, 318.3 MPa; Irvine's lambda^2 = 3e-6 (recomputed)."""
    nominal = spoke(2.0, *STEEL)
    (piece,) = nominal.stretches(0.290)
    assert 1000 * 1000 * piece.length_m / piece.axial_stiffness_n == pytest.approx(0.4616, abs=6e-5)
    assert 1000 / nominal.middle.area_m2 / 1e6 == pytest.approx(318.3, abs=0.06)
    weight_n_m = 9.80665 * piece.linear_density_kg_m
    sag = (weight_n_m * piece.length_m / 1000) ** 2 * piece.axial_stiffness_n / 1000
    assert sag == pytest.approx(3e-6, rel=0.1)
    assert np.pi**2 * 4 == pytest.approx(39.478, abs=6e-4)  # the crossover it must stay under
    assert sag < 1e-4
