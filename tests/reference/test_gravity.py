"""Local gravity. GRS 80 (H. Moritz, Geodetic Reference System 1980, Bulletin Geodesique 54, 1980): normal gravity at the
equator 9.7803267715, at 45 degrees 9.806199203, at the poles 9.8321863685 m/s2; from memory, not read again."""

import pytest

from tensionear.physics.gravity import buoyancy, gravity


@pytest.mark.parametrize(
    ("latitude", "printed"), [(0, 9.7803267715), (45, 9.806199203), (90, 9.8321863685), (-90, 9.8321863685)]
)
def test_normal_gravity(latitude, printed):
    assert gravity(latitude).m_s2 == pytest.approx(printed, abs=1e-9)


def test_height_lowers_it():
    """The free-air gradient of 0.3086 mGal a metre (from memory)."""
    assert gravity(45, 1000).m_s2 == pytest.approx(gravity(45).m_s2 - 3.086e-3)


def test_without_a_latitude_it_is_standard_gravity_and_doubtful():
    """9.80665 m/s2 (3rd CGPM, 1901); between equator and pole lie 0.0519 m/s2."""
    found = gravity(None)
    assert found.m_s2 == 9.80665
    assert found.u_m_s2 == pytest.approx(0.0518595970 / 12**0.5)


def test_buoyancy_of_iron_and_water():
    assert buoyancy(1000.0)[0] == pytest.approx(1.2e-3)
    share, u = buoyancy(None)
    assert share == pytest.approx(1.2 / 7900)
    assert 0 < u < 2e-4
