"""Natural frequencies of a tensioned beam: handbook values, independent roots of the characteristic equation."""

from itertools import pairwise

import numpy as np
import pytest
from scipy.optimize import brentq

from tensionear.physics.beam import natural_frequencies
from tensionear.physics.spoke import Stretch
from tests.reference.normalised import CLAMPED, PINNED, cents, ratios_to_string, squared_wave_numbers

# Beam without tension, beta_n L: roots of cos x cosh x = 1 (clamped-clamped) and tan x = tanh x (clamped-pinned),
# digits recomputed. Thomson, Theory of Vibration with Applications, App. D table D.1, prints 4.7300, 7.8532, 10.9956
# (read).
HANDBOOK = {
    (CLAMPED, CLAMPED): [4.730040744863, 7.853204624096, 10.995607838002, 14.137165491257, 17.278759657399],
    (CLAMPED, PINNED): [3.926602312048, 7.068582745629, 10.210176122813],
    (PINNED, PINNED): [n * np.pi for n in range(1, 6)],
}
# The same source, table D.1: (beta_n L)^2 as printed; table 9.5-1 to one digit after the point (both read).
THOMSON_SQUARES = {
    (CLAMPED, CLAMPED): ([22.3733, 61.6728, 120.9034], [22.4, 61.7, 121.0], 0.1),
    (CLAMPED, PINNED): ([], [15.4, 50.0, 104.0], 0.4),
    (PINNED, PINNED): ([], [9.87, 39.5, 88.9], 0.1),
}
# Om_n = f_n / f0: xi, n, pinned, clamped-pinned, clamped. Exact roots, recomputed for this table with another solver.
# Standard forms: Blevins, Formulas for Natural Frequency and Mode Shape (1979); Fletcher, JASA 36 (1964) 203-209
# (citations from memory).
ENDS = [
    (5, 1, 1.181010, 1.452517, 1.805079),
    (10, 1, 1.048187, 1.164451, 1.304853),
    (10, 2, 2.362020, 2.615114, 2.905033),
    (10, 3, 4.122424, 4.529467, 4.978223),
    (15, 1, 1.021697, 1.094859, 1.178507),
    (20, 1, 1.012262, 1.065659, 1.124780),
    (20, 2, 2.096374, 2.207252, 2.328903),
    (20, 3, 3.316413, 3.490960, 3.680251),
    (25, 1, 1.007865, 1.049932, 1.095580),
    (30, 1, 1.005468, 1.040186, 1.077348),
    (30, 2, 2.043394, 2.114165, 2.189719),
    (30, 3, 3.144561, 3.253733, 3.369818),
    (40, 1, 1.003080, 1.028821, 1.055907),
    (50, 1, 1.001972, 1.022432, 1.043740),
    (75, 1, 1.000877, 1.014406, 1.028305),
    (100, 1, 1.000493, 1.010601, 1.020915),
]
# First mode at xi = 30 with end springs k = K L / EI: hub, nipple, Om. Same origin.
SPRUNG = [
    *[(k, k, om) for k, om in [(1, 1.007613), (5, 1.015049), (10, 1.022379), (20, 1.032854), (50, 1.049044)]],
    *[(k, k, om) for k, om in [(100, 1.059731), (1000, 1.075089)]],
    *[(k, 0, om) for k, om in [(10, 1.013855), (50, 1.026804), (1000, 1.039131)]],
]


@pytest.mark.parametrize(("ends", "wave_numbers"), HANDBOOK.items())
def test_beam_without_tension_has_the_handbook_wave_numbers(ends, wave_numbers):
    found = np.sqrt(squared_wave_numbers(0.0, *ends, len(wave_numbers)))
    np.testing.assert_allclose(found, wave_numbers, rtol=3e-9)


@pytest.mark.parametrize(("ends", "printed"), THOMSON_SQUARES.items())
def test_beam_without_tension_has_the_printed_squares(ends, printed):
    four_digits, one_digit, rounding = printed
    found = squared_wave_numbers(0.0, *ends, 3)
    np.testing.assert_allclose(found[: len(four_digits)], four_digits, atol=6e-5)
    np.testing.assert_allclose(found, one_digit, atol=rounding)


