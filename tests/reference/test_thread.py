"""Spoke threads: DIN 79012 "Fahrradgewinde" FG, 60 degrees (BS 811 largely the same), 56 threads to the inch.

Diameters read in a secondary table; pitch is 25.4 mm / 56. JIS B 0225-1960 has the same depth of thread (read).
"""

import math
import tomllib

import pytest

from tensionear.data import data_file
from tensionear.physics.material import Material
from tensionear.physics.section import Section
from tensionear.physics.spoke import Spoke

PITCH_MM = 0.453571
# name, major mm, minor mm, pitch mm, wire it is rolled on mm
DIN_79012 = [
    ("FG-2.0", 2.096, 1.613, 0.454, 1.8),
    ("FG-2.3", 2.299, 1.816, 0.454, 2.0),
    ("FG-2.6", 2.604, 2.121, 0.454, 2.3),
]


@pytest.mark.parametrize(("name", "major_mm", "minor_mm", "pitch_mm", "wire_mm"), DIN_79012)
def test_shipped_threads_are_those_of_the_standard(name, major_mm, minor_mm, pitch_mm, wire_mm):
    thread = tomllib.loads(data_file("calibration", "threads.toml").read_text("utf-8"))[name]
    assert thread["major_diameter_mm"]["value"] == major_mm
    assert thread["minor_diameter_mm"]["value"] == minor_mm
    assert thread["wire_diameter_mm"]["value"] == wire_mm
    assert thread["pitch_mm"]["value"] == pytest.approx(25.4 / 56, abs=6e-7)
    assert thread["pitch_mm"]["value"] == pytest.approx(pitch_mm, abs=6e-4)
    # h1 = 0.5327 P of a rounded 60 degree thread, twice: 0.483 mm
    depth = thread["major_diameter_mm"]["value"] - thread["minor_diameter_mm"]["value"]
    assert depth == pytest.approx(2 * 0.5327 * thread["pitch_mm"]["value"], abs=5e-4)
    assert minor_mm < wire_mm < major_mm


# diameter mm, turns, gain of tension N of a 290 mm steel spoke (E = 200 GPa) on a rigid rim (recomputed).
TURNS = [(2.0, 1.0, 982.7), (2.0, 0.25, 245.68), (1.8, 0.25, 199.00)]


@pytest.mark.parametrize(("diameter_mm", "turns", "gain_n"), TURNS)
def test_gain_of_a_turn_on_a_rigid_rim(diameter_mm, turns, gain_n):
    section = Section("round", diameter_mm / 1000, diameter_mm / 1000)
    spoke = Spoke("plain", Material("steel", 7900, 200e9, 0.5, 2.0), section, section, 0.0, 0.0)
    (piece,) = spoke.stretches(0.290)
    pitch_mm = tomllib.loads(data_file("calibration", "threads.toml").read_text("utf-8"))["FG-2.3"]["pitch_mm"]["value"]
    gain = piece.axial_stiffness_n / piece.length_m * turns * pitch_mm / 1000
    assert gain == pytest.approx(gain_n, abs=0.06)


def test_fractions_of_a_turn():
    """1/4 turn 0.113393 mm, 1/8 turn 0.056696 mm (recomputed)."""
    pitch_mm = tomllib.loads(data_file("calibration", "threads.toml").read_text("utf-8"))["FG-2.0"]["pitch_mm"]["value"]
    assert pitch_mm / 4 == pytest.approx(0.113393, abs=6e-7)
    assert pitch_mm / 8 == pytest.approx(0.056696, abs=6e-7)
    assert math.isclose(pitch_mm, PITCH_MM)
