"""The simulator's touching pairs: limits that need no other program, and what two voices of a pair have in common."""

from __future__ import annotations

import math

import numpy as np
import pytest

from benchmarks.simulator.beam import Beam, Segment, modes
from benchmarks.simulator.pairs import Contact, pair_modes
from benchmarks.simulator.pluck import DecayLaw
from benchmarks.simulator.spokes import KINDS, SPREAD_PERCENT, Batch, Ends, Nominal, TrueSpoke
from benchmarks.simulator.touching import Touch, draw_pair, outermost

PLACES_M = (0.07, 0.071)


def beam(tension_n: float) -> Beam:
    return Beam((Segment(0.27, 0.153, 0.0248),), tension_n, 30.0, 20.0)


def test_no_contact_leaves_both_spokes_as_they_are():
    both = pair_modes((beam(1000), beam(700)), PLACES_M, np.zeros((2, 2)), 8)[0].frequency_hz
    single = np.sort(np.concatenate([modes(beam(t), 8).frequency_hz for t in (1000, 700)]))[:8]
    assert both == pytest.approx(single, rel=1e-7)


def test_an_equal_pair_keeps_the_modes_of_one_spoke_along_the_axle():
    """What both do alike strains no contact, however stiff."""
    touch = Contact((0.07, 0.07), 0.6, 1e7, 6e5, 1.2e5, 6e6)
    both = pair_modes((beam(1000), beam(1000)), touch.place_m, touch.along_axle(), 12)[0].frequency_hz
    alone = modes(beam(1000), 5).frequency_hz
    assert np.min(np.abs(both[:, None] / alone - 1), axis=0) == pytest.approx(0, abs=1e-7)


def test_wheel_plane_contact_as_one_spoke_feels_it():
    """The partner free to move: 1/k = (1 + cos^2)/(k_axial sin^2) + 1/k_roll, by statics of the joint."""
    angle, place, length = math.radians(36), 0.0729, 0.27
    touch = Contact((place, place), angle, 1e7, 6.1e5, 1.2e5, 6e6)
    held = touch.in_wheel_plane((length, length))
    felt = held[0, 0] - held[0, 1] ** 2 / held[1, 1]
    axial = 1 / (place / 6.1e5 + 1 / 6e6) + 6.1e5 / (length - place)
    roll = 1.2e5 * (1 / place + 1 / (length - place))
    assert 1 / felt == pytest.approx((1 + math.cos(angle) ** 2) / (axial * math.sin(angle) ** 2) + 1 / roll)


@pytest.mark.parametrize(("count", "crosses", "low", "high"), [(36, 3, 29, 31), (32, 3, 32, 34), (24, 2, 39, 41)])
def test_angle_of_the_outermost_crossing(count, crosses, low, high):
    """Ranges of wheels with hub circles of 45 to 58 mm, computed elsewhere."""
    step = 4 * math.pi / count
    crossing = outermost(0.300, 0.0258, crosses * step, step)
    assert low - 1 < math.degrees(crossing.angle_rad) < high + 1
    assert abs(crossing.partner) == 1  # the neighbour on the rim


def test_voices_of_a_pair_share_their_modes_and_their_sound():
    ends = Ends((30.0, 30.0), (20.0, 20.0))
    batch = Batch(Nominal(KINDS[0]), dict.fromkeys(SPREAD_PERCENT, 1.0))
    spokes = (TrueSpoke(batch, 0.27, 1100.0, ends), TrueSpoke(batch, 0.27, 900.0, ends))
    crossing = outermost(0.300, 0.0258, 6 * math.pi * 2 / 36, 4 * math.pi / 36)
    touch = Touch(0.0, 0.0, 6e6, 1e7)
    one, two = draw_pair(np.random.default_rng(1), spokes, crossing, touch, DecayLaw((0.8, 0.6), 0.7))
    for plane in (0, 1):
        assert one.modes[plane].frequency_hz is two.modes[plane].frequency_hz
        assert one.tau_s[plane] is two.tau_s[plane]
        # What a mode sounds like goes by the pair's greatest deflection, whichever of the two was plucked.
        heard = [voice.radiation[plane] * np.abs(voice.modes[plane].shape).max(axis=1) for voice in (one, two)]
        assert heard[0] == pytest.approx(heard[1])
