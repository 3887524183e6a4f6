"""A round of a wheel whose spokes are pinched where they cross, and crossings told by ear, from sound to words."""

from __future__ import annotations

import numpy as np
import pytest

from benchmarks.simulator.rounds import Round, draw_round
from tensionear.capture.recording import Recording
from tensionear.physics.heldfit import HeldFit
from tensionear.pipeline import read
from tensionear.reading import Reading
from tensionear.readings.sharing import said_of
from tensionear.wheel.heldside import clear
from tensionear.wheel.wheelfile import parse_wheel

from .contract import checked

SEED = 5


@pytest.fixture(scope="module")
def drawn() -> Round:
    return draw_round(SEED, "pinched")


@pytest.fixture(scope="module")
def reading(drawn: Round) -> Reading:
    wheel = parse_wheel(drawn.wheel_toml, "pinched.toml")
    return read(Recording(drawn.samples, drawn.sample_rate_hz), wheel=wheel)


def test_every_pluck_of_a_pinched_round_is_heard(drawn, reading):
    assert sum(pluck.spoke is not None for pluck in reading.plucks) >= 0.9 * len(drawn.plucks)


def test_what_is_told_is_near_the_truth(drawn, reading):
    told = [spoke for spoke in reading.spokes if spoke.tension_n is not None]
    assert len(told) >= 5
    true = np.array([drawn.spokes[spoke.spoke - 1].tension_n for spoke in told])
    away = [abs(spoke.tension_n - one) / spoke.u_tension_n for spoke, one in zip(told, true, strict=True)]
    assert max(away) < 3.5
    for side in reading.sides:
        rows = [at for at, spoke in enumerate(told) if spoke.side == side]
        wanted = 100 * (true[rows] / true[rows].mean() - 1)
        assert [told[at].deviation_percent for at in rows] == pytest.approx(wanted, abs=2.5)


def test_what_is_not_told_is_named_and_has_no_tension(reading):
    unread = {spoke.spoke for spoke in reading.spokes if spoke.tension_n is None}
    assert unread == {n for each in reading.findings if each.code == "crossing-pinched" for n in each.spokes}
    assert reading.verdict != "within"
    checked(reading)


def fit_of(**changes: object) -> HeldFit:
    """One spoke, plainly told unless changed."""
    values: dict[str, object] = {
        "log_tension": np.array([7.0]),
        "individual": np.array([0.005**2]),
        "loading": np.zeros((1, 1)),
        "shared": np.zeros(1),
        "shared_covariance": np.eye(1),
        "matched": np.array([7]),
        "misfit": np.ones(1),
        "margin": np.array([30.0]),
    }
    return HeldFit(**(values | changes))  # type: ignore[arg-type]


@pytest.mark.parametrize(
    ("changes", "told"),
    [
        ({}, True),
        ({"matched": np.array([3])}, False),
        ({"individual": np.array([0.01**2])}, False),
        ({"margin": np.array([2.0])}, False),
    ],
    ids=["clear", "few lines", "vague", "another state as good"],
)
def test_when_a_pinched_spoke_is_told(changes, told):
    assert bool(clear(fit_of(**changes))[0]) == told


@pytest.mark.parametrize(
    ("scenario", "said"), [("touching", "by their sound they do:"), ("tidy", "by their sound they do not")]
)
def test_where_nobody_said_how_spokes_cross_the_sound_does(scenario, said):
    round_ = draw_round(300, scenario)
    text = "\n".join(line for line in round_.wheel_toml.splitlines() if not line.startswith("crossing"))
    found = read(Recording(round_.samples, round_.sample_rate_hz), wheel=parse_wheel(text, "unknown.toml"))
    assert said in next(each.text for each in found.findings if each.code == "crossing-unknown")


def test_where_the_sound_does_not_tell_nothing_is_said():
    assert said_of(None) == said_of(0.27) == ""
    assert "they do not" in said_of(0.1)
    assert "they do:" in said_of(0.5)
