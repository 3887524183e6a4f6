"""Simulated recordings with their truth, each drawn and read once for all tests."""

from __future__ import annotations

from functools import cache

import numpy as np

from benchmarks.simulator.rounds import Round, draw_round
from benchmarks.simulator.singles import Single, draw_single
from tensionear.capture.recording import Recording
from tensionear.catalogue import build_spoke
from tensionear.listening import Listened, listen_through
from tensionear.physics.expectation import expect
from tensionear.physics.kinds import Kind
from tensionear.physics.spoke import Spoke
from tensionear.pipeline import read
from tensionear.reading import Reading
from tensionear.readings.unknown import listen_unknown
from tensionear.wheel.model import Wheel
from tensionear.wheel.wheelfile import parse_wheel


@cache
def single(seed: int, snr_db: float = 25.0) -> Single:
    return draw_single(seed, snr_db)


def spoke_of(drawn: Single) -> Spoke:
    return build_spoke(drawn.kind, drawn.spoke)


def recording_of(drawn: Single | Round) -> Recording:
    return Recording(drawn.samples, drawn.sample_rate_hz)


@cache
def read_single(seed: int) -> Reading:
    drawn = single(seed)
    return read(recording_of(drawn), spoke=spoke_of(drawn), free_length_m=drawn.free_length_m)


@cache
def tidy(seed: int) -> Round:
    return draw_round(seed, "tidy")


@cache
def wheel_of(seed: int) -> Wheel:
    return parse_wheel(tidy(seed).wheel_toml, "drawn.toml")


@cache
def heard_with_wheel(seed: int) -> Listened:
    """The round heard once with its wheel's one kind of spoke in mind."""
    place = wheel_of(seed).places[0]
    return listen_through(recording_of(tidy(seed)), [expect(place.spoke, place.free_length_m)])


@cache
def heard_with_count(seed: int) -> tuple[Listened, Kind | None]:
    return listen_unknown(recording_of(tidy(seed)))


@cache
def read_with_wheel(seed: int) -> Reading:
    return read(recording_of(tidy(seed)), wheel=wheel_of(seed))


@cache
def read_with_count(seed: int) -> Reading:
    return read(recording_of(tidy(seed)), spokes=len(tidy(seed).spokes))


def string(first_hz: float, rate_hz: float = 48_000.0, onset_s: float = 0.6, inharmonicity: float = 1e-4) -> Recording:
    """A plucked string of an instrument: twelve stiff-string partials, each dying faster than the one below, in faint noise."""
    at = np.arange(round((onset_s + 2.0) * rate_hz)) / rate_hz
    since = np.maximum(at - onset_s, 0)
    sound = 0.0005 * np.random.default_rng(4).standard_normal(len(at))
    for n in range(1, 13):
        hz = first_hz * n * np.sqrt((1 + inharmonicity * n**2) / (1 + inharmonicity))
        if hz < 7000:
            sound += (at >= onset_s) * 0.2 / n**1.3 * np.sin(2 * np.pi * hz * since + n) * np.exp(-since * n**0.5 / 0.7)
    return Recording(sound.astype(np.float32), rate_hz, "string")
