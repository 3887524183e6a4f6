"""Published approximations for stiff cables, held to their known errors against our exact clamped frequencies."""

import numpy as np
import pytest

from tests.reference.normalised import CLAMPED, ratios_to_string

# Errors of the formulas are printed as recomputed with another exact solver: Om to six digits, % of f to three digits
# behind the point, % of T to two.
FREQUENCY_ROUNDING, TENSION_ROUNDING = 0.0011, 0.006


def clamped(xi: float, mode: int) -> float:
    return float(ratios_to_string(xi, CLAMPED, CLAMPED, mode)[-1])


def percent(formula: float, exact: float) -> float:
    return 100 * (formula / exact - 1)


# xi, mode, error % of f: the series of Morse's book as a public cable-vibration README citing Zui et al. 1996 and
# Mehrabi & Tabatabai 1998 prints it (read, secondary); Fletcher, JASA 36 (1964) 203-209 (from memory).
FREQUENCY_FORMULAS = [
    (5, 1, -2.642, 2.066),
    (10, 1, -1.188, -0.391),
    (10, 2, -1.041, 0.822),
    (10, 3, 1.490, 2.683),
    (15, 1, -0.464, -0.205),
    (20, 1, -0.217, -0.104),
    (20, 2, -0.438, -0.083),
    (20, 3, -0.466, 0.026),
    (25, 1, -0.117, -0.058),
    (30, 1, -0.070, -0.035),
    (30, 2, -0.166, -0.046),
    (30, 3, -0.251, -0.049),
    (40, 1, -0.031, -0.016),
    (50, 1, -0.016, -0.008),
    (75, 1, -0.005, -0.003),
    (100, 1, -0.002, -0.001),
]


@pytest.mark.parametrize(("xi", "n", "morse_percent", "fletcher_percent"), FREQUENCY_FORMULAS)
def test_frequency_formulas_of_clamped_strings(xi, n, morse_percent, fletcher_percent):
    morse = n * (1 + 2 / xi + (4 + n**2 * np.pi**2 / 2) / xi**2)
    fletcher = n * (1 + 2 / xi + 4 / xi**2) * np.sqrt(1 + (n * np.pi / xi) ** 2)
    assert percent(morse, clamped(xi, n)) == pytest.approx(morse_percent, abs=FREQUENCY_ROUNDING)
    assert percent(fletcher, clamped(xi, n)) == pytest.approx(fletcher_percent, abs=FREQUENCY_ROUNDING)


@pytest.mark.parametrize("xi", [20, 30])
@pytest.mark.parametrize("k", [5, 20, 50, 100, 1000])
def test_fletcher_blended_to_springy_ends_is_within_a_tenth_of_a_percent(xi, k):
    """Fletcher's 2/xi and 4/xi^2 scaled by e and e^2, e = k/(k + xi): derived for this check, no source."""
    e = k / (k + xi)
    blend = (1 + 2 * e / xi + 4 * e**2 / xi**2) * np.sqrt(1 + (np.pi / xi) ** 2)
    assert abs(percent(blend, float(ratios_to_string(xi, k, k, 1)[0]))) < 0.10


# If the exact frequency is read as an ideal string: xi, error % of T clamped, pinned (recomputed; pinned is pi^2/xi^2).
READ_AS_STRING = [
    (5, 225.8, 39.48),
    (10, 70.26, 9.870),
    (15, 38.89, 4.386),
    (20, 26.51, 2.467),
    (25, 20.03, 1.579),
    (30, 16.07, 1.097),
    (40, 11.49, 0.617),
    (50, 8.94, 0.395),
    (75, 5.74, 0.175),
    (100, 4.23, 0.099),
]


@pytest.mark.parametrize(("xi", "clamped_percent", "pinned_percent"), READ_AS_STRING)
def test_reading_a_stiff_beam_as_a_string(xi, clamped_percent, pinned_percent):
    assert 100 * (clamped(xi, 1) ** 2 - 1) == pytest.approx(clamped_percent, rel=3e-4, abs=TENSION_ROUNDING)
    pinned = float(ratios_to_string(xi, 0, 0, 1)[0])
    assert 100 * (pinned**2 - 1) == pytest.approx(pinned_percent, rel=3e-4, abs=6e-4)


