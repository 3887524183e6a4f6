"""Ratios of partials, nearly the same whatever the ends: exact values, and what the pinned law makes of clamped ones.

All recomputed with another exact solver. Pinned law: f_n = n f0 sqrt(1 + B n^2), B = pi^2/xi^2, so with
q = (f_n / n f1)^2, B = (q - 1)/(n^2 - q) and T = pi^2 EI/(B L^2).
"""

import numpy as np
import pytest

from tests.reference.normalised import CLAMPED, PINNED, ratios_to_string

ENDS = {"pinned": (PINNED, PINNED), "clamped-pinned": (CLAMPED, PINNED), "clamped": (CLAMPED, CLAMPED)}
# xi, f2/f1 and f3/f1 for pinned, clamped-pinned, clamped ends.
RATIOS = [
    (15, (2.12232, 2.12191, 2.11846), (3.46779, 3.46185, 3.44610)),
    (20, (2.07098, 2.07126, 2.07054), (3.27624, 3.27587, 3.27197)),
    (23.1387, (2.05358, 2.05388, 2.05362), (3.20987, 3.21023, 3.20858)),
    (30, (2.03228, 2.03249, 2.03251), (3.12746, 3.12803, 3.12788)),
    (40, (2.01831, 2.01842, 2.01847), (3.07269, 3.07306, 3.07321)),
]
# xi, error % of T if clamped f2/f1, f3/f1, f5/f1 are read by the pinned law.
PINNED_LAW_PERCENT = [
    (15, 3.51, 5.44, 9.47),
    (20, 0.65, 1.68, 4.06),
    (23.1387, -0.07, 0.65, 2.42),
    (30, -0.71, -0.34, 0.64),
    (40, -0.89, -0.73, -0.25),
]


@pytest.mark.parametrize(("xi", "second", "third"), RATIOS)
def test_partial_ratios(xi, second, third):
    for ends, f2, f3 in zip(ENDS.values(), second, third, strict=True):
        found = ratios_to_string(xi, *ends, 3)
        np.testing.assert_allclose(found[1:] / found[0], [f2, f3], atol=6e-6)


@pytest.mark.parametrize(("xi", "by_second", "by_third", "by_fifth"), PINNED_LAW_PERCENT)
def test_clamped_partials_read_by_the_pinned_law(xi, by_second, by_third, by_fifth):
    found = ratios_to_string(xi, CLAMPED, CLAMPED, 5)
    for n, error_percent in [(2, by_second), (3, by_third), (5, by_fifth)]:
        q = (found[n - 1] / (n * found[0])) ** 2
        tension = np.pi**2 * (n**2 - q) / (q - 1)
        assert 100 * (tension / xi**2 - 1) == pytest.approx(error_percent, abs=0.006)


def test_a_small_error_of_the_second_partial_is_a_large_one_of_tension():
    """0.05 % of f2/f1 is about 2 % of T at xi = 23 (recomputed)."""
    q = (ratios_to_string(23, PINNED, PINNED, 2)[1] / (2 * ratios_to_string(23, PINNED, PINNED, 1)[0])) ** 2

    def tension(share: float) -> float:
        return (4 - share) / (share - 1)

    assert 100 * abs(tension(q * 1.0005**2) / tension(q) - 1) == pytest.approx(2, abs=0.3)


@pytest.mark.parametrize("xi", [7.0, 23.139, 75.0])
def test_pinned_modes_lie_on_a_line_in_the_square_of_the_mode(xi):
    """4 mu L^2 f_n^2 / n^2 = T + n^2 pi^2 EI / L^2: two modes eliminate EI."""
    found = ratios_to_string(xi, PINNED, PINNED, 5) * xi
    n = np.arange(1, 6)
    slope, tension = np.polyfit(n**2, found**2 / n**2, 1)
    assert slope == pytest.approx(np.pi**2, rel=1e-7)
    assert tension == pytest.approx(xi**2, rel=1e-7)
