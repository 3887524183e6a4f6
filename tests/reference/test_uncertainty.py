"""The worked examples of JCGM 100:2008 (GUM), annex H, as reproduced in the documentation of a national metrology
institute's uncertainty package (read; recomputed)."""

import math

import numpy as np
import pytest

from tensionear.physics.uncertainty import Budget, Contribution, correlation, coverage_factor, fit_linear, propagate

# H.1, end-gauge calibration, nm: standard 50 000 623, u 25, nu 18; difference 215 with u 5.8 (24), 3.9 (5), 6.7 (8).
STANDARD_NM, DIFFERENCE_NM = 50_000_623.0, 215.0
COMPARISON = Budget(
    (
        Contribution("repeated observations", DIFFERENCE_NM, 5.8, 1.0, 24),
        Contribution("random effects of the comparator", 0.0, 3.9, 1.0, 5),
        Contribution("systematic effects of the comparator", 0.0, 6.7, 1.0, 8),
    )
)


def end_gauge() -> Budget:
    """l = l_s + d - l_s (d_alpha theta + alpha_s d_theta)."""
    expansion, temperature = 11.5e-6, -0.1
    uniform = 1 / math.sqrt(3)
    u_difference, nu_difference = COMPARISON.combined_standard_uncertainty, COMPARISON.effective_degrees_of_freedom
    return Budget(
        (
            Contribution("standard", STANDARD_NM, 25.0, 1.0, 18),
            Contribution("difference", DIFFERENCE_NM, u_difference, 1.0, nu_difference),
            Contribution("temperatures apart", 0.0, 0.05 * uniform, -STANDARD_NM * expansion, 2),
            Contribution("expansions apart", 0.0, 1e-6 * uniform, -STANDARD_NM * temperature, 50),
        )
    )


def test_h1_comparison_of_the_end_gauge():
    assert COMPARISON.combined_standard_uncertainty == pytest.approx(9.68, abs=0.006)
    assert COMPARISON.effective_degrees_of_freedom == pytest.approx(25.4, abs=0.3)


def test_h1_contributions():
    found = [item.contribution for item in end_gauge().contributions]
    assert found == pytest.approx([25.0, 9.68, 16.60, 2.887], rel=5e-4)


def test_h1_end_gauge():
    """u_c 31.66 (the GUM prints 32), nu_eff 16.75, cut to 16, k99 = 2.921 (2.92), U99 = 92.5 (93 = 2.92 x 32)."""
    budget = end_gauge()
    assert STANDARD_NM + DIFFERENCE_NM == 50_000_838
    assert budget.combined_standard_uncertainty == pytest.approx(31.66, abs=0.006)
    assert budget.effective_degrees_of_freedom == pytest.approx(16.75, abs=0.006)
    assert coverage_factor(0.99, budget.effective_degrees_of_freedom) == pytest.approx(2.921, abs=6e-4)
    assert budget.expanded_uncertainty(0.99) == pytest.approx(92.5, abs=0.06)


# GUM table G.2 (from memory): probability, degrees of freedom, t.
TABLE_G2 = [(0.95, 1, 12.71), (0.95, 2, 4.30), (0.95, 10, 2.23), (0.99, 5, 4.03), (0.9545, 8, 2.37), (0.6827, 3, 1.20)]


@pytest.mark.parametrize(("probability", "degrees", "t"), [*TABLE_G2, (0.95, math.inf, 1.960), (0.99, math.inf, 2.576)])
def test_coverage_factors(probability, degrees, t):
    assert coverage_factor(probability, degrees) == pytest.approx(t, abs=0.006)


def test_coverage_of_exactly_known_contributions_is_normal():
    exact = Budget((Contribution("tape", 290.0, 3.0, 1.0), Contribution("scale", 1.0, 2.0, -2.0)))
    assert exact.combined_standard_uncertainty == pytest.approx(5.0)
    assert exact.effective_degrees_of_freedom == math.inf
    assert exact.expanded_uncertainty(0.95) == pytest.approx(9.80, abs=0.006)
    assert Budget(()).combined_standard_uncertainty == 0
    assert Budget(()).effective_degrees_of_freedom == math.inf


# H.2, resistance and reactance measured together: V, mA, rad. Raw data from memory; they reproduce the means and
# uncertainties read.
VOLT = np.array([5.007, 4.994, 5.005, 4.990, 4.999])
MILLIAMPERE = np.array([19.663, 19.639, 19.640, 19.685, 19.678])
PHASE = np.array([1.0456, 1.0438, 1.0468, 1.0428, 1.0433])


