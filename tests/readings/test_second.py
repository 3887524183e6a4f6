"""A second look at a round: a ring taken for another state is put right by what its side taught, and no other is touched."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from tensionear.listening import Listened, Strike, without_sound
from tensionear.options import RoundOptions
from tensionear.physics.expectation import expect
from tensionear.pitch.hearing import hear
from tensionear.reading import Reading
from tensionear.readings.plucks import listed
from tensionear.readings.wheel import name_round, read_named
from tests.readings.recorded import heard_with_wheel, wheel_of

SEED = 13
MISHEARD = 7  # the strike, counted from 0, that is taken for a spoke a fifth higher


def misheard(strike: Strike) -> Strike:
    """The strike as it would be had the scan chosen a state 1.5 times as tight."""
    place = wheel_of(SEED).places[0]
    expected = expect(place.spoke, place.free_length_m)
    first, kept = strike.heard[0], strike.kept
    assert kept is not None
    wrong = replace(first.candidates[0], state_index=first.candidates[0].state_index + 100)
    again = hear(kept.ring.astype(np.float64), kept.rate_hz, expected, replace(first, candidates=(wrong,)), kept.old)
    return replace(strike, heard=(again,))


def reading(sound: bool, wrong: bool) -> Reading:
    """The round read with one strike misheard or none, its sounds kept or gone."""
    heard, wheel = heard_with_wheel(SEED), wheel_of(SEED)
    kinds = tuple(dict.fromkeys(place.spoke for place in wheel.places))
    strikes = list(listed(heard))
    naming = name_round(strikes, wheel, 1, RoundOptions())
    if wrong:
        strikes[MISHEARD] = misheard(strikes[MISHEARD])
    if not sound:
        strikes = [without_sound(each) for each in strikes]
    listened: Listened = replace(heard, strikes=tuple(strikes))
    return read_named("r.wav", listened, wheel, kinds, naming, RoundOptions())


def tensions(found: Reading) -> np.ndarray:
    return np.array([spoke.tension_n for spoke in found.spokes], dtype=float)


def test_a_misheard_ring_is_put_right() -> None:
    right = tensions(reading(sound=True, wrong=False))
    again, left = tensions(reading(sound=True, wrong=True)), tensions(reading(sound=False, wrong=True))
    assert abs(left[MISHEARD] / right[MISHEARD] - 1) > 0.1
    assert np.abs(again / right - 1).max() < 0.003


def test_a_round_heard_rightly_stays_as_it_was() -> None:
    assert reading(sound=True, wrong=False).spokes == reading(sound=False, wrong=False).spokes
