"""A spoke hung from its head, plucked under several masses, with the truth. Imports the rest of this package and numpy only."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from benchmarks.simulator.pluck import draw_decay_law, draw_pluck, draw_voice, pluck_partials, pluck_sound
from benchmarks.simulator.room import (
    NoiseMix,
    band_rms,
    convolve,
    draw_microphone,
    draw_noise,
    draw_room,
    heard_response,
    quantised,
)
from benchmarks.simulator.spokes import Batch, Ends, TrueSpoke

MASSES_KG = (10.0, 18.0, 28.0, 40.0, 55.0)
GRAVITY_M_S2 = 9.80665
RATE = 48_000
PLUCKS = 3


@dataclass(frozen=True, slots=True, eq=False)
class HungSpoke:
    """What the program is given: ``sounds``, one recording (n,) float32 a mass at ``sample_rate_hz``, the stated masses in kg and
    the stated free length in m. The truth is the batch."""

    sounds: tuple[NDArray[np.float32], ...]
    sample_rate_hz: int
    masses_kg: tuple[float, ...]
    free_length_m: float


def draw_hung(rng: np.random.Generator, batch: Batch, u_mass: float, u_length_m: float) -> HungSpoke:
    """A spoke of a batch in a jig: ends log-uniform 1..150 N m/rad, 2 % off from mass to mass; ``u_mass`` is relative.

    The tension is the weight of the true mass and of half the spoke; air is left out on both sides of the balance.
    """
    length_m = float(rng.uniform(0.255, 0.300))
    low, high = np.log(1.0), np.log(150.0)
    hub, nipple = (_planes(rng, np.full(2, np.exp(each)), 0.05) for each in rng.uniform(low, high, 2))
    law, microphone = draw_decay_law(rng), draw_microphone(rng, "phone", RATE)
    response = heard_response(draw_room(rng, RATE), microphone)
    own_kg = sum(piece.length_m * piece.mass_kg_m for piece in batch.segments(length_m, 0))
    sounds, stated = [], []
    for mass in MASSES_KG:
        tension = GRAVITY_M_S2 * (mass + own_kg / 2)
        ends = Ends(_planes(rng, hub, 0.02), _planes(rng, nipple, 0.02))
        voice = draw_voice(rng, TrueSpoke(batch, length_m, tension, ends), law)
        dry = np.zeros(int((0.5 + 1.6 * PLUCKS) * RATE))
        for number in range(PLUCKS):
            pluck = draw_pluck(rng, batch.nominal.kind.flat)
            sound = pluck_sound(pluck_partials(voice, pluck), pluck, rng, RATE, 0.0)
            first = int((0.4 + 1.6 * number) * RATE)
            sound = sound[: dry.size - first]
            dry[first : first + sound.size] += sound / np.abs(sound).max()
        clean = convolve(dry, response)
        noise = draw_noise(rng, NoiseMix(0.8, 0.2, 0.0), microphone, clean.size, RATE)
        noise *= band_rms(clean[int(0.4 * RATE) :][: int(0.3 * RATE)], RATE) / 10 ** (25 / 20)
        sounds.append(quantised(clean + noise, 0.5))
        stated.append(float(mass * (1 + u_mass * rng.normal())))
    return HungSpoke(tuple(sounds), RATE, tuple(stated), length_m + u_length_m * float(rng.normal()))


def _planes(rng: np.random.Generator, stiffness: Sequence[float], spread: float) -> tuple[float, float]:
    """Both bending planes of one end, each off by a lognormal ``spread``."""
    first, second = np.asarray(stiffness) * np.exp(spread * rng.normal(size=2))
    return float(first), float(second)
