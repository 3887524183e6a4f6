"""What a spoke is read from when it is not sure which pluck was its own."""

from __future__ import annotations

import math

import numpy as np
import pytest

from tensionear.listening import Strike
from tensionear.pitch import lines, series
from tensionear.pitch.kind import NOTHING
from tensionear.pitch.spectrum import Peaks
from tensionear.readings.rounds import SpokeRings, rings_of
from tensionear.wheel.sequence import Candidate, Naming

STATES = np.log(np.array([900.0, 1000.0]))
CENT = math.log(2) / 1200


def strike(onset_s: float, *cents: float) -> Strike:
    """A pluck whose first modes lie so many cents above 400 Hz, each softer than the one before."""
    none = Peaks(np.zeros(0), np.zeros(0), np.zeros(0))
    found = tuple(
        lines.Line(400.0 * math.exp(each * CENT), 0.05, 3.0, -20.0 - 3 * place, 0, 1, False)
        for place, each in enumerate(cents)
    )
    heard = lines.Heard(found, (series.Candidate(1, 90.0, 90.0),), (none, none), 0.0, onset_s)
    return Strike(onset_s, 0.8, 20.0, False, False, False, 0.0, NOTHING, 0.99, (heard,), 0)


def rings(
    cents: tuple[float | tuple[float, ...], ...], *candidates: Candidate, sure: int | None = None
) -> SpokeRings | None:
    """What spoke 1 is read from, its candidates among plucks of these pitches."""
    strikes = [
        strike(float(at), *each) if isinstance(each, tuple) else strike(float(at), each)
        for at, each in enumerate(cents)
    ]
    named = tuple(1 if index == sure else None for index in range(len(cents)))
    certain = tuple(index == sure for index in range(len(cents)))
    naming = Naming(named, (1.0,) * len(cents), certain, {1: candidates}, False, False, ())
    return rings_of(strikes, naming, {1: 0}, STATES).get(1)


def test_a_sure_pluck_is_the_spokes_own_and_moves_nothing() -> None:
    found = rings((0.0, 4.0), Candidate(0, 0.97, 0.97), Candidate(1, 0.03, 0.0), sure=0)
    assert found is not None
    assert (found.strikes, found.rings.shift, found.rings.doubt, found.doubt) == ((0,), 0.0, 0.0, None)


def test_candidates_that_sound_alike_are_pooled_by_their_probability() -> None:
    """6 cents apart, three to one: the mean is 1.5 cents off the likelier, the spread sqrt(3)/4 of 6 cents."""
    found = rings((0.0, 6.0), Candidate(0, 0.75, 0.74), Candidate(1, 0.25, 0.25))
    assert found is not None
    assert found.strikes == (0,)
    assert found.rings.shift == pytest.approx(1.5 * CENT)
    assert found.rings.doubt == pytest.approx(math.sqrt(3) / 4 * 6 * CENT)
    assert "not sure" in str(found.doubt)


def test_planes_are_compared_with_like_planes() -> None:
    """One was plucked so that one plane sounds louder, the other so that the other one does: they are 2 cents apart, not 17."""
    found = rings(((0.0, 15.0), (17.0, 2.0)), Candidate(0, 0.75, 0.74), Candidate(1, 0.25, 0.25))
    assert found is not None
    assert found.rings.shift == pytest.approx(0.5 * CENT)


def test_candidates_that_sound_apart_give_nothing() -> None:
    assert rings((0.0, 11.0), Candidate(0, 0.75, 0.74), Candidate(1, 0.25, 0.25)) is None


def test_a_little_doubt_about_one_that_sounds_apart_takes_no_number_away() -> None:
    found = rings((0.0, 11.0), Candidate(0, 0.96, 0.96), Candidate(1, 0.04, 0.04))
    assert found is not None
    assert found.rings.shift == 0


def test_plucks_of_one_spoke_do_not_add_up_to_certainty() -> None:
    """Two alike are 0.6 each to be its own, but either both are or none: that is 0.62 for the spoke to have been plucked."""
    assert rings((0.0, 1.0), Candidate(0, 0.60, 0.60), Candidate(1, 0.60, 0.02)) is None


def test_a_repeat_heard_apart_does_not_take_away_what_the_first_pluck_gives() -> None:
    found = rings((0.0, 40.0), Candidate(0, 0.97, 0.97), Candidate(1, 0.9, 0.02))
    assert found is not None
    assert found.strikes == (0,)
