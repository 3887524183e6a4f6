"""Modes of a spoke that fingers hold, against the simulator's finite elements, and their slopes."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest

from benchmarks.simulator.beam import Beam, Hold, PointMass, Segment, damped_modes
from tensionear.physics.held import BY, HeldModel, HeldModes, HeldState
from tensionear.physics.spoke import Stretch

LENGTH_M, PLACE_M, MASS_KG_M, BENDING = 0.27, 0.0729, 0.02482, 0.1531
#: Spring, damper, mass, and how far off the place.
FINGERS = [(1e4, 4.0, 1e-4, 0.0), (2e4, 5.0, 2e-3, -3e-3), (2e4, 10.0, 5e-3, 2e-3)]
FIELDS = (
    "log_tension", "shift_m", "hub_n_m", "nipple_n_m", "spring_n_m", "damper_n_s_m", "weight_kg", "length", "mass", "bending"
)  # fmt: skip
LOGS = ("hub_n_m", "nipple_n_m", "spring_n_m", "damper_n_s_m", "weight_kg")


@pytest.fixture(scope="module")
def model() -> HeldModel:
    return HeldModel([Stretch(LENGTH_M, MASS_KG_M, BENDING, BENDING, 6e5)], PLACE_M, "flat")


def state_of(spring: float, damper: float, weight: float, shift: float) -> HeldState:
    values = (math.log(1000.0), shift, 30.0, 40.0, spring, damper, weight, 0.0, 0.0, 0.0)
    return HeldState(*(np.array([value]) for value in values))


def heard(modes: HeldModes) -> np.ndarray:
    """The lowest modes that swing on, up to 4 kHz."""
    return np.flatnonzero((modes.decay_rate[0] < 100) & (modes.log_frequency[0] < math.log(4000.0)))


@pytest.mark.parametrize("fingers", FINGERS)
def test_modes_agree_with_finite_elements(model, fingers):
    spring, damper, weight, shift = fingers
    place = PLACE_M + shift
    beam = Beam(
        (Segment(LENGTH_M, BENDING, MASS_KG_M),),
        1000.0,
        30.0,
        40.0,
        (PointMass(place, weight),),
        (Hold(place, spring, damper),),
    )
    true, found = damped_modes(beam, 13, basis=60), model.evaluate(state_of(*fingers))
    kept = heard(found)
    assert len(kept) >= 1
    assert np.exp(found.log_frequency[0, kept]) == pytest.approx(true.frequency_hz[kept], rel=1e-4)
    assert found.decay_rate[0, kept] == pytest.approx(true.decay_per_s[kept], rel=0.03)


def test_a_mass_without_damper_lets_every_mode_ring(model):
    modes = model.evaluate(state_of(2e4, 1e-9, 5e-3, 0.0))
    assert np.max(np.abs(modes.decay_rate[0, :8])) < 1e-3


@pytest.mark.parametrize("fingers", FINGERS)
@pytest.mark.parametrize("number", range(len(BY)))
def test_slopes_are_those_of_the_modes(model, fingers, number):
    name = FIELDS[number]
    state, step = state_of(*fingers), 1e-5 if name == "shift_m" else 1e-4
    low, high = (
        model.evaluate(replace(state, **{name: value * math.exp(by) if name in LOGS else value + by}))
        for value, by in ((getattr(state, name), -step), (getattr(state, name), step))
    )
    modes = model.evaluate(state)
    kept = heard(modes)
    by_frequency = (high.log_frequency - low.log_frequency)[0, kept] / (2 * step)
    by_decay = (high.decay_rate - low.decay_rate)[0, kept] / (2 * step)
    size = np.abs(by_frequency).max(), np.abs(by_decay).max()
    assert modes.by_frequency[0, kept, number] == pytest.approx(by_frequency, abs=0.01 * size[0] + 1e-6)
    assert modes.by_decay[0, kept, number] == pytest.approx(by_decay, abs=0.05 * size[1] + 1e-3)
