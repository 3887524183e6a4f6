"""Single plucks with their truth, drawn by seed. Imports the rest of this package, numpy and scipy only."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from benchmarks.simulator.pluck import (
    DecayLaw,
    Partials,
    Voice,
    draw_decay_law,
    draw_pluck,
    draw_voice,
    merge,
    pluck_partials,
    pluck_sound,
    ring_partials,
)
from benchmarks.simulator.room import (
    MICROPHONES,
    RING_S,
    NoiseMix,
    band_rms,
    convolve,
    draw_microphone,
    draw_noise,
    draw_room,
    heard_response,
    quantised,
)
from benchmarks.simulator.spokes import (
    KINDS,
    U_LENGTH_MM,
    Batch,
    Ends,
    TrueSpoke,
    draw_batch,
    draw_nominal,
    draw_side_ends,
    scatter_ends,
)

Array = NDArray[np.float64]

TENSION_N = (350.0, 1500.0)
LENGTH_M = (0.240, 0.305)


@dataclass(frozen=True, slots=True, eq=False)
class Single:
    """One pluck as recorded, what the solver is told of it, and the truth.

    Told: ``samples`` (n,) float32 mono at ``sample_rate_hz``; ``spoke``, the keys of an own spoke in a wheel file
    (sizes, material, density, modulus, their standard uncertainties in percent); ``free_length_m`` with standard
    uncertainty ``u_length_m``. Truth: ``tension_n``; ``frequency_hz`` of mode 1 at vanishing swing in the (flat, edge)
    plane, ``modes_hz`` (2, modes) of all modes, and how loud mode 1 of each is at the release, ``level_db``, 0 for the
    louder; ``onset_s`` of the release. ``clean`` and
    ``noise`` (n,) are the two parts of ``samples`` before scaling.
    """

    samples: NDArray[np.float32]
    sample_rate_hz: int
    kind: str
    flat: bool
    tension_n: float
    frequency_hz: tuple[float, float]
    modes_hz: Array
    level_db: tuple[float, float]
    spoke: dict[str, str | float]
    free_length_m: float
    u_length_m: float
    onset_s: float
    snr_db: float
    microphone: str
    clean: Array = field(repr=False)
    noise: Array = field(repr=False)


def _neighbours(rng: np.random.Generator, voice: Voice, side: Ends, law: DecayLaw, level: float) -> list[Partials]:
    """Two spokes beside the plucked one, set ringing through the rim 20..30 dB down."""
    rings = []
    for _ in range(2):
        beside = TrueSpoke(
            voice.spoke.batch,
            voice.spoke.length_m,
            voice.spoke.tension_n * (1 + 0.08 * float(np.clip(rng.normal(), -2, 2))),
            scatter_ends(rng, side, 0.2),
        )
        down = 10 ** (-rng.uniform(20, 30) / 20)
        rings.append(ring_partials(draw_voice(rng, beside, law), rng, level * down, 5))
    return rings


def mode_one_levels_db(partials: Partials, response: Array, rate: float) -> tuple[float, float]:
    """Heard level of mode 1 in the (flat, edge) plane through ``response``, 0 dB for the louder; at least -99."""
    time = np.arange(response.size) / rate
    heard = []
    for plane in (0, 1):
        found = np.flatnonzero((partials.plane == plane) & (partials.mode == 1))
        if not found.size:
            heard.append(0.0)
            continue
        first = found[0]
        turn = np.exp(-2j * np.pi * partials.frequency_hz[first] * time)
        heard.append(float(abs(partials.amplitude[first]) * abs(response @ turn)))
    flat, edge = 20 * np.log10(np.maximum(np.array(heard) / max(heard), 10**-4.95))
    return float(flat), float(edge)


def _draw_spoke(rng: np.random.Generator, kind_index: int) -> tuple[TrueSpoke, Ends, float, Batch]:
    nominal = draw_nominal(rng, KINDS[kind_index])
    batch = draw_batch(rng, nominal)
    stated_m = float(np.round(rng.uniform(*LENGTH_M), 4))
    side = draw_side_ends(rng)
    ends = scatter_ends(rng, side, float(rng.uniform(0.15, 0.25)))
    true_m = stated_m + 1e-3 * U_LENGTH_MM * float(rng.normal())
    return TrueSpoke(batch, true_m, float(rng.uniform(*TENSION_N)), ends), side, stated_m, batch


def draw_single(seed: int, snr_db: float) -> Single:
    """One pluck; the same ``seed`` gives the same pluck and the same noise, ``snr_db`` only its level.

    Kinds and microphones take turns with the seed (7 x 3), so any 21 seeds in a row hold each pair once.
    """
    rng = np.random.default_rng([seed, 71])
    kind_index, name = seed % len(KINDS), MICROPHONES[seed // len(KINDS) % len(MICROPHONES)]
    rate = int(rng.choice([44_100, 48_000]))
    spoke, side, stated_m, batch = _draw_spoke(rng, kind_index)
    law = draw_decay_law(rng)
    voice = draw_voice(rng, spoke, law)
    pluck = draw_pluck(rng, batch.nominal.kind.flat)
    own = pluck_partials(voice, pluck)
    partials = own
    if rng.uniform() < 0.5:
        partials = merge([own, *_neighbours(rng, voice, side, law, float(np.abs(own.amplitude).max()))])
    microphone = draw_microphone(rng, name, rate)
    response = heard_response(draw_room(rng, rate), microphone)
    onset_s = float(rng.uniform(0.35, 0.6))
    first = int(np.ceil(onset_s * rate))
    sound = pluck_sound(partials, pluck, rng, rate, first / rate - onset_s)
    dry = np.zeros(int((onset_s + rng.uniform(1.6, 2.2)) * rate))
    dry[first : first + sound.size] = sound[: dry.size - first]
    clean = convolve(dry, response)
    mix = NoiseMix(*rng.dirichlet([2.0, 0.7, 0.7]))
    noise = draw_noise(rng, mix, microphone, clean.size, rate)
    ring = band_rms(clean[first : first + int(RING_S * rate)], rate)
    noise *= ring / 10 ** (snr_db / 20)
    peak = 10 ** (rng.uniform(-20, -1) / 20)
    return Single(
        quantised(clean + noise, peak),
        rate,
        batch.nominal.kind.name,
        batch.nominal.kind.flat,
        spoke.tension_n,
        voice.first_hz,
        np.array([plane.frequency_hz[: min(len(each.frequency_hz) for each in voice.modes)] for plane in voice.modes]),
        mode_one_levels_db(own, response, rate),
        batch.nominal.file_keys(),
        stated_m,
        1e-3 * U_LENGTH_MM,
        onset_s,
        snr_db,
        name,
        clean,
        noise,
    )
