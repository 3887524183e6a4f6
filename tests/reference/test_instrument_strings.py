"""Plain steel strings of fretted instruments: published unit weights, pitches and tensions, the ideal-string path.

T lbf = UW (2 L F)^2 / 386.4, UW in lb/in, L in inches: "A complete technical reference for fretted instrument string
tensions", a brochure of the trade (formula and definitions read). Table values read in a secondary source, a public
data file made of that reference; L = 25.5 in reproduces each row within 0.05 lbf. The published tensions follow from
the formula, so they check units and arithmetic. 386.4 in/s2 stands for 386.089: our SI path exceeds it by 0.08 %. SI
columns recomputed.
"""

import math

import pytest

from tensionear.physics.beam import natural_frequencies
from tensionear.physics.section import Section
from tensionear.physics.spoke import Stretch
from tensionear.physics.string import ideal_string_frequency_hz, ideal_string_tension_n
from tests.reference.normalised import cents

LB_KG, INCH_M, LBF_N = 0.45359237, 0.0254, 4.4482216152605
LENGTH_M = 25.5 * INCH_M
# diameter in 1/1000 in, UW lb/in, Hz (equal temperament, A4 = 440), published lbf, mu g/m, T N
STRINGS = [
    (9, 1.794e-5, 329.628, 13.1, 0.32037, 58.413),
    (10, 2.215e-5, 329.628, 16.2, 0.39555, 72.121),
    (11, 2.680e-5, 329.628, 19.6, 0.47859, 87.262),
    (12, 3.190e-5, 329.628, 23.3, 0.56967, 103.867),
    (13, 3.744e-5, 246.942, 15.4, 0.66860, 68.417),
    (16, 5.671e-5, 246.942, 23.3, 1.01273, 103.631),
    (17, 6.402e-5, 195.998, 16.6, 1.14327, 73.699),
    (20, 8.861e-5, 195.998, 22.9, 1.58239, 102.006),
    (24, 1.276e-4, 174.614, 26.2, 2.27868, 116.587),
    (26, 1.4975e-4, 220.000, 48.8, 2.67423, 217.196),
]
each_string = pytest.mark.parametrize(("mils", "unit_weight", "pitch_hz", "lbf", "g_m", "newton"), STRINGS)


@each_string
def test_tension_of_ideal_strings(mils, unit_weight, pitch_hz, lbf, g_m, newton):
    density = unit_weight * LB_KG / INCH_M
    tension = ideal_string_tension_n(pitch_hz, LENGTH_M, density)
    assert 1000 * density == pytest.approx(g_m, abs=5.1e-6)
    assert tension == pytest.approx(newton, rel=2e-5)
    assert tension / LBF_N == pytest.approx(lbf, rel=0.003, abs=0.05)


@each_string
def test_pitch_of_ideal_strings(mils, unit_weight, pitch_hz, lbf, g_m, newton):
    for mode in (1, 3):
        found = ideal_string_frequency_hz(newton, LENGTH_M, g_m / 1000, mode)
        assert cents(found, mode * pitch_hz) == pytest.approx(0, abs=0.03)
        assert ideal_string_tension_n(found, LENGTH_M, g_m / 1000, mode) == pytest.approx(newton, rel=1e-12)


@each_string
def test_strings_are_steel_wires_of_their_gauge(mils, unit_weight, pitch_hz, lbf, g_m, newton):
    """All rows imply 7806..7808 kg/m3 (recomputed)."""
    diameter = mils / 1000 * INCH_M
    density = g_m / 1000 / Section("round", diameter, diameter).area_m2
    assert 7805.5 < density < 7808.5


@each_string
def test_a_real_string_hardly_differs_from_the_ideal_one(mils, unit_weight, pitch_hz, lbf, g_m, newton):
    """xi = 187..942: bending stiffness between pinned ends shifts T by 0.03 % at most (recomputed, E = 206 GPa)."""
    diameter = mils / 1000 * INCH_M
    stiffness = 206e9 * Section("round", diameter, diameter).flat_second_moment_m4
    wire = Stretch(LENGTH_M, g_m / 1000, stiffness, stiffness, 0.0)
    assert 180 < LENGTH_M * math.sqrt(newton / stiffness) < 960
    first = float(natural_frequencies([wire], newton, 0, 0, "flat", 1)[0])
    assert 0 < ideal_string_tension_n(first, LENGTH_M, g_m / 1000) / newton - 1 < 3.0e-4


@pytest.mark.parametrize("call", [ideal_string_frequency_hz, ideal_string_tension_n])
def test_impossible_strings_are_refused(call):
    with pytest.raises(ValueError, match=r"-1\.0 (N|Hz): must be 0 (N|Hz) or more"):
        call(-1.0, 0.3, 0.02)
    for length, density, mode in [(0.0, 0.02, 1), (0.3, 0.0, 1), (0.3, 0.02, 0)]:
        with pytest.raises(ValueError, match="must be above 0, modes count from 1"):
            call(100.0, length, density, mode)
