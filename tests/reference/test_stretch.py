"""The rise of pitch with swing against exact solutions of the Duffing equation."""

import math

import numpy as np
import pytest
from scipy.integrate import solve_ivp
from scipy.special import ellipk

from tensionear.physics.stretch import HIGHER_MODES_SHARE, stretch_of_first_mode

AXIAL_N, TENSION_N, LENGTH_M = 200e9 * math.pi * 1e-6, 1000.0, 0.290
# 2.0 mm x 290 mm steel at 1000 N: swing mm, exact Duffing f/f0 - 1, first-order formula. Derived and recomputed by
# another solver; no published table was found.
TABLE = [(0.25, 4.319e-4, 4.321e-4), (0.5, 1.7265e-3, 1.7282e-3), (1.0, 6.885e-3, 6.913e-3), (2.0, 2.722e-2, 2.765e-2)]


def stiffening(swing_m: float) -> float:
    """kappa a^2 of x'' + omega^2 (1 + kappa x^2) x = 0, kappa = (pi/2L)^2 EA/T."""
    return (math.pi * swing_m / (2 * LENGTH_M)) ** 2 * AXIAL_N / TENSION_N


def exact_rise(swing_m: float) -> float:
    """Period 4 K(m) / sqrt(1 + e), m = e / 2(1 + e), e = kappa a^2: the complete elliptic integral."""
    e = stiffening(swing_m)
    return math.pi / 2 * math.sqrt(1 + e) / float(ellipk(e / (2 * (1 + e)))) - 1


@pytest.mark.parametrize(("swing_mm", "exact", "formula"), TABLE)
def test_formula_and_exact_rise_have_the_tabled_values(swing_mm, exact, formula):
    found = stretch_of_first_mode(AXIAL_N, TENSION_N, swing_mm / 1000, LENGTH_M)
    assert found == pytest.approx(formula, rel=2e-4)
    assert exact_rise(swing_mm / 1000) == pytest.approx(exact, rel=2e-4)


@pytest.mark.parametrize("swing_mm", [0.01, 0.05, 0.25, 0.5, 1.0])
def test_formula_is_the_first_order_of_the_exact_rise(swing_mm):
    """Off by 0.6 of the rise itself: 0.4 % at 1 mm, so 0.05 cent."""
    found = stretch_of_first_mode(AXIAL_N, TENSION_N, swing_mm / 1000, LENGTH_M)
    exact = exact_rise(swing_mm / 1000)
    assert 0 <= found / exact - 1 < 0.7 * exact + 1e-8
    assert abs(1200 * math.log2((1 + found) / (1 + exact))) < 0.06


def test_a_millimetre_raises_tension_read_by_a_percent_and_a_half():
    """1 mm: +0.69 % of f, about +1.5 % of T at a sensitivity of 2.255 (recomputed)."""
    rise = stretch_of_first_mode(AXIAL_N, TENSION_N, 1e-3, LENGTH_M)
    assert 100 * rise == pytest.approx(0.69, abs=0.006)
    assert 100 * 2.255 * rise == pytest.approx(1.5, abs=0.1)


@pytest.mark.parametrize("ratio", [2.0536, 3.2086, 4.4])
def test_higher_modes_rise_by_their_share(ratio):
    """A small higher mode under the tension of mode 1's swing, integrated over one period of that tension.

    Its frequency is the angle its state turns by. Integration gives 0.666 of mode 1's rise (recomputed).
    """
    e = stiffening(0.5e-3)
    period = math.pi / (1 + exact_rise(0.5e-3))

    def motion(_, state):
        x, v, y1, w1, y2, w2 = state
        factor = 1 + e * x**2
        return [v, -factor * x, w1, -(ratio**2) * factor * y1, w2, -(ratio**2) * factor * y2]

    end = solve_ivp(motion, (0, period), [1, 0, 1, 0, 0, 1], rtol=1e-11, atol=1e-13).y[:, -1]
    assert end[0] == pytest.approx(-1, abs=1e-8)  # half a turn of mode 1, a whole one of the tension
    wrapped = math.acos((end[2] + end[5]) / 2)
    turns = np.array([sign * wrapped + 2 * math.pi * n for n in range(4) for sign in (1, -1)])
    angle = turns[np.argmin(np.abs(turns - ratio * math.pi))]
    rise = angle / (ratio * period) - 1
    assert rise / exact_rise(0.5e-3) == pytest.approx(HIGHER_MODES_SHARE, abs=0.003)


def test_impossible_spokes_are_refused():
    for tension, length in [(0.0, 0.29), (1000.0, 0.0)]:
        with pytest.raises(ValueError, match="both must be above 0"):
            stretch_of_first_mode(AXIAL_N, tension, 1e-3, length)