def impedance(volt: float, ampere: float, phase: float) -> tuple[np.ndarray, np.ndarray]:
    """R, X, Z and their derivatives by V, I, phi."""
    z, c, s = volt / ampere, math.cos(phase), math.sin(phase)
    values = np.array([z * c, z * s, z])
    jacobian = [
        [c / ampere, -z * c / ampere, -z * s],
        [s / ampere, -z * s / ampere, z * c],
        [1 / ampere, -z / ampere, 0],
    ]
    return values, np.array(jacobian)


def test_h2_correlated_inputs():
    observed = np.array([VOLT, MILLIAMPERE / 1000, PHASE])
    values, jacobian = impedance(*observed.mean(axis=1))
    found = propagate(jacobian, np.cov(observed) / observed.shape[1])
    np.testing.assert_allclose(values, [127.732, 219.847, 254.260], atol=6e-4)
    np.testing.assert_allclose(np.sqrt(np.diag(found)), [0.0711, 0.2956, 0.2363], atol=6e-5)
    r = correlation(found)
    np.testing.assert_allclose([r[0, 1], r[0, 2], r[1, 2]], [-0.588, -0.485, 0.993], atol=6e-4)
    np.testing.assert_allclose(np.diag(r), 1)


def test_h2_from_the_rounded_inputs():
    """From the printed u's and r's (GUM table H.2): u 0.0700, 0.2957, 0.2366; r -0.591, -0.491, 0.993."""
    u = np.array([0.0032, 9.5e-6, 0.00075])
    r = np.array([[1, -0.36, 0.86], [-0.36, 1, -0.65], [0.86, -0.65, 1]])
    _, jacobian = impedance(4.9990, 19.6610e-3, 1.04446)
    found = propagate(jacobian, r * np.outer(u, u))
    np.testing.assert_allclose(np.sqrt(np.diag(found)), [0.0700, 0.2957, 0.2366], atol=6e-5)
    r = correlation(found)
    np.testing.assert_allclose([r[0, 1], r[0, 2], r[1, 2]], [-0.591, -0.491, 0.993], atol=6e-4)


# H.3, calibration of a thermometer: reading and correction in degrees C.
READING_C = np.array([21.521, 22.012, 22.512, 23.003, 23.507, 23.999, 24.513, 25.002, 25.503, 26.010, 26.511])
CORRECTION_C = np.array([-0.171, -0.169, -0.166, -0.159, -0.164, -0.165, -0.156, -0.157, -0.159, -0.161, -0.160])


def test_h3_line_through_a_calibration():
    design = np.stack([np.ones(11), READING_C - 20.0], axis=1)
    values, covariance, s = fit_linear(design, CORRECTION_C)
    u = np.sqrt(np.diag(covariance))
    assert values == pytest.approx([-0.1712, 0.00218], abs=6e-5)
    assert values[1] == pytest.approx(0.00218, abs=6e-6)
    assert u == pytest.approx([0.0029, 0.00067], rel=0.02)
    assert correlation(covariance)[0, 1] == pytest.approx(-0.930, abs=6e-4)
    assert s == pytest.approx(0.0035, abs=6e-5)


def test_h3_predicted_correction():
    """b(30 C) = -0.1494, u 0.0041: the covariance of the two parameters counts."""
    values, covariance, _ = fit_linear(np.stack([np.ones(11), READING_C - 20.0], axis=1), CORRECTION_C)
    at_30 = np.array([[1.0, 10.0]])
    assert (at_30 @ values)[0] == pytest.approx(-0.1494, abs=6e-5)
    assert math.sqrt(propagate(at_30, covariance)[0, 0]) == pytest.approx(0.0041, abs=6e-5)


def test_impossible_input_is_refused():
    with pytest.raises(ValueError, match=r"tape: standard uncertainty -1\.0 must be 0 or more"):
        Contribution("tape", 0.0, -1.0, 1.0)
    with pytest.raises(ValueError, match="degrees of freedom 0 above 0"):
        Contribution("tape", 0.0, 1.0, 1.0, 0)
    with pytest.raises(ValueError, match=r"probability 1\.0 must lie between 0 and 1"):
        coverage_factor(1.0, 10)
    with pytest.raises(ValueError, match="2 observations for 2 parameters: observe at least 3 times"):
        fit_linear(np.ones((2, 2)), np.ones(2))
    with pytest.raises(ValueError, match="2 parameters cannot be told apart"):
        fit_linear(np.ones((5, 2)), np.ones(5))
