"""The shipped library: every kind of spoke can be built, and names that do not exist get a remedy."""

import math

import pytest

from tensionear.catalogue import (
    build_spoke,
    default_uncertainties,
    library_material,
    library_spoke,
    material_names,
    nearest,
    rim_classes,
    spoke_ids,
)
from tensionear.errors import InputError


def test_materials():
    assert material_names() == ("steel", "carbon-steel", "titanium", "carbon", "aluminium")
    steel = library_material("steel")
    assert (steel.density_kg_m3, steel.u_density_percent, steel.u_modulus_percent) == (7900, 0.5, 2.0)
    assert 185e9 <= steel.youngs_modulus_pa <= 200e9  # EN 10270-3 wire .. EN 10088-1 annealed
    assert library_material("carbon").u_modulus_percent == 4.0


def test_metals_share_their_modulus_over_density():
    """Steel, titanium and aluminium have E/rho equal within a few per cent: 25.3, 25.7, 25.8 MJ/kg (computed)."""
    ratios = [library_material(name) for name in ("steel", "titanium", "aluminium")]
    values = [one.youngs_modulus_pa / one.density_kg_m3 for one in ratios]
    assert max(values) / min(values) < 1.05


@pytest.mark.parametrize("spoke_id", spoke_ids())
def test_every_kind_is_what_its_id_says(spoke_id):
    spoke = library_spoke(spoke_id)
    assert spoke.name == spoke_id
    assert spoke_id.startswith(spoke.material.name)
    size = spoke_id.rsplit("-", 1)[1]
    middle_mm = [float(part) for part in size.split("x")]
    assert spoke.middle.width_m * 1e3 == pytest.approx(middle_mm[0])
    assert spoke.middle.thickness_m * 1e3 == pytest.approx(middle_mm[-1])
    assert spoke.middle.width_m >= spoke.middle.thickness_m
    if "butted" in spoke_id:
        assert spoke.ends.width_m * 1e3 == pytest.approx(float(spoke_id.split("-")[-2]))
        assert spoke.ends.width_m > spoke.middle.width_m
    assert math.isclose(sum(piece.length_m for piece in spoke.stretches(0.28)), 0.28)
    assert all(tolerance.source for tolerance in spoke.tolerances())


@pytest.mark.parametrize(
    "spoke_id",
    [
        "steel-round-2.0",
        "steel-butted-2.0-1.8",
        "steel-oval-2.3x1.0",
        "titanium-round-2.0",
        "carbon-blade-4.6x1.2",
        "carbon-round-2.5",
    ],
)
def test_promised_ids_are_there(spoke_id):
    assert spoke_id in spoke_ids()


def test_linear_density_of_nominal_spokes():
    """2.0 mm steel 24.8186 g/m, 1.8 mm 20.1031 g/m, 2.0 mm titanium 13.9173 g/m (area times density, recomputed)."""
    for spoke_id, expected in (
        ("steel-round-2.0", 24.8186),
        ("steel-round-1.8", 20.1031),
        ("titanium-round-2.0", 13.9173),
    ):
        (piece,) = library_spoke(spoke_id).stretches(0.29)
        assert piece.linear_density_kg_m * 1e3 == pytest.approx(expected, abs=5e-5)


def test_unknown_names_get_a_remedy():
    with pytest.raises(InputError, match=r"no spoke 'steel-round-2' in the library; nearest: .*steel-round-2\.0"):
        library_spoke("steel-round-2")
    with pytest.raises(InputError, match="no material 'oak' in the library; allowed: steel, carbon-steel"):
        library_material("oak")
    assert nearest("zzz", ["a", "b"]) == "allowed: a, b"


def test_rim_classes():
    classes = rim_classes()
    assert list(classes) == ["alloy-shallow", "alloy-box", "alloy-deep", "carbon-shallow", "carbon-deep", "steel"]
    box = classes["alloy-box"]
    assert (box.ea_n, box.ei_radial_n_m2, box.ei_lateral_n_m2, box.gj_n_m2) == (7.0e6, 175, 560, 130)
    assert {one.u_factor for one in classes.values()} == {1.35}


def test_an_own_spoke_gets_the_shipped_uncertainties_unless_it_states_its_own():
    plain = build_spoke(
        "a", {"material": "steel", "shape": "round", "diameter_mm": 2.0, "mass_g": 6.0, "whole_length_mm": 250}
    )
    defaults = default_uncertainties()
    assert plain.u_diameter_percent == defaults["u_diameter_percent"]
    assert plain.u_weighed_kg == pytest.approx(defaults["u_mass_g"] / 1e3)
    own = build_spoke(
        "a",
        {
            "material": "steel",
            "shape": "oval",
            "width_mm": 2.3,
            "thickness_mm": 1.0,
            "u_width_percent": 0.1,
            "u_thickness_percent": 0.2,
            "u_density_percent": 0.3,
            "u_modulus_percent": 0.4,
            "density_kg_m3": 8000,
            "youngs_modulus_gpa": None,
        },
    )
    assert (own.u_width_percent, own.u_thickness_percent) == (0.1, 0.2)
    assert (own.material.u_density_percent, own.material.u_modulus_percent) == (0.3, 0.4)
    assert (own.material.density_kg_m3, own.material.youngs_modulus_pa) == (
        8000,
        library_material("steel").youngs_modulus_pa,
    )
    assert own.ends == own.middle
