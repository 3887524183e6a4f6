"""Mass per length: the number, its budget, what it says of the section, what it refuses."""

import math

import pytest

from tensionear.calibration.lots import figures_of, weighed_lot
from tensionear.calibration.weighing import U_ENDS, Weighed, weigh
from tensionear.catalogue import library_spoke
from tensionear.errors import InputError

STEEL = library_spoke("steel-round-2.0")


def test_number_and_budget():
    """u^2 = (u_m / m)^2 + (u_L / L)^2 + ends^2 by hand."""
    found = weigh(Weighed(0.0675, 2e-5, 10, 0.272, 5e-4), STEEL)
    assert found.kg_m == pytest.approx(0.0675 / 10 / 0.272)
    by_hand = math.sqrt((2e-5 / 0.0675) ** 2 + (5e-4 / 0.272) ** 2 + U_ENDS**2)
    assert found.budget.combined_standard_uncertainty / found.kg_m == pytest.approx(by_hand)
    assert found.implies == "as its section and material say"


def test_metal_ends_are_taken_off():
    found = weigh(Weighed(0.0040, 1e-5, 1, 0.280, 5e-4, 0.0012, 0.030), None)
    assert found.kg_m == pytest.approx(0.0028 / 0.250)
    assert [each.standard_uncertainty for each in found.budget.contributions][2] == 0.0


@pytest.mark.parametrize(
    ("grams", "expected"),
    [(6.1, "lighter than steel-round-2.0: another gauge (diameter -4"), (7.5, "heavier than steel-round-2.0")],
)
def test_what_it_implies(grams, expected):
    found = weigh(Weighed(grams / 1e3, 2e-5, 1, 0.272, 5e-4), STEEL)
    assert expected in found.implies
    assert ("hollow" in found.implies) == (grams < 6.5)


@pytest.mark.parametrize(
    ("given", "match"),
    [
        (Weighed(0.675, 1e-5, 1, 0.272, 5e-4), "no spoke's mass per length"),
        (Weighed(0.00675, 1e-5, 0, 0.272, 5e-4), "weigh 1 or more"),
        (Weighed(-1.0, 1e-5, 1, 0.272, 5e-4), "above 0"),
        (Weighed(0.004, 1e-5, 1, 0.272, 5e-4, 0.004, 0.03), "leave nothing"),
    ],
)
def test_refusals(given, match):
    with pytest.raises(InputError, match=match):
        weigh(given, STEEL)


def test_a_weighed_lot_knows_its_mass_and_leans_to_the_diameter():
    lot = weighed_lot(STEEL, 0.006, 0.001)
    mass = next(each for each in figures_of(lot) if each.name == "mass per length")
    assert mass.value / mass.tabled - 1 == pytest.approx(0.006, abs=2e-4)
    assert mass.u / mass.value == pytest.approx(0.001, rel=0.05)
    diameter = next(each for each in figures_of(lot) if each.name == "diameter")
    assert diameter.value - diameter.tabled > 0
    assert diameter.u < diameter.u_tabled
