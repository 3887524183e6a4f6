"""Rounds at the stand: each spoke plucked twice, then on to the next. Imports the rest of this package and numpy only.

Whoever hears a tone after the second pluck goes on a little later than to a second pluck of the same spoke.
"""

from __future__ import annotations

import numpy as np

from benchmarks.simulator.room import NoiseMix, draw_microphone, draw_noise, draw_room, heard_response, quantised
from benchmarks.simulator.rounds import Event, Round, Scene, SpokeTruth, draw_rim, perform
from benchmarks.simulator.wheels import Tensioning, draw_wheel

RATE_HZ = 48_000
_START_S, _AGAIN_S, _ON_S = 1.0, (0.70, 0.85), (1.45, 1.7)
_LEVEL_DB, _SNR_DB = 6.0, 26.0


def draw_stand(seed: int, count: int = 12, plucks: int = 2, closes: bool = True, late: float = 0.0) -> Round:
    """One round of a wheel of ``count`` spokes, ``plucks`` of each, in rim order from spoke 1.

    Parameters
    ----------
    seed : int
    count, plucks : int
    closes : bool
        Whether the first spoke is plucked once more at the end.
    late : float
        How often, per spoke, one pluck more comes before the hand has heard that it may go on.
    """
    rng = np.random.default_rng([seed, 11])
    wheel = draw_wheel(rng, count, "RL", True, Tensioning(0.05, False))
    events, clock_s = [], _START_S
    for spoke in range(1, count + 1):
        more = plucks + int(rng.uniform() < late)
        for number in range(more):
            events.append(Event(clock_s, "pluck", -_LEVEL_DB * float(rng.uniform()), spoke=spoke, detail="first"))
            clock_s += float(rng.uniform(*(_AGAIN_S if number < more - 1 else _ON_S)))
    if closes:
        events.append(Event(clock_s, "pluck", -3.0, spoke=1, detail="closing"))
    microphone = draw_microphone(rng, "phone", RATE_HZ)
    scene = Scene(wheel, RATE_HZ, heard_response(draw_room(rng, RATE_HZ), microphone), draw_rim(rng), 0.4e-3)
    clean, played = perform(rng, scene, events, 2.5)
    mix = NoiseMix(0.75, 0.25, 0.0)
    noise = draw_noise(rng, mix, microphone, clean.size, RATE_HZ) * 10 ** ((-_LEVEL_DB - _SNR_DB) / 20)
    truths = tuple(
        SpokeTruth(n, wheel.label(n), wheel.plan.side_of(n).name, spoke.tension_n, voice.first_hz, True)
        for n, (spoke, voice) in enumerate(zip(wheel.spokes, wheel.voices, strict=True), start=1)
    )
    return Round(
        quantised(clean + noise, 0.5),
        RATE_HZ,
        wheel.plan.toml(),
        {"first": 1, "order": "rim", "direction": "cw", "missing": None},
        truths,
        tuple(played),
        "stand",
        wheel.plan.nominal.kind.flat,
        _SNR_DB,
        "phone",
        clean,
        noise,
    )
