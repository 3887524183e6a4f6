"""The same simulated wheel read at two sittings: how far apart the two readings are when nothing, or something, changed.

``python -m benchmarks.sittings [WHEELS]`` prints, for pairs of rounds of one wheel with different plucks, room and noise: how
much of the uncertainty that a side's spokes share differs between sittings, how often an unchanged spoke is said to have
moved, and how often one that lost 8 % is. Seeds from 5000 on, which nothing was fitted to.
"""

from __future__ import annotations

import sys
from dataclasses import replace

import numpy as np

from benchmarks.simulator.pluck import draw_decay_law, draw_voice
from benchmarks.simulator.room import NoiseMix, draw_microphone, draw_noise, draw_room, heard_response, quantised
from benchmarks.simulator.rounds import SCENARIOS, Scene, _sequence, _write_score, draw_rim, perform
from benchmarks.simulator.wheels import BuiltWheel, Tensioning, draw_wheel
from tensionear.capture.recording import Recording
from tensionear.pipeline import read
from tensionear.reading import Reading
from tensionear.records.changes import Terms, changes_between
from tensionear.wheel.model import Wheel
from tensionear.wheel.wheelfile import parse_wheel

FIRST_SEED = 5000
LOST = 0.92


def sitting(rng: np.random.Generator, built: BuiltWheel, wheel: Wheel) -> Reading:
    """One tidy round of this wheel, in a room and with a hand of its own, read."""
    rate = 48_000
    microphone = draw_microphone(rng, "phone", rate)
    scene = Scene(built, rate, heard_response(draw_room(rng, rate), microphone), draw_rim(rng), 0.4e-3)
    events = _write_score(rng, SCENARIOS["tidy"], _sequence(built, 1, "rim", "cw"))
    clean, _ = perform(rng, scene, events, 2.0)
    noise = draw_noise(rng, NoiseMix(0.8, 0.2, 0.0), microphone, clean.size, rate) * 10 ** (-35 / 20)
    return read(Recording(quantised(clean + noise, 0.5), rate), wheel=wheel)


def main() -> None:
    """Draw, read twice, read a third time with some spokes slacker, and tell."""
    wheels = int(sys.argv[1]) if len(sys.argv) > 1 else 8
    shares, moved, perhaps, still, even, found, lost = [], 0, 0, 0, 0, 0, 0
    for seed in range(FIRST_SEED, FIRST_SEED + wheels):
        rng = np.random.default_rng([seed, 91])
        built = draw_wheel(rng, 24, "RL", True, Tensioning(0.03, False))
        wheel = parse_wheel(built.plan.toml(), "drawn")
        first, second = (sitting(rng, built, wheel) for _ in range(2))
        changed = {int(n) for n in rng.choice(np.arange(1, 25), 3, replace=False)}
        third = sitting(rng, _slackened(rng, built, changed), wheel)
        for side in first.sides:
            one, two = first.sides[side], second.sides[side]
            if one.mean_n and two.mean_n and one.u_mean_n:
                shares.append(np.log(two.mean_n / one.mean_n) / (one.u_mean_n / one.mean_n))
        for word in _words(first, second).values():
            moved, perhaps, still = moved + (word == "moved"), perhaps + (word == "perhaps"), still + (word == "still")
        even += sum(word == "moved" for word in _words(first, second, Terms("evenness")).values())
        words = _words(first, third)
        lost += sum(n in words for n in changed)
        found += sum(words.get(n) == "moved" for n in changed)
        print(f"{seed}: change of the means over u of the mean: {shares[-2]:+.2f} {shares[-1]:+.2f}", flush=True)
    print(f"rms of that: {np.sqrt(np.mean(np.square(shares))):.2f}")
    print(f"unchanged spokes: {moved} said moved, {perhaps} perhaps, {still} still; by evenness {even} moved")
    print(f"spokes that lost {100 * (1 - LOST):.0f} %: {found} of {lost} said moved")


def _slackened(rng: np.random.Generator, built: BuiltWheel, changed: set[int]) -> BuiltWheel:
    """The wheel with these spokes at 92 % of their tension."""
    spokes = [
        replace(spoke, tension_n=LOST * spoke.tension_n) if number in changed else spoke
        for number, spoke in enumerate(built.spokes, 1)
    ]
    voices = [
        draw_voice(rng, spoke, draw_decay_law(rng)) if number in changed else voice
        for number, (spoke, voice) in enumerate(zip(spokes, built.voices, strict=True), 1)
    ]
    return replace(built, spokes=tuple(spokes), voices=tuple(voices))


def _words(before: Reading, after: Reading, terms: Terms | None = None) -> dict[int, str | None]:
    """What is said of each spoke."""
    return {each.spoke: each.word for each in changes_between(before, after, terms).spokes}


if __name__ == "__main__":
    main()
