"""Whole rounds of a wheel with their truth, drawn by seed. Imports the rest of this package, numpy and scipy only.

First a score is written (who is plucked when, how hard, what else is heard), then it is played: dry sounds on one
track, each scaled to the level at which it shall be heard, the track through room and microphone, noise on top.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field, replace

import numpy as np
from numpy.typing import NDArray

from benchmarks.simulator.disturbances import cough, key_touch, knock, speech
from benchmarks.simulator.loads import Load
from benchmarks.simulator.pluck import (
    Partials,
    Pluck,
    draw_pluck,
    merge,
    pluck_partials,
    pluck_sound,
    render,
    ring_partials,
    slanting,
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
from benchmarks.simulator.singles import mode_one_levels_db
from benchmarks.simulator.wheels import BuiltWheel, Tensioning, draw_wheel

Array = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Scenario:
    """How a round is played; probabilities per spoke, levels in dB."""

    gap_s: tuple[float, float]
    level_spread_db: tuple[float, float]
    snr_db: tuple[float, float]
    repeat: float = 0.0
    double: float = 0.0
    disturbances: bool = False
    order: str = "rim"
    scatter: tuple[float, float] = (0.03, 0.12)
    slack_spoke: bool = False
    leave_one_out: bool = False
    crossing: str = "apart"


SCENARIOS = {
    "tidy": Scenario((0.6, 1.3), (2, 8), (20, 35)),
    "untidy": Scenario((0.4, 1.5), (14, 26), (6, 24), repeat=0.06, double=0.04, disturbances=True),
    "slack": Scenario((0.45, 1.3), (4, 14), (14, 30), repeat=0.05, slack_spoke=True, scatter=(0.03, 0.06)),
    "even_right_then_left": Scenario(
        (0.5, 1.3), (4, 12), (14, 30), repeat=0.1, order="right-then-left", scatter=(0.001, 0.003)
    ),
    "missing": Scenario((0.5, 1.3), (4, 12), (14, 30), repeat=0.03, leave_one_out=True),
    "touching": Scenario((0.7, 1.4), (2, 8), (20, 35), scatter=(0.01, 0.1), crossing="touching"),
}
"""``snr_db`` is that of the weakest pluck. In a touching round every spoke is plucked once, slanting.
An untidy round has knocks, key touches, speech, blower and hum."""


@dataclass(frozen=True, slots=True)
class Event:
    """Something heard, as planned and played.

    ``kind``: pluck, knock, key, speech, cough, cue. ``detail`` of a pluck: first, repeat, double (a slip, repeated
    within a quarter of a second) or closing (the round's first spoke again); speech is "behind" when the plucks go on
    through it. ``level_db``: heard, over the first 0.3 s, relative to the loudest pluck allowed. ``plane_level_db``:
    mode 1 of the (flat, edge) plane relative to the louder. ``stop_s``: when a finger stopped the ring, from the onset.
    """

    onset_s: float
    kind: str
    level_db: float
    duration_s: float = 0.0
    spoke: int | None = None
    detail: str = ""
    stop_s: float = np.inf
    swing_m: float | None = None
    plane_level_db: tuple[float, float] | None = None


@dataclass(frozen=True, slots=True)
class SpokeTruth:
    """One spoke: ``frequency_hz`` is mode 1 at vanishing swing in the (flat, edge) plane, ``modes_hz`` all modes of either;
    ``ends_n_m_rad`` the stiffness of (hub, nipple) in each plane."""

    spoke: int
    label: str
    side: str
    tension_n: float
    frequency_hz: tuple[float, float]
    plucked: bool
    modes_hz: tuple[tuple[float, ...], tuple[float, ...]] = ((), ())
    ends_n_m_rad: tuple[tuple[float, float], tuple[float, float]] = ((0.0, 0.0), (0.0, 0.0))


@dataclass(frozen=True, slots=True, eq=False)
class Round:
    """A recorded round: what the reader is given, and the truth.

    Given: ``samples`` (n,) float32 at ``sample_rate_hz``, ``wheel_toml``, ``options`` (first, order, direction,
    missing). Truth: ``spokes`` by number, ``events`` by time. ``snr_db`` is that of the weakest pluck;
    ``clean`` and ``noise`` (n,) are the two parts of ``samples`` before scaling.
    """

    samples: NDArray[np.float32]
    sample_rate_hz: int
    wheel_toml: str
    options: dict[str, int | str | None]
    spokes: tuple[SpokeTruth, ...]
    events: tuple[Event, ...]
    scenario: str
    flat: bool
    snr_db: float
    microphone: str
    clean: Array = field(repr=False)
    noise: Array = field(repr=False)

    @property
    def plucks(self) -> tuple[Event, ...]:
        """The plucks in order of time."""
        return tuple(event for event in self.events if event.kind == "pluck")


def _sequence(wheel: BuiltWheel, first: int, order: str, direction: str) -> list[int]:
    """Spokes in the order they are plucked."""
    count = wheel.plan.count
    step = 1 if direction == "cw" else -1
    ring = [(first - 1 + step * i) % count + 1 for i in range(count)]
    if order == "rim":
        return ring
    sides = ("right", "left") if order == "right-then-left" else ("left", "right")
    return [spoke for side in sides for spoke in ring if wheel.plan.side_of(spoke).name == side]


class _Score:
    """Events being written down, with the hand's clock."""

    def __init__(self, rng: np.random.Generator, scenario: Scenario) -> None:
        self.rng = rng
        self.scenario = scenario
        self.events: list[Event] = []
        self.clock_s = float(rng.uniform(0.6, 1.5))
        self.spread_db = float(rng.uniform(*scenario.level_spread_db))

    def gap_s(self) -> float:
        low, high = self.scenario.gap_s
        return float(np.exp(self.rng.uniform(np.log(low), np.log(high))))

    def pluck(self, spoke: int, detail: str) -> None:
        level = -self.spread_db * float(self.rng.uniform())
        self.events.append(Event(self.clock_s, "pluck", level, spoke=spoke, detail=detail))

    def again(self, gap_s: float, detail: str) -> None:
        """Pluck the last spoke once more; half the time the finger stops the old ring just before."""
        last = self.events[-1]
        if self.rng.uniform() < 0.5:
            self.events[-1] = replace(last, stop_s=gap_s - float(self.rng.uniform(0.02, 0.08)))
        self.clock_s += gap_s
        self.pluck(last.spoke or 1, detail)

    def disturb(self, kind: str) -> None:
        """Something else in the pause before the next pluck, which waits until 0.12..0.5 s after it.

        Three phrases in ten are spoken farther off, below the weakest pluck, and nobody waits for them.
        """
        rng = self.rng
        duration = {"speech": float(rng.uniform(0.6, 2.2)), "cough": 0.6}.get(kind, 0.0)
        start = self.events[-1].onset_s + float(rng.uniform(0.2, 0.6))
        if kind == "speech" and rng.uniform() < 0.3:
            self.events.append(
                Event(start, kind, -self.spread_db - float(rng.uniform(3, 12)), duration, detail="behind")
            )
            return
        level = float(rng.uniform(-14, 2)) if kind != "key" else float(rng.uniform(-20, -6))
        self.events.append(Event(start, kind, level, duration))
        self.clock_s = max(self.clock_s, start + duration + float(rng.uniform(0.12, 0.5)))

    def cue(self) -> None:
        """Two knocks on the rim, 0.15..0.6 s apart, then the first pluck within 3 s."""
        for pause in (self.rng.uniform(0.15, 0.6), self.rng.uniform(0.5, 1.8)):
            self.events.append(Event(self.clock_s, "cue", float(self.rng.uniform(-8, 2))))
            self.clock_s += float(pause)


def _disturbance_places(rng: np.random.Generator, plucks: int) -> dict[int, str]:
    """Before which pluck what is heard: up to four knocks, three key touches, two phrases, one cough."""
    kinds = ["knock"] * int(rng.integers(1, 5)) + ["key"] * int(rng.integers(0, 4))
    kinds += ["speech"] * int(rng.integers(0, 3)) + ["cough"] * int(rng.integers(0, 2))
    places = rng.choice(np.arange(1, plucks), len(kinds), replace=False)
    return {int(place): kind for place, kind in zip(places, kinds, strict=True)}


def _write_score(rng: np.random.Generator, scenario: Scenario, sequence: list[int]) -> list[Event]:
    score = _Score(rng, scenario)
    others = _disturbance_places(rng, len(sequence)) if scenario.disturbances else {}
    if scenario.disturbances and rng.uniform() < 0.4:
        score.cue()
    for index, spoke in enumerate(sequence):
        if index in others:
            score.disturb(others[index])
        score.pluck(spoke, "first")
        if rng.uniform() < scenario.double:
            score.again(float(rng.uniform(0.09, 0.25)), "double")
        elif rng.uniform() < scenario.repeat:
            score.again(score.gap_s(), "repeat")
        score.clock_s += score.gap_s()
    if scenario.disturbances and rng.uniform() < 0.4:
        score.pluck(sequence[0], "closing")
    return sorted(score.events, key=lambda event: event.onset_s)


@dataclass(frozen=True, slots=True, eq=False)
class Scene:
    """What stays the same through a round: wheel, rate, room and microphone in one response, the rim's own lines, and
    ``hand_m``, the swing of the loudest plucks."""

    wheel: BuiltWheel
    rate: int
    response: Array
    rim: Partials
    hand_m: float


def draw_rim(rng: np.random.Generator) -> Partials:
    """Eight rim modes that any pluck sets ringing a little."""
    frequency = np.exp(rng.uniform(np.log(150), np.log(3000), 8))
    amplitude = rng.uniform(0.2, 1, 8) * np.exp(2j * np.pi * rng.uniform(size=8))
    nowhere = np.full(8, -1)
    return Partials(frequency, amplitude, rng.uniform(0.03, 0.15, 8), nowhere, nowhere, np.zeros((8, 2)), np.ones(2))


def _mounted(rng: np.random.Generator, scene: Scene, spoke: int, own: Partials) -> Partials:
    """The plucked spoke's partials with what rings along: four neighbours 20..30 dB down, the rim 25..40 dB down."""
    voices, loudest = scene.wheel.voices, float(np.abs(own.amplitude).max())
    rings = [own, scene.rim.scaled(loudest * 10 ** (-rng.uniform(25, 40, 8) / 20))]
    for step in (-2, -1, 1, 2):
        down = 10 ** (-rng.uniform(20, 30) / 20)
        rings.append(ring_partials(voices[(spoke - 1 + step) % len(voices)], rng, loudest * down, 4))
    return merge(rings)


def _play_pluck(rng: np.random.Generator, scene: Scene, event: Event, delay_s: float) -> tuple[Array, Event]:
    """Dry sound of a pluck, and the event with its swing and plane levels."""
    spoke = event.spoke or 1
    voice = scene.wheel.voices[spoke - 1]
    drawn = draw_pluck(rng, scene.wheel.plan.nominal.kind.flat)
    swing = scene.hand_m * 10 ** ((event.level_db + rng.uniform(-4, 4)) / 20)
    if scene.wheel.plan.right.crossing != "apart":
        drawn = slanting(rng, drawn)
    pluck = Pluck(drawn.place, drawn.angle_rad, drawn.sharpness_s, float(np.clip(swing, 0.1e-3, 0.8e-3)))
    own = pluck_partials(voice, pluck)
    sound = pluck_sound(_mounted(rng, scene, spoke, own), pluck, rng, scene.rate, delay_s, event.stop_s)
    levels = mode_one_levels_db(own, scene.response, scene.rate)
    return sound, replace(event, swing_m=pluck.swing_m, plane_level_db=levels)


def _play_knock(rng: np.random.Generator, scene: Scene, sound: Array) -> Array:
    """A knock; half of them set every spoke ringing, 14..34 dB down."""
    if rng.uniform() < 0.5:
        return sound
    rings = [ring_partials(voice, rng, 10 ** (-rng.uniform(14, 34) / 20), 3) for voice in scene.wheel.voices]
    spokes = render(merge(rings), scene.rate, 0.0)
    spokes[: sound.size] += sound[: spokes.size]
    return spokes


def _play(rng: np.random.Generator, scene: Scene, event: Event, delay_s: float) -> tuple[Array, Event]:
    rate = scene.rate
    if event.kind == "pluck":
        return _play_pluck(rng, scene, event, delay_s)
    if event.kind in ("knock", "cue"):
        return _play_knock(rng, scene, knock(rng, rate)), event
    if event.kind == "key":
        return _play_knock(rng, scene, key_touch(rng, rate)), event
    if event.kind == "cough":
        return cough(rng, rate), event
    return speech(rng, rate, event.duration_s), event


def _heard_rms(scene: Scene, sound: Array, duration_s: float) -> float:
    """Level of a dry sound over its first 0.3 s (of speech: as long as it lasts), as it will be heard."""
    size = int(max(RING_S, duration_s) * scene.rate)
    part = np.pad(sound[:size], (0, max(0, size - sound.size)))
    return band_rms(convolve(part, scene.response), scene.rate)


def perform(rng: np.random.Generator, scene: Scene, events: list[Event], tail_s: float) -> tuple[Array, list[Event]]:
    """The clean recording (through room and microphone) of all events, loudest allowed pluck at rms 1."""
    size = int((events[-1].onset_s + events[-1].duration_s + tail_s) * scene.rate)
    track, played = np.zeros(size), []
    for event in events:
        first = int(np.ceil(event.onset_s * scene.rate))
        sound, done = _play(rng, scene, event, first / scene.rate - event.onset_s)
        sound = sound[: size - first] * (10 ** (event.level_db / 20) / _heard_rms(scene, sound, event.duration_s))
        track[first : first + sound.size] += sound
        played.append(done)
    return convolve(track, scene.response), played


def _choose_lacing(rng: np.random.Generator, scenario: Scenario) -> tuple[int, str, bool]:
    """Spokes, side pattern, dished."""
    count = int(rng.choice([20, 24, 28, 32, 36]))
    sides = "LR" if scenario.order == "rim" and rng.uniform() < 0.25 else "RL"
    dished = scenario.slack_spoke or bool(rng.uniform() < 0.85)
    if count in (24, 36) and not scenario.slack_spoke and scenario.order == "rim" and rng.uniform() < 0.2:
        return count, "RLR", True
    return count, sides, dished


def _options(rng: np.random.Generator, scenario: Scenario, count: int) -> dict[str, int | str | None]:
    first, direction = 1, "cw"
    if scenario.disturbances:
        first = int(rng.integers(1, count + 1)) if rng.uniform() < 0.3 else 1
        direction = "ccw" if rng.uniform() < 0.3 else "cw"
    return {"first": first, "order": scenario.order, "direction": direction, "missing": None}


def draw_round(seed: int, scenario: str, loads: Sequence[Load] = ()) -> Round:
    """One round of one wheel; ``scenario`` is a key of ``SCENARIOS``, ``loads`` sit on spokes of the wheel the seed gives.

    With a load on it, the ``frequency_hz`` told of a spoke is that of the loaded one.
    """
    if scenario not in SCENARIOS:
        raise ValueError(f"unknown scenario {scenario!r}; known are {', '.join(SCENARIOS)}")
    chosen = SCENARIOS[scenario]
    rng = np.random.default_rng([seed, 72, list(SCENARIOS).index(scenario)])
    count, sides, dished = _choose_lacing(rng, chosen)
    if chosen.crossing != "apart":
        count, sides = max(count, 24), "RL"
    tensioning = Tensioning(float(rng.uniform(*chosen.scatter)), chosen.slack_spoke, chosen.crossing)
    wheel = draw_wheel(rng, count, sides, dished, tensioning, [load for load in loads if load.spoke <= count])
    options = _options(rng, chosen, count)
    sequence = _sequence(wheel, int(options["first"] or 1), chosen.order, str(options["direction"]))
    if chosen.leave_one_out:
        del sequence[int(rng.integers(2, count - 2))]
    rate, name = int(rng.choice([44_100, 48_000])), str(rng.choice(MICROPHONES))
    microphone = draw_microphone(rng, name, rate)
    hand_m = float(np.exp(rng.uniform(np.log(0.25e-3), np.log(0.8e-3))))
    scene = Scene(wheel, rate, heard_response(draw_room(rng, rate), microphone), draw_rim(rng), hand_m)
    clean, events = perform(rng, scene, _write_score(rng, chosen, sequence), float(rng.uniform(1.5, 2.5)))
    weakest = min(event.level_db for event in events if event.kind == "pluck")
    snr_db = float(rng.uniform(*chosen.snr_db))
    mix = NoiseMix(*rng.dirichlet([2.0, 0.7, 0.7])) if chosen.disturbances else NoiseMix(0.8, 0.2, 0.0)
    noise = draw_noise(rng, mix, microphone, clean.size, rate) * 10 ** ((weakest - snr_db) / 20)
    truths = tuple(
        SpokeTruth(
            n,
            wheel.label(n),
            wheel.plan.side_of(n).name,
            spoke.tension_n,
            voice.first_hz,
            n in sequence,
            (tuple(map(float, voice.modes[0].frequency_hz)), tuple(map(float, voice.modes[1].frequency_hz))),
            ((spoke.ends.hub[0], spoke.ends.nipple[0]), (spoke.ends.hub[1], spoke.ends.nipple[1])),
        )
        for n, (spoke, voice) in enumerate(zip(wheel.spokes, wheel.voices, strict=True), start=1)
    )
    samples = quantised(clean + noise, 10 ** (rng.uniform(-12, -1) / 20))
    flat = wheel.plan.nominal.kind.flat
    return Round(
        samples, rate, wheel.plan.toml(), options, truths, tuple(events), scenario, flat, snr_db, name, clean, noise
    )
