"""Section properties against the formulas of handbooks (tables of plane areas) and numerical integrals.

Second moments are near 1e-12 m4, so each tolerance is relative alone.
"""

import math

import numpy as np
import pytest
from scipy.integrate import quad

from tensionear.physics.section import Section

ROUND = [Section("round", d, d) for d in (1.5e-3, 1.8e-3, 2.0e-3, 2.3e-3)]
BLADES = [Section("blade", w, t) for w, t in ((4.6e-3, 1.2e-3), (5.0e-3, 1.0e-3), (2.0e-3, 2.0e-3))]
OVALS = [Section("oval", w, t) for w, t in ((2.3e-3, 1.0e-3), (3.2e-3, 0.9e-3), (1.8e-3, 1.79e-3), (2.0e-3, 2.0e-3))]


def depth(section: Section, across_width: float) -> float:
    """Extent of the section in the thickness direction, this far from its middle along the width."""
    w, t = section.width_m, section.thickness_m
    if section.shape == "blade":
        return t
    beyond = max(abs(across_width) - (w - t) / 2, 0.0)
    return 2 * math.sqrt(max((t / 2) ** 2 - beyond**2, 0.0))


def integral(section: Section, integrand) -> float:
    """Over the width, with x = (w/2) sin(phi) to tame the vertical tangents of the edges; corners are break points."""
    half, corner = section.width_m / 2, (section.width_m - section.thickness_m) / section.width_m
    breaks = [-math.asin(corner), math.asin(corner)] if 0 < corner < 1 else None

    def at(phi: float) -> float:
        return integrand(half * math.sin(phi)) * half * math.cos(phi)

    return quad(at, -math.pi / 2, math.pi / 2, points=breaks, epsabs=0, epsrel=1e-11, limit=200)[0]


@pytest.mark.parametrize("section", [*ROUND, *BLADES, *OVALS], ids=str)
def test_area_and_second_moments_are_the_integrals(section):
    area = integral(section, lambda x: depth(section, x))
    flat = integral(section, lambda x: depth(section, x) ** 3 / 12)
    edge = integral(section, lambda x: depth(section, x) * x**2)
    assert section.area_m2 == pytest.approx(area, rel=1e-9, abs=0)
    assert section.flat_second_moment_m4 == pytest.approx(flat, rel=1e-9, abs=0)
    assert section.edge_second_moment_m4 == pytest.approx(edge, rel=1e-9, abs=0)


@pytest.mark.parametrize("section", ROUND, ids=str)
def test_circle(section):
    """pi d^2/4 and pi d^4/64."""
    d = section.width_m
    assert section.area_m2 == pytest.approx(math.pi * d**2 / 4, rel=1e-12, abs=0)
    assert section.flat_second_moment_m4 == pytest.approx(math.pi * d**4 / 64, rel=1e-12, abs=0)
    assert section.edge_second_moment_m4 == pytest.approx(math.pi * d**4 / 64, rel=1e-12, abs=0)


@pytest.mark.parametrize("section", BLADES, ids=str)
def test_rectangle(section):
    """b h, b h^3/12 about either middle line."""
    w, t = section.width_m, section.thickness_m
    assert section.area_m2 == pytest.approx(w * t, rel=1e-12, abs=0)
    assert section.flat_second_moment_m4 == pytest.approx(w * t**3 / 12, rel=1e-12, abs=0)
    assert section.edge_second_moment_m4 == pytest.approx(t * w**3 / 12, rel=1e-12, abs=0)


def test_nearly_round_ovals_approach_the_circle():
    d = 2.0e-3
    for widening in (1e-6, 1e-8):
        oval = Section("oval", d * (1 + widening), d)
        np.testing.assert_allclose(oval.area_m2, math.pi * d**2 / 4, rtol=2 * widening)
        np.testing.assert_allclose(oval.flat_second_moment_m4, math.pi * d**4 / 64, rtol=4 * widening)
        np.testing.assert_allclose(oval.edge_second_moment_m4, math.pi * d**4 / 64, rtol=6 * widening)


def test_flat_sections_are_soft_across_the_thickness_and_turn_into_each_other():
    """Ixx + Iyy of an oval lies between those of the inscribed and the enclosing rectangle."""
    for oval in OVALS[:2]:
        w, t = oval.width_m, oval.thickness_m
        inner, outer = Section("blade", w - t, t), Section("blade", w, t)
        assert inner.area_m2 < oval.area_m2 < outer.area_m2
        assert inner.flat_second_moment_m4 < oval.flat_second_moment_m4 < outer.flat_second_moment_m4
        assert inner.edge_second_moment_m4 < oval.edge_second_moment_m4 < outer.edge_second_moment_m4
        assert oval.flat_second_moment_m4 < oval.edge_second_moment_m4


@pytest.mark.parametrize(
    ("section", "by", "growth"),
    [
        (Section("blade", 0.0046, 0.0012), (1.0, 0.0), (1, 1, 3)),
        (Section("blade", 0.0046, 0.0012), (0.0, 1.0), (1, 3, 1)),
        (Section("round", 0.002, 0.002), (1.0, 1.0), (2, 4, 4)),
        # d ln A / d ln w = w t / A with A = (w - t) t + pi t^2 / 4; both sizes together scale as t^2 and t^4
        (Section("oval", 0.0023, 0.001), (1.0, 0.0), (2.3 / (1.3 + math.pi / 4), None, None)),
        (Section("oval", 0.0023, 0.001), (1.0, 1.0), (2, 4, 4)),
    ],
)
def test_growth(section, by, growth):
    """Powers of the sizes in the formulas above."""
    for found, expected in zip(section.growth(*by), growth, strict=True):
        assert expected is None or found == pytest.approx(expected, rel=1e-5)