@pytest.mark.parametrize(("xi", "mode", "pinned", "half", "clamped"), ENDS)
def test_ends_held_and_free_to_turn(xi, mode, pinned, half, clamped):
    assert ratios_to_string(xi, PINNED, PINNED, mode)[-1] == pytest.approx(pinned, abs=6e-7)
    assert ratios_to_string(xi, CLAMPED, PINNED, mode)[-1] == pytest.approx(half, abs=6e-7)
    assert ratios_to_string(xi, PINNED, CLAMPED, mode)[-1] == pytest.approx(half, abs=6e-7)
    assert ratios_to_string(xi, CLAMPED, CLAMPED, mode)[-1] == pytest.approx(clamped, abs=6e-7)


@pytest.mark.parametrize(("hub", "nipple", "ratio"), SPRUNG)
def test_springy_ends(hub, nipple, ratio):
    assert ratios_to_string(30, hub, nipple, 1)[0] == pytest.approx(ratio, abs=6e-7)
    assert ratios_to_string(30, nipple, hub, 1)[0] == pytest.approx(ratio, abs=6e-7)


@pytest.mark.parametrize("xi", [0.3, 3.0, 30.0, 300.0])
def test_pinned_ends_have_the_closed_form(xi):
    """b = n pi exactly: f_n = n f0 sqrt(1 + n^2 pi^2 / xi^2)."""
    n = np.arange(1, 13)
    np.testing.assert_allclose(ratios_to_string(xi, 0, 0, 12), n * np.sqrt(1 + (n * np.pi / xi) ** 2), rtol=1e-9)


@pytest.mark.parametrize(("end", "leading"), [(PINNED, 0.0), (CLAMPED, 2.0)])
def test_vanishing_stiffness_gives_the_string(end, leading):
    """EI -> 0: f_n -> n f0, from above, with 2/xi of it (clamped) or none (pinned) at first order."""
    n = np.arange(1, 6)
    for xi, left_over in [(300, 3e-4), (1000, 3e-5), (3000, 3e-6)]:
        excess = ratios_to_string(xi, end, end, 5) / n - 1
        assert np.all(excess > 0)
        np.testing.assert_allclose(excess, leading / xi, atol=5 * left_over)


def sprung_roots(xi: float, hub: float, nipple: float, count: int) -> np.ndarray:
    """Squared wave numbers of a sprung uniform beam by bracketing its 4 x 4 characteristic equation.

    w = c1 sin bx + c2 cos bx + c3 exp(-ax) + c4 exp(-a(1 - x)) with a^2 = b^2 + xi^2 and omega = a b. Pinned, b = n pi.
    Turning springs raise each mode, and by interlacing (Rayleigh) clamping both ends leaves b_n below (n + 1) pi, so
    each interval of pi holds exactly one root.
    """

    def determinant(b: float) -> float:
        a = np.hypot(b, xi)
        s, c, e = np.sin(b), np.cos(b), np.exp(-a)
        moment = [-(b**2) * s, -(b**2) * c, a**2 * e, a**2]
        slope = [b * c, -b * s, -a * e, a]
        rows = np.array(
            [
                [0, 1, 1, e],
                [s, c, e, 1],
                [-hub * b, -(b**2), a**2 + hub * a, (a**2 - hub * a) * e],
                [m + nipple * turn for m, turn in zip(moment, slope, strict=True)],
            ]
        )
        rows[2] /= a**2 + hub * a
        rows[3] /= a**2 + nipple * a
        return float(np.linalg.det(rows))

    edges = np.pi * np.arange(1, count + 2)
    b = np.array([brentq(determinant, low + 1e-12, high, xtol=1e-14, rtol=1e-14) for low, high in pairwise(edges)])
    return b * np.hypot(b, xi)


@pytest.mark.parametrize("xi", [0, 0.1, 1, 3, 7, 15, 23.1387, 41, 75, 150, 500])
@pytest.mark.parametrize(("hub", "nipple"), [(1e9, 1e9), (1e9, 0.5), (0.1, 30.0), (12.0, 250.0), (1e4, 1e4)])
def test_no_mode_is_skipped_and_all_are_exact(xi, hub, nipple):
    expected = sprung_roots(xi, hub, nipple, 12)
    np.testing.assert_allclose(squared_wave_numbers(xi, hub, nipple, 12), expected, rtol=1e-9)


