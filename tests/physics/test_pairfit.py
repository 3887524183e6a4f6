"""Tensions of touching pairs from their shared partials: partial lists made by the independent simulator, ends drawn by spoke."""

from __future__ import annotations

import math

import numpy as np
import pytest

from benchmarks.simulator.beam import Beam, Segment
from benchmarks.simulator.pairs import Contact, pair_modes
from tensionear.physics.pairfit import fit_pairs
from tensionear.physics.pairvalues import PairsFit, PairSide
from tensionear.physics.spoke import Stretch
from tensionear.pitch.shared import SharedLine

LENGTH_M, PLACE_M, ANGLE_RAD = 0.270, 0.0729, math.radians(36)
AREA_M2 = math.pi * 0.002**2 / 4
AXIAL_N, BENDING, DENSITY = 195e9 * AREA_M2, 195e9 * math.pi * 0.002**4 / 64, 7900 * AREA_M2
SIDE = PairSide(
    (Stretch(LENGTH_M, DENSITY, BENDING, BENDING, AXIAL_N),),
    PLACE_M,
    ANGLE_RAD,
    np.array([(0.0018, 0, 0, 0), (0, 0, 0.02, 0.02), (0, 0.005, 0, 0), (0, 0.006, 0.012, 0.012)]),
)
TENSIONS_N = np.array([(1200, 800), (1000, 1050), (930, 1000), (1010, 990), (900, 1060)], dtype=float)


def heard(rng: np.random.Generator, tensions: np.ndarray) -> list[SharedLine]:
    """Shared lines of one pair, frequencies to 2e-4, pluck places and angles unknown to the fit."""
    touch = Contact((PLACE_M, PLACE_M), ANGLE_RAD, 1e7, AXIAL_N, AXIAL_N / (4 * 1.28), 6e6)
    places, angles = LENGTH_M * (1 - rng.uniform(0.1, 0.35, 2)), np.radians(rng.uniform(25, 65, 2))
    lines = []
    for plane in (0, 1):
        beams = tuple(
            Beam((Segment(LENGTH_M, BENDING, DENSITY),), float(t), *(25 * np.exp(0.2 * rng.normal(size=2))).tolist())
            for t in tensions
        )
        held = touch.in_wheel_plane((LENGTH_M, LENGTH_M)) if plane else touch.along_axle()
        modes = pair_modes((beams[0], beams[1]), touch.place_m, held, 11)
        pull = np.sin(angles) if plane else np.cos(angles)
        size = np.array([abs(p * each.at(x)) for p, each, x in zip(pull, modes, places, strict=True)])
        size /= modes[0].frequency_hz
        size = np.maximum(size, 1e-3 * size.max())
        for hz, (one, two) in zip(modes[0].frequency_hz, size.T, strict=True):
            u = 2e-4 * hz
            ratio = float(np.clip(math.log(one / two), -3.6, 3.6))
            lines.append(
                SharedLine(float(hz + u * rng.normal()), float(u), 4.0, ratio, 0.15, 20 * math.log10(max(one, two)))
            )
    return sorted(lines, key=lambda line: line.frequency_hz)


@pytest.fixture(scope="module")
def fit() -> PairsFit:
    rng = np.random.default_rng(5)
    return fit_pairs(SIDE, [heard(rng, tensions) for tensions in TENSIONS_N])


def test_tensions_come_out(fit):
    assert np.exp(fit.log_tension) == pytest.approx(TENSIONS_N, rel=0.02)


def test_differences_are_better_known_than_tensions(fit):
    found = fit.log_tension[:, 0] - fit.log_tension[:, 1]
    assert found == pytest.approx(np.log(TENSIONS_N[:, 0] / TENSIONS_N[:, 1]), abs=0.015)


def test_1200_and_800_is_far_from_its_mirror(fit):
    assert fit.log_tension[0, 0] - fit.log_tension[0, 1] > 0.3
    assert fit.mirror[0] > 45


def test_covariance_is_one(fit):
    values = np.linalg.eigvalsh(fit.covariance())
    assert values.min() > 0
    assert 0.005 < math.sqrt(values.max()) < 0.1
