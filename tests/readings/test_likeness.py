"""Sounds that are no spoke get no tension, honest plucks do; all simulated."""

from __future__ import annotations

import pytest

from benchmarks.simulator.deceptions import STRANGERS, stranger
from tensionear.capture.recording import Recording
from tensionear.catalogue import library_spoke
from tensionear.pipeline import read
from tests.readings.recorded import read_single


@pytest.mark.parametrize("name", STRANGERS)
def test_what_is_no_spoke_gets_no_tension(name: str) -> None:
    samples, rate_hz = stranger(name, 6)
    reading = read(Recording(samples, rate_hz), spoke=library_spoke("steel-round-2.0"), free_length_m=0.285)
    assert [pluck.tension_n for pluck in reading.plucks if pluck.tension_n is not None] == []


def test_a_number_withheld_is_said() -> None:
    samples, rate_hz = stranger("instrument's string", 5)
    reading = read(Recording(samples, rate_hz), spoke=library_spoke("steel-round-2.0"), free_length_m=0.285)
    assert "unlike-the-spoke" in [finding.code for finding in reading.findings]
    assert any(pluck.frequency_hz for pluck in reading.plucks)


@pytest.mark.parametrize("seed", range(2000, 2006))
def test_an_honest_pluck_gets_its_tension(seed: int) -> None:
    assert [finding.code for finding in read_single(seed).findings] == []