def stepped_roots(pieces: list[Stretch], tension: float, hub: float, nipple: float, up_to_hz: float) -> list[float]:
    """All frequencies up to a limit of a stepped beam: each piece's exact solution, matched in w, w', M and shear."""

    def determinant(frequency: float) -> float:
        omega = 2 * np.pi * frequency
        size = 4 * len(pieces)
        rows, edges = np.zeros((size, size)), []
        for p in pieces:
            ei = p.flat_stiffness_n_m2
            root = np.sqrt((tension / (2 * ei)) ** 2 + p.linear_density_kg_m * omega**2 / ei)
            a, b = np.sqrt(root + tension / (2 * ei)), np.sqrt(root - tension / (2 * ei))
            s, c, e = np.sin(b * p.length_m), np.cos(b * p.length_m), np.exp(-a * p.length_m)
            left = [[0, 1, 1, e], [b, 0, -a, a * e], [0, -(b**2), a**2, a**2 * e], [-(b**3), 0, -(a**3), a**3 * e]]
            right = [
                [s, c, e, 1],
                [b * c, -b * s, -a * e, a],
                [-(b**2) * s, -(b**2) * c, a**2 * e, a**2],
                [-(b**3) * c, b**3 * s, -(a**3) * e, a**3],
            ]
            sides = []
            for side in (np.array(left), np.array(right)):
                w, slope, second, third = side
                sides.append(np.array([w, slope, ei * second, ei * third - tension * slope]))
            edges.append(sides)
        first, last = edges[0][0], edges[-1][1]
        rows[0, :4], rows[1, :4] = first[0], first[2] - hub * first[1]
        for joint in range(len(pieces) - 1):
            at = slice(2 + 4 * joint, 6 + 4 * joint)
            rows[at, 4 * joint : 4 * joint + 4] = edges[joint][1]
            rows[at, 4 * joint + 4 : 4 * joint + 8] = -edges[joint + 1][0]
        rows[-2, -4:], rows[-1, -4:] = last[0], last[2] + nipple * last[1]
        rows /= np.linalg.norm(rows, axis=1)[:, None]
        return float(np.linalg.det(rows / np.linalg.norm(rows, axis=0)))

    grid = np.linspace(20.0, up_to_hz, round(up_to_hz / 7))
    values = [determinant(f) for f in grid]
    return [
        brentq(determinant, low, high, xtol=1e-10, rtol=1e-14)
        for (low, at_low), (high, at_high) in pairwise(zip(grid, values, strict=True))
        if at_low * at_high < 0
    ]


def round_steel(length_m: float, diameter_m: float) -> Stretch:
    area, inertia = np.pi * diameter_m**2 / 4, np.pi * diameter_m**4 / 64
    return Stretch(length_m, 7900 * area, 200e9 * inertia, 200e9 * inertia, 200e9 * area)


@pytest.mark.parametrize(
    "pieces",
    [
        [round_steel(0.030, 2e-3), round_steel(0.230, 1.5e-3), round_steel(0.030, 2e-3)],
        [round_steel(0.012, 2.3e-3), round_steel(0.220, 1.8e-3), round_steel(0.045, 2e-3)],
        [round_steel(0.100, 2e-3), round_steel(0.160, 1.6e-3)],
    ],
    ids=["butted", "lopsided", "one step"],
)
@pytest.mark.parametrize(("hub", "nipple"), [(0.0, 0.0), (5.0, 40.0), (1e9, 1e9)])
@pytest.mark.parametrize("tension_n", [30.0, 400.0, 1500.0])
def test_stepped_beams_against_matched_exact_solutions(pieces, hub, nipple, tension_n):
    found = natural_frequencies(pieces, tension_n, hub, nipple, "flat", 12)
    expected = stepped_roots(pieces, tension_n, hub, nipple, found[-1] + 1.0)
    assert len(expected) == 12
    np.testing.assert_allclose(found, expected, rtol=1e-9)


def test_cut_anywhere_a_uniform_beam_stays_the_same():
    whole = natural_frequencies([round_steel(0.29, 2e-3)], 1000, 20, 60, "flat", 6)
    cut = natural_frequencies([round_steel(part, 2e-3) for part in (0.03, 0.21, 0.05)], 1000, 20, 60, "flat", 6)
    assert max(abs(cents(a, b)) for a, b in zip(cut, whole, strict=True)) < 1e-5
