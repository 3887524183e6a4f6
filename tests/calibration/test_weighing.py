"""Mass per length: the number, its budget, what it says of the section, what it refuses."""

import math

import pytest

from tensionear.calibration.lots import figures_of, weighed_lot
from tensionear.calibration.records import Head, again, weighed_document
from tensionear.calibration.weighing import U_ENDS, Weighed, weigh, whole_slopes
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
    by_hand = math.hypot(1e-5 / 0.0028, 1e-5 / 0.0028, 5e-4 / 0.250, 5e-4 / 0.250)
    assert found.budget.combined_standard_uncertainty / found.kg_m == pytest.approx(by_hand)


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
        (Weighed(0.004, 1e-5, 1, 0.272, 5e-4, 0.001), "give both --ends-mass and --ends-length"),
    ],
)
def test_refusals(given, match):
    with pytest.raises(InputError, match=match):
        weigh(given, STEEL)


def test_a_weighed_lot_knows_its_mass_and_leans_to_the_diameter():
    lot = weighed_lot(STEEL, 0.006, 0.001, whole_slopes(STEEL, 0.272))
    mass = next(each for each in figures_of(lot) if each.name == "mass per length")
    assert mass.value / mass.tabled - 1 == pytest.approx(0.006, abs=2e-4)
    assert mass.u / mass.value == pytest.approx(0.001, rel=0.05)
    diameter = next(each for each in figures_of(lot) if each.name == "diameter")
    assert diameter.value - diameter.tabled > 0
    assert diameter.u < diameter.u_tabled


def test_a_heavy_carbon_spoke_may_have_its_metal_ends_on():
    carbon = library_spoke("carbon-blade-4.6x1.2")
    assert "--ends-mass" in weigh(Weighed(0.00295, 2e-5, 1, 0.250, 5e-4), carbon).implies
    assert "--ends-mass" not in weigh(Weighed(0.00295, 2e-5, 1, 0.250, 5e-4, 0.0008, 0.025), carbon).implies


def test_a_flat_spoke_is_weighed_with_its_round_ends():
    """1 % of the ends' diameter is 2 % of their mass: its share of the whole counts, and nothing of it is in the middle."""
    spoke = library_spoke("steel-oval-2.3x1.0")
    thick, middle = (sum(each) for each in ((0.050 * spoke.ends.area_m2,), (0.220 * spoke.middle.area_m2,)))
    slopes = dict(zip([each.source for each in spoke.tolerances()], whole_slopes(spoke, 0.270), strict=True))
    share = thick / (thick + middle)
    assert slopes["end diameter"] == pytest.approx(2 * spoke.u_diameter_percent / 100 * share)
    assert slopes["width"] == pytest.approx(
        1.103 * spoke.u_width_percent / 100 * (1 - share), rel=1e-3
    )  # w t / A of an oval
    assert slopes["density"] == pytest.approx(spoke.material.u_density_percent / 100)


def test_a_weighed_record_comes_out_of_its_data_again():
    given = Weighed(0.0675, 2e-5, 10, 0.272, 5e-4)
    kept = weighed_document(Head("shelf", "2026-03-02", "the ferryman", "0.0.0"), STEEL.name, given, STEEL)
    assert again(kept, STEEL) == kept
    kept["data"]["mass_kg"] *= 1.01
    assert again(kept, STEEL)["result"] != kept["result"]
