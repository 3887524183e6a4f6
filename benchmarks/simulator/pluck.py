"""One pluck of one spoke to damped, gliding partials, and partials to sound. Numpy only.

A finger or pick pulls the spoke aside at one place and angle and lets go within a fraction of a millisecond. Both
planes ring; each mode starts as the static shape says, loses what the slow release filters away, decays by its own
law, and glides: the swing stretches the spoke by delta = (3/32) pi^2 (EA/T) (a/L)^2 in mode 1 and 2/3 of that in the
others (Duffing average of a beam with fixed ends).
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from benchmarks.simulator.beam import Modes, modes
from benchmarks.simulator.spokes import PLANES, TrueSpoke

Array = NDArray[np.float64]

MODES = 12
HIGHEST_HZ = 10_000.0
STRETCH = 3 / 32 * np.pi**2
HIGHER_SHARE = 2 / 3
"""Share of mode 1's stretch that the other modes, and mode 1 of the other plane of a flat spoke, feel."""
SILENT = 1e-3
"""A partial is dropped once it is this far below the strongest one of its pluck at the start."""
_HOP = 24  # samples between exact phases; in between two constant-frequency pieces are cross-faded
_FADE_S = 0.03


@dataclass(frozen=True, slots=True)
class DecayLaw:
    """How a side's spokes die away: tau of mode 1 per plane in s, and tau_n = tau_1 (f_1/f_n)^exponent."""

    first_s: tuple[float, float]
    exponent: float


def draw_decay_law(rng: np.random.Generator) -> DecayLaw:
    """tau 0.3..1.2 s (log-uniform), the planes about 30 % apart, exponent 0.5..1."""
    flat = float(np.exp(rng.uniform(np.log(0.3), np.log(1.2))))
    edge = float(np.clip(flat * np.exp(0.3 * rng.normal()), 0.25, 1.3))
    return DecayLaw((flat, edge), float(rng.uniform(0.5, 1.0)))


@dataclass(frozen=True, slots=True, eq=False)
class Voice:
    """What one mounted spoke can ring: per plane its modes, decay times (n,) s, complex radiation (n,) of each."""

    spoke: TrueSpoke
    modes: tuple[Modes, Modes]
    tau_s: tuple[Array, Array]
    radiation: tuple[NDArray[np.complex128], NDArray[np.complex128]]

    @property
    def first_hz(self) -> tuple[float, float]:
        """Mode 1 at vanishing swing, flat and edge plane."""
        return float(self.modes[0].frequency_hz[0]), float(self.modes[1].frequency_hz[0])

    def damped(self, factor: float) -> Voice:
        """The same, dying this many times sooner."""
        return replace(self, tau_s=(self.tau_s[0] / factor, self.tau_s[1] / factor))


def _smooth_gain(rng: np.random.Generator, frequency_hz: Array) -> Array:
    """A gain within about +-6 dB that wanders smoothly with frequency; linear."""
    octaves = np.log2(frequency_hz / 100)
    phases, rates = rng.uniform(0, 2 * np.pi, 4), rng.uniform(0.2, 1.6, 4)
    decibel = 2.6 * np.sin(2 * np.pi * rates[:, None] * octaves + phases[:, None]).sum(axis=0)
    return 10 ** (np.clip(decibel, -6, 6) / 20)


def draw_voice(rng: np.random.Generator, spoke: TrueSpoke, law: DecayLaw) -> Voice:
    """Modes of both planes, decay with 15 % scatter between spokes and 20 % between modes, radiation per plane."""
    found, taus, radiations = [], [], []
    for plane in range(PLANES):
        mode = modes(spoke.beam(plane), MODES)
        ratio = mode.frequency_hz / mode.frequency_hz[0]
        first = law.first_s[plane] * np.exp(0.15 * rng.normal())
        tau = first * ratio**-law.exponent * np.exp(0.2 * rng.normal(size=MODES) * (ratio > 1))
        gain = _smooth_gain(rng, mode.frequency_hz) * np.exp(2j * np.pi * rng.uniform(size=MODES))
        found.append(mode)
        taus.append(np.maximum(tau, 0.02))
        radiations.append(gain * 10 ** (rng.uniform(-3, 3) / 20))
    return Voice(spoke, (found[0], found[1]), (taus[0], taus[1]), (radiations[0], radiations[1]))


@dataclass(frozen=True, slots=True)
class Pluck:
    """How it was plucked.

    ``place`` is the share of the length from the hub, ``angle_rad`` that of the pull from the flat plane's direction,
    ``sharpness_s`` the duration of the release, ``swing_m`` the amplitude of mode 1 at its antinode.
    """

    place: float
    angle_rad: float
    sharpness_s: float
    swing_m: float


