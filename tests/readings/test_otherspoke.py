"""A wheel file of another spoke than the one that is heard: said, nothing turned on it, and no magnets suspected."""

from __future__ import annotations

from functools import cache

from benchmarks.wrongfile import stated
from tensionear.dashboard.sentence import is_doubtful, to_do
from tensionear.pipeline import read
from tensionear.reading import Reading
from tensionear.wheel.wheelfile import parse_wheel
from tests.readings.recorded import read_with_wheel, recording_of, tidy

SEED = 13


@cache
def read_as(name: str) -> Reading:
    drawn = tidy(SEED)
    return read(recording_of(drawn), wheel=parse_wheel(stated(drawn.wheel_toml)[name], "wrong.toml"))


def codes(reading: Reading) -> list[str]:
    return [finding.code for finding in reading.findings]


def test_a_wrong_diameter_is_said_with_what_would_fit() -> None:
    reading = read_as("10 % thicker")
    (found,) = [finding for finding in reading.findings if finding.code == "other-spoke"]
    assert found.severity == "fault"
    assert "bench-spoke of" in found.text
    assert "explains" in found.text
    assert " mm " in found.text
    assert reading.verdict is None
    assert "something-on-spoke" not in codes(reading)


def test_nothing_is_turned_on_it() -> None:
    reading = read_as("10 % thicker")
    assert to_do(reading).startswith("Turn nothing on this reading")
    assert all(is_doubtful(reading, spoke) for spoke in reading.spokes)


def test_the_right_file_is_not_doubted() -> None:
    assert "other-spoke" not in codes(read_with_wheel(SEED))
