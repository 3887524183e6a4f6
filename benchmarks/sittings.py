"""The same simulated wheel read at two sittings: how far apart the two readings are when nothing, or something, changed.

``python -m benchmarks.sittings [--count WHEELS] [--first SEED]`` draws pairs of rounds of one wheel with different plucks, rooms
and noise, reads them, and a third with three spokes 8 % slacker. It prints what `records.changes` takes from here: how much of
the uncertainty that a side's spokes share differs between sittings (``NOT_SHARED``), how much of their own shows (``OWN``, and
``OWN_ALONE`` where only the number of spokes is known);
then how many unchanged spokes are inside the stated 95 % interval of a change, and what is said of them. Seeds from 5100 on
were measured, those from 5200 on are the check.
"""

from __future__ import annotations

import argparse
from dataclasses import dataclass, field, replace

import numpy as np

from benchmarks.simulator.pluck import draw_decay_law, draw_voice
from benchmarks.simulator.room import NoiseMix, draw_microphone, draw_noise, draw_room, heard_response, quantised
from benchmarks.simulator.rounds import SCENARIOS, Scene, _sequence, _write_score, draw_rim, perform
from benchmarks.simulator.wheels import BuiltWheel, Tensioning, draw_wheel
from tensionear.capture.recording import Recording
from tensionear.pipeline import read
from tensionear.reading import Reading, SpokeReading
from tensionear.records.changes import COVERAGE, OWN_ALONE, Changes, SpokeChange, Terms, changes_between
from tensionear.wheel.wheelfile import parse_wheel

SPOKES = 24
LOST = 0.92
#: A reading so far from the truth is of a spoke heard as another state, percent.
MISHEARD_PERCENT = 10.0
WAYS = ("with the wheel file", "with it, evenness only", "number of spokes alone")


@dataclass(slots=True)
class Tally:
    """All wheels. ``pairs``: unchanged spokes by the way they were compared; ``misheard``: those that were so once."""

    pairs: dict[str, list[SpokeChange]] = field(default_factory=lambda: {way: [] for way in WAYS})
    misheard: int = 0
    shares: list[float] = field(default_factory=list)
    own: list[float] = field(default_factory=list)
    own_alone: list[float] = field(default_factory=list)
    lost: list[str | None] = field(default_factory=list)


def sitting(rng: np.random.Generator, built: BuiltWheel) -> Recording:
    """One tidy round of this wheel, in a room and with a hand of its own."""
    rate = 48_000
    microphone = draw_microphone(rng, "phone", rate)
    scene = Scene(built, rate, heard_response(draw_room(rng, rate), microphone), draw_rim(rng), 0.4e-3)
    events = _write_score(rng, SCENARIOS["tidy"], _sequence(built, 1, "rim", "cw"))
    clean, _ = perform(rng, scene, events, 2.0)
    noise = draw_noise(rng, NoiseMix(0.8, 0.2, 0.0), microphone, clean.size, rate) * 10 ** (-35 / 20)
    return Recording(quantised(clean + noise, 0.5), rate)


def run_wheel(tally: Tally, seed: int) -> str:
    """Draw a wheel, read it twice, and a third time with some spokes slacker; a line about it."""
    rng = np.random.default_rng([seed, 91])
    built = draw_wheel(rng, SPOKES, "RL", True, Tensioning(0.03, False))
    wheel = parse_wheel(built.plan.toml(), "drawn")
    sounds = [sitting(rng, built) for _ in range(2)]
    first, second = (read(sound, wheel=wheel) for sound in sounds)
    changed = {int(n) for n in rng.choice(np.arange(1, SPOKES + 1), 3, replace=False)}
    third = read(sitting(rng, _slackened(rng, built, changed)), wheel=wheel)
    alone = [read(sound, spokes=SPOKES) for sound in sounds]
    compared = (
        changes_between(first, second),
        changes_between(first, second, Terms("evenness")),
        changes_between(alone[0], alone[1]),
    )
    misheard = {n for each in (first, second) for n in _misheard(each, built)}
    tally.misheard += len(misheard)
    for way, changes in zip(WAYS, compared, strict=True):
        tally.pairs[way] += [each for each in changes.spokes if each.word is not None and each.spoke not in misheard]
    _measure(tally, first, second)
    tally.own_alone += [
        OWN_ALONE * abs(each.change) / each.u_change
        for each in compared[2].spokes
        if each.change is not None and each.u_change and each.spoke not in misheard
    ]
    tally.lost += [each.word for each in changes_between(first, third).spokes if each.spoke in changed]
    means = " ".join(f"{share:+.2f}" for share in tally.shares[-2:])
    return f"{seed}: change of the means over u of the mean {means}, {_words(compared[0])}"