def draw_pluck(rng: np.random.Generator, flat: bool) -> Pluck:
    """8..50 % of the length from one end (nine in ten from the rim), 0.15..1 ms, 0.1..0.8 mm.

    Round spokes are pulled at any angle, flat ones mostly across the flat.
    """
    share = rng.uniform(0.08, 0.5)
    place = 1 - share if rng.uniform() < 0.9 else share
    angle = np.clip(np.radians(25) * rng.normal(), -1.05, 1.05) if flat else rng.uniform(0, np.pi)
    sharpness, swing = np.exp(rng.uniform(np.log([0.15e-3, 0.1e-3]), np.log([1e-3, 0.8e-3])))
    return Pluck(float(place), float(angle), float(sharpness), float(swing))


def slanting(rng: np.random.Generator, pluck: Pluck) -> Pluck:
    """The same between rim and nipple, pulled at 20..70 degrees between axle and rim direction, as one who is told so does."""
    place = max(pluck.place, 1 - pluck.place)
    return Pluck(place, float(np.radians(rng.uniform(20, 70))), pluck.sharpness_s, pluck.swing_m)


@dataclass(frozen=True, slots=True, eq=False)
class Partials:
    """Damped sinusoids A exp(-t/tau) cos(phase(t)), all arrays (n,) but glide (n, 2) and glide_tau_s (2,).

    phase(t) = arg A + 2 pi f (t + sum_j glide_j tau_j/2 (1 - exp(-2 t/tau_j))), f at vanishing swing.
    """

    frequency_hz: Array
    amplitude: NDArray[np.complex128]
    tau_s: Array
    plane: NDArray[np.int64]
    mode: NDArray[np.int64]
    glide: Array
    glide_tau_s: Array

    def scaled(self, gain: float | Array) -> Partials:
        """The same, louder or softer, as a whole or one by one."""
        return Partials(
            self.frequency_hz, self.amplitude * gain, self.tau_s, self.plane, self.mode, self.glide, self.glide_tau_s
        )


def _release_filter(frequency_hz: Array, sharpness_s: float) -> Array:
    """What a raised-cosine release of this duration leaves of a mode: |sinc(x)/(1 - x^2)|, x = f duration."""
    x = frequency_hz * sharpness_s
    near = np.abs(x - 1) < 1e-4
    return np.where(near, 0.5, np.abs(np.sinc(x) / np.where(near, 1.0, 1 - x**2)))


def stretch(axial_stiffness_n: float, tension_n: float, swing_m: float, length_m: float) -> float:
    """delta = (3/32) pi^2 (EA/T) (a/L)^2, the relative rise of mode 1 at swing a (planar mode 1, ends fixed)."""
    return STRETCH * axial_stiffness_n / tension_n * (swing_m / length_m) ** 2


def pluck_partials(voice: Voice, pluck: Pluck) -> Partials:
    """Partials of both planes at the moment of release; amplitude in m of swing, weighted as heard."""
    spoke = voice.spoke
    pull = (abs(np.cos(pluck.angle_rad)), abs(np.sin(pluck.angle_rad)))
    moves, swings = [], []
    for plane in range(PLANES):
        mode = voice.modes[plane]
        omega = 2 * np.pi * mode.frequency_hz
        modal = pull[plane] * mode.at(pluck.place * spoke.length_m) / omega**2
        modal = modal * _release_filter(mode.frequency_hz, pluck.sharpness_s)
        moves.append(modal * np.abs(mode.shape).max(axis=1))
        swings.append(abs(moves[plane][0]))
    scale = pluck.swing_m / np.hypot(*swings)
    glides = [
        stretch(spoke.batch.axial_stiffness_n(spoke.length_m), spoke.tension_n, scale * swing, spoke.length_m)
        for swing in swings
    ]
    other = HIGHER_SHARE if spoke.batch.nominal.kind.flat else 1.0
    columns: list[tuple[Array, ...]] = []
    for plane in range(PLANES):
        frequency = voice.modes[plane].frequency_hz
        heard = scale * moves[plane] * (frequency / frequency[0]) ** 1.5 * voice.radiation[plane]
        glide = np.full((frequency.size, PLANES), HIGHER_SHARE)
        glide[0] = [1.0 if plane == 0 else other, 1.0 if plane == 1 else other]
        keep = (frequency < HIGHEST_HZ) & (np.abs(heard) > 0)
        index = np.full(frequency.size, plane), np.arange(1, frequency.size + 1)
        parts = frequency, heard, voice.tau_s[plane], *index, glide * glides
        columns.append(tuple(part[keep] for part in parts))
    joined = [np.concatenate([column[i] for column in columns]) for i in range(6)]
    first_tau = np.array([voice.tau_s[0][0], voice.tau_s[1][0]])
    return Partials(joined[0], joined[1], joined[2], joined[3], joined[4], joined[5], first_tau)


