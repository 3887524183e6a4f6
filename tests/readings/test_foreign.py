"""A magnet on a spoke is said, its number withheld, its side left alone, and nobody is told to tighten it."""

from __future__ import annotations

from functools import cache

import pytest

from benchmarks.simulator.loads import Load
from benchmarks.simulator.rounds import Round, draw_round
from tensionear.dashboard.sentence import to_do
from tensionear.pipeline import read
from tensionear.reading import Reading
from tensionear.readings.foreign import foreign_findings, hardly_heard
from tensionear.wheel.foreign import Ground, Look
from tensionear.wheel.judging import Judgement
from tensionear.wheel.sidefit import ReadTension
from tensionear.wheel.wheelfile import parse_wheel
from tests.readings.recorded import read_with_wheel, recording_of, tidy

SEED, SPOKE = 13, 8
FIRM = Ground(4, 1.0, 0.0)
MAGNET = Load(SPOKE, 2.5e-3, 0.58, 0.012, 1.5)


@cache
def loaded() -> tuple[Round, Reading]:
    drawn = draw_round(SEED, "tidy", [MAGNET])
    return drawn, read(recording_of(drawn), wheel=parse_wheel(drawn.wheel_toml, "drawn.toml"))


def test_the_load_changes_nothing_else_of_the_wheel() -> None:
    drawn, bare = loaded()[0], tidy(SEED)
    for mine, other in zip(drawn.spokes, bare.spokes, strict=True):
        assert mine.tension_n == other.tension_n
        assert (mine.frequency_hz == other.frequency_hz) == (mine.spoke != SPOKE)
    assert drawn.spokes[SPOKE - 1].frequency_hz[0] < 0.9 * bare.spokes[SPOKE - 1].frequency_hz[0]


def test_it_is_said_and_has_no_number() -> None:
    _, reading = loaded()
    found = {each.code: each.spokes for each in reading.findings}
    assert found["something-on-spoke"] == (SPOKE,)
    assert reading.spokes[SPOKE - 1].tension_n is None
    assert reading.verdict != "within"
    assert all(pluck.tension_n is None for pluck in reading.plucks if pluck.spoke == SPOKE)


def test_nobody_is_told_to_tighten_it() -> None:
    sentence = to_do(loaded()[1])
    label = loaded()[1].spokes[SPOKE - 1].label
    assert f"something sits on {label}" in sentence
    assert "tighten" not in sentence


def test_its_fellows_read_as_without_it() -> None:
    bare, reading = read_with_wheel(SEED), loaded()[1]
    truth = {spoke.spoke: spoke.tension_n for spoke in loaded()[0].spokes}
    assert not [each for each in bare.findings if each.code == "something-on-spoke"]
    for spoke in reading.spokes:
        if spoke.tension_n is not None and spoke.u_tension_n is not None:
            assert abs(spoke.tension_n - truth[spoke.spoke]) < 3 * spoke.u_tension_n


@pytest.mark.parametrize("ground", [Ground(2, 1.0, 0.0), Ground(4, 6.0, 0.0), Ground(4, 1.0, -20.0)])
def test_a_tension_that_rests_on_little_is_not_firm(ground: Ground) -> None:
    assert FIRM.is_firm
    assert not ground.is_firm


@pytest.mark.parametrize(("deviation", "explained", "sure"), [(-0.1, 0.6, True), (-0.7, 0.6, False), (-0.7, 0.9, True)])
def test_more_is_asked_of_what_reads_far_too_slack(deviation: float, explained: float, sure: bool) -> None:
    assert Look(1.0, None, explained, FIRM).is_surely_bare(deviation) is sure
    assert not Look(1.0, None, explained, Ground(3, 1.0, 0.0)).is_surely_bare(-0.7)


def one(deviation: float) -> ReadTension:
    return ReadTension(900.0, 9.0, (880.0, 920.0), 5.0, 7.0, deviation, 0.006, 2.2, 1.0)


def test_slack_and_hardly_heard_is_doubted() -> None:
    looks = {
        1: Look(2.0, None, 0.9, FIRM),
        2: Look(0.5, 0.7, 0.3, FIRM),
        3: Look(2.0, None, 0.8, Ground(2, 1.0, 0.0)),
        4: Look(0.5, 0.7, 0.3, FIRM),
        5: Look(0.5, 0.7, 0.3, FIRM),
    }
    tensions = {1: one(-0.1), 2: one(-0.1), 3: one(-0.1), 4: one(0.1), 5: one(-0.02)}
    judged = {n: Judgement("out", 0.01) for n in (1, 2, 3, 4)} | {5: Judgement("within", 0.99)}
    (found,) = hardly_heard(looks, tensions, judged)
    assert (found.code, found.spokes) == ("pluck-again", (2, 3))
    assert hardly_heard(looks, {1: one(-0.1)}, judged) == []


@pytest.mark.parametrize(
    ("load", "explained", "said"), [(1.6, 0.4, True), (1.4, 0.4, False), (None, 0.6, False), (None, 0.2, True)]
)
def test_when_a_load_is_said(load: float | None, explained: float, said: bool) -> None:
    assert Look(1.0, load, explained, FIRM).is_loaded is said
    assert bool(foreign_findings((4,) if said else ())) is said