def test_shortening_the_string_at_either_end_is_crude():
    """Om = 1/(1 - 2/xi): at xi = 25 1.08696 for 1.09558, T low by 1.6 % (recomputed)."""
    shortened = 1 / (1 - 2 / 25)
    assert shortened == pytest.approx(1.08696, abs=6e-6)
    assert percent(shortened**2, clamped(25, 1) ** 2) == pytest.approx(-1.6, abs=0.06)


def zui_tension(xi: float, mode: int) -> float:
    """T / T exact by Zui, Shinke & Namita, J. Struct. Eng. 122(6) (1996), small sag, clamped ends.

    Coefficients from memory, and all of them read in public source code (secondary). In units of the exact tension,
    (4w/g)(f l)^2 is Om^2 and C/f is 2/(xi Om).
    """
    om = clamped(xi, mode)
    c = 2 / (xi * om)
    if mode == 1:
        if xi >= 17:
            bracket = 1 - 2.20 * c - 0.550 * c**2
        elif xi >= 6:
            bracket = 0.865 - 11.6 * c**2
        else:
            bracket = 0.828 - 10.5 * c**2
    elif mode == 2:
        if xi >= 60:
            bracket = 1 - 4.40 * c - 1.10 * c**2
        elif xi >= 17:
            bracket = 1.03 - 6.33 * c - 1.58 * c**2
        else:
            bracket = 0.882 - 85.0 * c**2
    else:
        bracket = 1 - 2.20 * mode * c
    return (om / mode) ** 2 * bracket


# Errors of T in %, recomputed.
ZUI_1_AND_2 = [
    (3, 2.60, 2.42),
    (5, 1.79, 2.26),
    (6, -1.21, 2.08),
    (8, 0.68, 1.62),
    (10, 0.88, 1.09),
    (12, 0.48, 0.52),
    (15, -0.48, -0.34),
    (17, 2.22, 4.60),
    (20, 1.22, 2.41),
    (25, 0.40, 0.78),
    (30, 0.02, 0.19),
    (40, -0.26, 0.01),
    (50, -0.33, 0.19),
    (60, -0.35, 0.54),
    (75, -0.33, 0.23),
    (100, -0.29, 0.03),
    (150, -0.22, -0.08),
    (200, -0.17, -0.10),
]
ZUI_3 = [(100, 0.54), (150, 0.15), (200, 0.03)]
ZUI = [
    *[(xi, 1, first) for xi, first, _ in ZUI_1_AND_2],
    *[(xi, 2, second) for xi, _, second in ZUI_1_AND_2],
    *[(xi, 3, error) for xi, error in ZUI_3],
]


@pytest.mark.parametrize(("xi", "mode", "error_percent"), ZUI)
def test_zui_tension(xi, mode, error_percent):
    assert 100 * (zui_tension(xi, mode) - 1) == pytest.approx(error_percent, abs=TENSION_ROUNDING)


@pytest.mark.parametrize("xi", np.geomspace(20, 500, 12))
def test_zui_tension_stays_within_three_percent_where_spokes_are(xi):
    assert abs(100 * (zui_tension(xi, 1) - 1)) < 3
    assert abs(100 * (zui_tension(xi, 2) - 1)) < 3


def ren_tension(xi: float) -> float:
    """T / T exact by Ren, Chen & Hu, Struct. Eng. Mech. 20(3) (2005) 363-380.

    Its abstract was read; the coefficients are from memory.
    """
    om = clamped(xi, 1)
    if xi <= 18:
        return 3.432 / 4 * om**2 - 45.191 / xi**2
    if xi <= 210:
        return (om - 2.363 / xi) ** 2
    return om**2


# Errors of T in %, recomputed.
REN = [(5, -1.20), (10, 0.90), (18, -2.05), (20, 1.33), (30, -0.28), (50, -0.70), (100, -0.54), (200, -0.32)]


@pytest.mark.parametrize(("xi", "error_percent"), REN)
def test_ren_tension(xi, error_percent):
    assert 100 * (ren_tension(xi) - 1) == pytest.approx(error_percent, abs=TENSION_ROUNDING)


def test_ren_tension_breaks_down_for_a_slack_beam():
    assert 100 * (ren_tension(3) - 1) == pytest.approx(-12, abs=0.6)
