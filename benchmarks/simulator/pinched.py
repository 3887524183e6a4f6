"""A spoke pinched at its crossing: fingers with spring, damper and mass hold it there. Imports this package and numpy.

Fingertips have been measured with a few grams, some kN/m and some N s/m each; what two that pinch a wire come to is not
known, so the ranges are wide. No source is read for them: they are assumed.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from benchmarks.simulator.beam import Array, Beam, Hold, PointMass, modes
from benchmarks.simulator.pluck import HIGHER_SHARE, HIGHEST_HZ, Partials, Pluck, Voice, _release_filter, stretch
from benchmarks.simulator.spokes import PLANES

MODES, BASIS = 16, 44
MASS_KG, STIFFNESS_N_M, DAMPING_N_S_M = (0.3e-3, 8e-3), (5e3, 1e5), (2.0, 30.0)
"""Of a side's fingers, log-uniform."""
PLUCK_SPREAD, PLANE_SPREAD = 0.25, 0.2
"""Each pluck's fingers off the side's, and each plane's off that, of the log."""
PLACE_M, SIDE_PLACE_SD_M = 3e-3, 0.5e-3
"""Uniform by so much to either side for each pluck; of the middle of a side."""


@dataclass(frozen=True, slots=True)
class Fingers:
    """``place_m`` from the hub; mass, spring and damper."""

    place_m: float
    mass_kg: float
    stiffness_n_m: float
    damping_n_s_m: float

    def scaled(self, rng: np.random.Generator, spread: float) -> Fingers:
        """The same a little different."""
        factor = np.exp(spread * rng.normal(size=3))
        return Fingers(
            self.place_m,
            self.mass_kg * float(factor[0]),
            self.stiffness_n_m * float(factor[1]),
            self.damping_n_s_m * float(factor[2]),
        )


def draw_fingers(rng: np.random.Generator, place_m: float) -> Fingers:
    """Those that pinch a side's spokes, at ``place_m`` by the drawing."""
    drawn = [float(np.exp(rng.uniform(*np.log(each)))) for each in (MASS_KG, STIFFNESS_N_M, DAMPING_N_S_M)]
    return Fingers(place_m + SIDE_PLACE_SD_M * float(rng.normal()), drawn[0], drawn[1], drawn[2])


def pinched_partials(rng: np.random.Generator, voice: Voice, fingers: Fingers, pluck: Pluck) -> Partials:
    """Partials of both planes at the moment of release, as ``pluck.pluck_partials`` for a spoke that is pinched."""
    spoke = voice.spoke
    own = fingers.scaled(rng, PLUCK_SPREAD)
    own = replace(own, place_m=own.place_m + float(rng.uniform(-PLACE_M, PLACE_M)))
    pull = (abs(np.cos(pluck.angle_rad)), abs(np.sin(pluck.angle_rad)))
    found = []
    for plane in range(PLANES):
        held = own.scaled(rng, PLANE_SPREAD)
        beam = replace(
            spoke.beam(plane),
            masses=(PointMass(held.place_m, held.mass_kg),),
            holds=(Hold(held.place_m, held.stiffness_n_m, held.damping_n_s_m),),
        )
        root, moves = _released(beam, pluck.place * spoke.length_m)
        frequency = root.imag / (2 * np.pi)
        moves = moves * pull[plane] * _release_filter(frequency, pluck.sharpness_s)
        free = voice.modes[plane].frequency_hz
        logs = np.interp(np.log(frequency), np.log(free), np.log(voice.tau_s[plane]))
        gain = np.interp(np.log(frequency), np.log(free), np.abs(voice.radiation[plane]))
        heard = moves * (frequency / free[0]) ** 1.5 * gain * np.exp(2j * np.pi * rng.uniform(size=len(root)))
        found.append((frequency, heard, 1 / (np.exp(-logs) - root.real), np.abs(moves)))
    scale = pluck.swing_m / np.hypot(*(each[3][0] for each in found))
    axial = spoke.batch.axial_stiffness_n(spoke.length_m)
    swings = [stretch(axial, spoke.tension_n, scale * each[3][0], spoke.length_m - own.place_m) for each in found]
    columns = []
    for plane, (frequency, heard, tau, _) in enumerate(found):
        glide = np.full((frequency.size, PLANES), HIGHER_SHARE) * swings
        keep = (frequency < HIGHEST_HZ) & (tau > 2e-3)
        number = np.arange(1, frequency.size + 1)
        parts = frequency, scale * heard, tau, np.full(frequency.size, plane), number, glide
        columns.append(tuple(part[keep] for part in parts))
    joined = [np.concatenate([column[i] for column in columns]) for i in range(6)]
    first = np.array([each[2][0] for each in found])
    return Partials(joined[0], joined[1], joined[2], joined[3], joined[4], joined[5], first)


def _released(beam: Beam, pluck_m: float) -> tuple[NDArray[np.complex128], Array]:
    """Complex angular frequencies, ascending, and how far each mode swings after a release at ``pluck_m`` of a unit force.

    With the modes q of the undamped beam, fingers' spring and mass included, q'' + C q' + W^2 q = 0 and q(0) = shape/W^2 at
    rest, mode Q of root s starts with Q'(s q(0) + C q(0)) / (2 s Q'Q + Q'C Q).
    """
    free = modes(beam, BASIS)
    squares = (2 * np.pi * free.frequency_hz) ** 2
    damping = np.zeros((BASIS, BASIS))
    for hold in beam.holds:
        there = free.at(hold.place_m)
        damping += hold.damping_n_s_m * np.outer(there, there)
    state = np.block([[np.zeros((BASIS, BASIS)), np.eye(BASIS)], [-np.diag(squares), -damping]])
    roots, vectors = np.linalg.eig(state)
    keep = np.flatnonzero(roots.imag > 2 * np.pi * 60)
    keep = keep[np.argsort(roots[keep].imag)][:MODES]
    root, shape = roots[keep], vectors[:BASIS, keep]
    start = free.at(pluck_m) / squares
    across = shape.T @ (damping @ start) + root * (shape.T @ start)
    norm = 2 * root * np.sum(shape**2, axis=0) + np.sum(shape * (damping @ shape), axis=0)
    swing = 2 * np.abs(across / norm) * np.abs(shape.T @ free.shape).max(axis=1)
    return root, swing