def _misheard(reading: Reading, built: BuiltWheel) -> set[int]:
    """Spokes that were read far from their true tension."""
    true = {number: spoke.tension_n for number, spoke in enumerate(built.spokes, 1)}
    return {
        each.spoke
        for each in reading.spokes
        if each.tension_n is not None and abs(each.tension_n / true[each.spoke] - 1) > MISHEARD_PERCENT / 100
    }


def _measure(tally: Tally, first: Reading, second: Reading) -> None:
    """What `changes` takes from here: change of means over u of the mean; of each spoke beside its side over its own u."""
    later = {each.spoke: each for each in second.spokes}
    for side in first.sides:
        one, two = first.sides[side], second.sides[side]
        if one.mean_n and two.mean_n and one.u_mean_n:
            tally.shares.append(float(np.log(two.mean_n / one.mean_n) / (one.u_mean_n / one.mean_n)))
        pairs = [(each, later[each.spoke]) for each in first.spokes if each.side == side]
        known = [pair for pair in pairs if all(each.tension_n is not None for each in pair)]
        changes = np.array([np.log((b.tension_n or 0.0) / (a.tension_n or 1.0)) for a, b in known])
        own = np.array([np.hypot(_relative(a), _relative(b)) for a, b in known])
        tally.own += list(np.abs(changes - np.median(changes)) / own)


def _relative(spoke: SpokeReading) -> float:
    return (spoke.u_individual_n or 0.0) / (spoke.tension_n or 1.0)


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


def _words(changes: Changes) -> str:
    said = [each.word for each in changes.spokes]
    return ", ".join(f"{said.count(word)} {word}" for word in ("still", "perhaps", "moved"))


def _held(found: list[float]) -> float:
    """The standard uncertainty, in the units of these, whose 95 % interval holds 95 % of them."""
    return float(np.quantile(np.abs(found), 0.95)) / COVERAGE


def table(tally: Tally) -> str:
    """What was measured, and how it holds."""
    lines = [
        f"95 % of the changes of a side's mean over 1.96 u of the mean (NOT_SHARED): {_held(tally.shares):.2f}",
        f"95 % of the changes beside the side's over 1.96 own u (OWN): {_held(tally.own):.2f}",
        f"the same with the number of spokes alone (OWN_ALONE): {_held(tally.own_alone):.2f}",
        f"spokes misheard by more than {MISHEARD_PERCENT:g} % in one of the two: {tally.misheard}, left out below",
    ]
    for way, pairs in tally.pairs.items():
        inside = np.mean([abs(each.change or 0.0) <= COVERAGE * (each.u_change or 0.0) for each in pairs])
        moved = sum(each.word == "moved" for each in pairs)
        lines.append(f"{way}: {len(pairs)} unchanged, {100 * inside:.1f} % in the 95 % interval, {moved} said moved")
    found = sum(word == "moved" for word in tally.lost)
    lines.append(f"spokes that lost {100 * (1 - LOST):.0f} %: {found} of {len(tally.lost)} said moved")
    return "\n".join(lines)


def main() -> None:
    """Draw, read, compare, tell."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--count", type=int, default=30, help="wheels")
    parser.add_argument("--first", type=int, default=5200, help="first seed")
    given = parser.parse_args()
    tally = Tally()
    for seed in range(given.first, given.first + given.count):
        print(run_wheel(tally, seed), flush=True)
    print(table(tally))


if __name__ == "__main__":
    main()
