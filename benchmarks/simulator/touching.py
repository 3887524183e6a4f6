"""Pairs of spokes that touch: where they cross, how they stick, and the voices the two share. Imports this package, numpy.

Both spokes of a pair have the same modes; what differs is how far each moves in one. A mode is heard through the forces
at both nipples, which the rim answers unequally, whichever of the two was plucked.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from benchmarks.simulator.beam import Array, Modes
from benchmarks.simulator.pairs import Contact, pair_modes
from benchmarks.simulator.pluck import DecayLaw, Voice, _smooth_gain
from benchmarks.simulator.spokes import PLANES, TrueSpoke

MODES = 20
POISSON = 0.28
PLACE_SD_M, IN_OUT_SD_M, OWN_PLACE_SD_M, ANGLE_SD_RAD = 1.0e-3, 0.7e-3, 0.3e-3, np.radians(1.0)
"""How far a crossing lies off the drawing: common to a side, elbows in against elbows out, each by itself; the angle."""
HUB_N_M, NORMAL_N_M, SPREAD = 6.0e6, 1.0e7, 0.3


@dataclass(frozen=True, slots=True)
class Crossing:
    """The outermost crossing of a side by its drawing: place from the hub, angle, and how many places of the side further
    on the partner of a spoke running clockwise is."""

    place_m: float
    angle_rad: float
    partner: int


@dataclass(frozen=True, slots=True)
class Touch:
    """What the contacts of a side have in common."""

    place_m: float
    in_out_m: float
    hub_n_m: float
    normal_n_m: float


def outermost(rim_m: float, hub_m: float, wrap_rad: float, step_rad: float) -> Crossing:
    """The crossing farthest from the hub of a spoke whose hub hole lies ``wrap_rad`` behind its rim hole.

    Spokes of a side lie ``step_rad`` apart at the rim and alternate in sense.
    """

    def ends(index: int) -> tuple[Array, Array]:
        angle = index * step_rad
        hole = angle + (-wrap_rad if index % 2 == 0 else wrap_rad)
        return hub_m * np.array([np.sin(hole), np.cos(hole)]), rim_m * np.array([np.sin(angle), np.cos(angle)])

    begin, end = ends(0)
    along = end - begin
    best = Crossing(0.0, 0.0, 0)
    for index in range(-9, 10, 2):
        start, stop = ends(index)
        other = stop - start
        matrix = np.column_stack([along, -other])
        if abs(np.linalg.det(matrix)) < 1e-12:
            continue
        share, across = np.linalg.solve(matrix, start - begin)
        place = float(share * np.hypot(*along))
        if 0.02 < share < 0.98 and 0.02 < across < 0.98 and place > best.place_m:
            cosine = along @ other / (np.hypot(*along) * np.hypot(*other))
            best = Crossing(place, float(np.arccos(cosine)), index)
    if best.partner == 0:
        raise ValueError("these spokes cross none")
    return best


def draw_touch(rng: np.random.Generator) -> Touch:
    """The contacts of one side."""
    place, in_out = PLACE_SD_M * rng.normal(), IN_OUT_SD_M * rng.normal()
    hub, normal = np.exp(SPREAD * rng.normal(size=2))
    return Touch(float(place), float(in_out), HUB_N_M * float(hub), NORMAL_N_M * float(normal))


def draw_pair(
    rng: np.random.Generator, spokes: tuple[TrueSpoke, TrueSpoke], crossing: Crossing, touch: Touch, law: DecayLaw
) -> tuple[Voice, Voice]:
    """The voices of two spokes that touch. Plane 0 is along the axle, plane 1 the wheel plane."""
    lengths = spokes[0].length_m, spokes[1].length_m
    off = OWN_PLACE_SD_M * rng.normal(size=2) + np.array([0.5, -0.5]) * touch.in_out_m + touch.place_m
    places = float(crossing.place_m + off[0]), float(crossing.place_m + off[1])
    axial = spokes[0].batch.axial_stiffness_n(lengths[0])
    # Round: GJ/r^2 = EA / 4(1 + nu).
    angle = crossing.angle_rad + ANGLE_SD_RAD * rng.normal()
    contact = Contact(places, angle, touch.normal_n_m, axial, axial / (4 * (1 + POISSON)), touch.hub_n_m)
    shapes: list[tuple[Modes, Modes]] = []
    taus, radiations = [], []
    for plane in range(PLANES):
        held = contact.in_wheel_plane(lengths) if plane else contact.along_axle()
        two = pair_modes((spokes[0].beam(plane), spokes[1].beam(plane)), places, held, MODES)
        frequency = two[0].frequency_hz
        ratio = frequency / frequency[0]
        first = law.first_s[plane] * np.exp(0.15 * rng.normal())
        tau = np.maximum(first * ratio**-law.exponent * np.exp(0.2 * rng.normal(size=MODES) * (ratio > 1)), 0.02)
        # The forces at both nipples, weighed unequally, relative to what one spoke alone would put on the rim.
        force = np.array([two[0].nipple_slope, two[1].nipple_slope])
        answers = np.exp(0.3 * rng.normal(size=2) + 1j * rng.uniform(-1, 1, 2))
        heard = (answers @ force) / np.abs(force).max(axis=0)
        gain = (
            _smooth_gain(rng, frequency)
            * np.exp(2j * np.pi * rng.uniform(size=MODES))
            * 10 ** (rng.uniform(-3, 3) / 20)
        )
        shapes.append(two)
        taus.append(tau)
        radiations.append(gain * np.abs(heard))
    voices = []
    for which, spoke in enumerate(spokes):
        modes = shapes[0][which], shapes[1][which]
        # A voice's sound goes by its own greatest deflection: here it must go by that of the pair.
        by_pair = [
            np.abs([two.shape for two in shapes[plane]]).max(axis=(0, 2)) / np.abs(modes[plane].shape).max(axis=1)
            for plane in range(PLANES)
        ]
        voices.append(Voice(spoke, modes, (taus[0], taus[1]), (radiations[0] * by_pair[0], radiations[1] * by_pair[1])))
    return voices[0], voices[1]