def ring_partials(voice: Voice, rng: np.random.Generator, level: float, count: int) -> Partials:
    """A spoke set ringing through the rim: its lowest ``count`` modes of both planes, strongest one at ``level``."""
    frequency = np.concatenate([mode.frequency_hz[:count] for mode in voice.modes])
    tau = np.concatenate([tau[:count] for tau in voice.tau_s])
    spread = 10 ** (rng.uniform(-12, 0, frequency.size) / 20) * np.tile(np.arange(1, count + 1) ** -0.5, PLANES)
    amplitude = level * spread / spread.max() * np.exp(2j * np.pi * rng.uniform(size=frequency.size))
    plane = np.repeat(np.arange(PLANES), count)
    mode = np.tile(np.arange(1, count + 1), PLANES)
    return Partials(frequency, amplitude, tau, plane, mode, np.zeros((frequency.size, PLANES)), np.ones(PLANES))


def merge(several: list[Partials]) -> Partials:
    """One pluck's partials and those it sets ringing around it, the glide of the first alone."""
    first, rest = several[0], several[1:]
    frequency = np.concatenate([first.frequency_hz, *(part.frequency_hz for part in rest)])
    glide = np.concatenate([first.glide, np.zeros((frequency.size - first.frequency_hz.size, PLANES))])
    return Partials(
        frequency,
        np.concatenate([part.amplitude for part in several]),
        np.concatenate([part.tau_s for part in several]),
        np.concatenate([part.plane for part in several]),
        np.concatenate([part.mode for part in several]),
        glide,
        first.glide_tau_s,
    )


def _frames(partials: Partials, start_s: float, count: int, rate: float) -> Array:
    """``count`` hops of sound, the first sample ``start_s`` after release: exact phase at each hop, cross-faded.

    Two constant-frequency pieces around each hop, weighted linearly, have no first-order phase error; the second-order
    one is (pi f delta hop/rate)^2/2, below -60 dB for the glides of spokes.
    """
    time = start_s + np.arange(count + 1) * (_HOP / rate)
    stretched = (
        time[:, None]
        + ((1 - np.exp(-2 * time[:, None] / partials.glide_tau_s)) * partials.glide_tau_s / 2) @ partials.glide.T
    )
    exponent = 2j * np.pi * partials.frequency_hz
    knots = partials.amplitude * np.exp(exponent * stretched - time[:, None] / partials.tau_s)
    step = np.arange(_HOP) / rate
    rotation = (exponent - 1 / partials.tau_s)[:, None]
    share = np.arange(_HOP) / _HOP
    ahead = np.exp(rotation * step) * (1 - share)
    behind = np.exp(rotation * (step - _HOP / rate)) * share
    left = np.hstack([knots[:-1].real, knots[:-1].imag, knots[1:].real, knots[1:].imag])
    right = np.vstack([ahead.real, -ahead.imag, behind.real, -behind.imag])
    return (left @ right).ravel()


def render(partials: Partials, rate: float, delay_s: float, stop_s: float = np.inf) -> Array:
    """Sound of the partials, sampled from ``delay_s`` (0..1/rate) after the release until 60 dB down or ``stop_s``."""
    loudest = np.abs(partials.amplitude).max()
    with np.errstate(divide="ignore"):
        lasts = partials.tau_s * np.log(np.abs(partials.amplitude) / (SILENT * loudest))
    lasts = np.minimum(lasts, stop_s)
    sound = np.zeros(int(max(lasts.max(), 0.05) * rate) + 2 * _HOP)
    order = np.argsort(lasts)
    order = order[lasts[order] > 0.003]
    for group in np.array_split(order, min(6, max(order.size, 1))):
        if not group.size:
            continue
        part = Partials(
            partials.frequency_hz[group],
            partials.amplitude[group],
            partials.tau_s[group],
            partials.plane[group],
            partials.mode[group],
            partials.glide[group],
            partials.glide_tau_s,
        )
        count = int(lasts[group].max() * rate / _HOP) + 1
        piece = _frames(part, delay_s, count, rate)
        fade = min(int(_FADE_S * rate), piece.size // 2)
        piece[-fade:] *= np.linspace(1, 0, fade)
        sound[: piece.size] += piece[: sound.size]
    return sound


def pluck_sound(
    partials: Partials, pluck: Pluck, rng: np.random.Generator, rate: float, delay_s: float, stop_s: float = np.inf
) -> Array:
    """Partials with the soft start of the release and a few milliseconds of noise from finger or pick."""
    sound = render(partials, rate, delay_s, stop_s)
    rise = np.clip((np.arange(int(0.004 * rate)) / rate + delay_s) / pluck.sharpness_s, 0, 1)
    sound[: rise.size] *= rise - np.sin(2 * np.pi * rise) / (2 * np.pi)
    click = rng.normal(size=int(rng.uniform(1e-3, 4e-3) * rate))
    click = np.diff(click, prepend=0) * np.hanning(click.size + 2)[1:-1]
    peak = np.abs(sound).max() * 10 ** (rng.uniform(-26, -10) / 20)
    sound[: click.size] += click * peak / max(np.abs(click).max(), 1e-12)
    return sound
