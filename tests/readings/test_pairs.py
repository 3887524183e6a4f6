"""A round of a wheel whose spokes touch where they cross, read from sound to tensions."""

from __future__ import annotations

import math

import numpy as np
import pytest

from benchmarks.simulator.rounds import Round, draw_round
from tensionear.capture.recording import Recording
from tensionear.options import RoundOptions
from tensionear.physics.pairvalues import PairsFit
from tensionear.pipeline import read
from tensionear.reading import Reading
from tensionear.wheel.model import Wheel
from tensionear.wheel.pairside import partners, refused
from tensionear.wheel.wheelfile import parse_wheel

from .contract import checked

SEED = 2


@pytest.fixture(scope="module")
def drawn() -> Round:
    return draw_round(SEED, "touching")


@pytest.fixture(scope="module")
def wheel(drawn: Round) -> Wheel:
    return parse_wheel(drawn.wheel_toml, "touching.toml")


@pytest.fixture(scope="module")
def reading(drawn: Round, wheel: Wheel) -> Reading:
    return read(Recording(drawn.samples, drawn.sample_rate_hz), wheel=wheel)


def pairs_of(wheel: Wheel) -> list[tuple[int, int]]:
    sides = [[place for place in wheel.places if place.side == side] for side in wheel.sides]
    return [(first.number, second.number) for places in sides for first, second in partners(places)]


def test_every_spoke_has_one_partner(wheel):
    numbers = [number for pair in pairs_of(wheel) for number in pair]
    assert sorted(numbers) == list(range(1, wheel.spokes + 1))


def test_pairs_are_split_and_near_the_truth(drawn, wheel, reading):
    split = [pair for pair in pairs_of(wheel) if reading.spokes[pair[0] - 1].tension_n is not None]
    assert len(split) >= len(pairs_of(wheel)) / 2
    for pair in split:
        true = [drawn.spokes[number - 1].tension_n for number in pair]
        found = [reading.spokes[number - 1].tension_n for number in pair]
        stated = [reading.spokes[number - 1].u_tension_n for number in pair]
        assert np.abs(np.subtract(found, true)) == pytest.approx(0, abs=3.5 * max(stated))
        if abs(math.log(true[0] / true[1])) > 0.05:
            assert (found[0] > found[1]) == (true[0] > true[1])


def test_what_is_not_split_has_no_tension_and_only_a_mean(wheel, reading):
    unread = {spoke.spoke for spoke in reading.spokes if spoke.tension_n is None}
    named = {
        n for finding in reading.findings if finding.code.startswith(("pair-not", "crossing-")) for n in finding.spokes
    }
    assert unread
    assert unread == named
    assert all(reading.spokes[n - 1].verdict is None for n in unread)
    assert reading.verdict != "within"
    checked(reading)


def test_one_pluck_of_a_pair_tells_nothing_of_either(drawn, wheel):
    first = Recording(
        drawn.samples[: int((drawn.plucks[4].onset_s - 0.05) * drawn.sample_rate_hz)], drawn.sample_rate_hz
    )
    reading = read(first, wheel=wheel, options=RoundOptions(missing=tuple(range(5, wheel.spokes + 1))))
    heard_both = {n for pair in pairs_of(wheel) for n in pair if max(pair) <= 4}
    assert all(spoke.tension_n is None for spoke in reading.spokes if spoke.spoke not in heard_both)


def fit_of(difference: float, sd: float = 0.008, **changes: object) -> PairsFit:
    """One pair, plainly told apart unless changed."""
    values: dict[str, object] = {
        "log_tension": np.array([[7 + difference / 2, 7 - difference / 2]]),
        "individual": sd**2 * np.eye(2)[None] / 2,
        "loading": np.zeros((1, 2, 1)),
        "shared": np.zeros(1),
        "shared_covariance": np.eye(1),
        "matched": np.array([14]),
        "share": np.array([0.95]),
        "misfit": np.ones(1),
        "mirror": np.array([60.0]),
        "told": np.array([True]),
        "cost": 0.0,
    }
    return PairsFit(**(values | changes))  # type: ignore[arg-type]


@pytest.mark.parametrize(
    ("fit", "expected"),
    [
        (fit_of(0.1), False),
        (fit_of(0.0), False),
        (fit_of(0.1, matched=np.array([5])), True),
        (fit_of(0.1, share=np.array([0.6])), True),
        (fit_of(0.1, mirror=np.array([3.0])), True),
        (fit_of(0.1, sd=0.06), True),
        (fit_of(0.0, told=np.array([False])), True),
    ],
    ids=["clear", "even", "few lines", "lines left over", "mirror as good", "vague", "even but not seen apart"],
)
def test_when_a_pair_is_not_split(fit, expected):
    assert bool(refused(fit)[0]) == expected
