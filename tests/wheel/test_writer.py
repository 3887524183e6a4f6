"""What is written can be read back as the same tables."""

import tomllib

import pytest
from wheel_texts import SHORT, WHOLE

from tensionear.wheel.wheelfile import parse_wheel
from tensionear.wheel.writer import wheel_toml


@pytest.mark.parametrize("text", [WHOLE, SHORT])
def test_round_trip(text):
    tables = tomllib.loads(text)
    written = wheel_toml(tables)
    assert tomllib.loads(written) == tables
    assert parse_wheel(written, "a") == parse_wheel(text, "a")


def test_what_is_unanswered_is_left_out():
    assert wheel_toml({"name": "x", "rim": {"seat_diameter_mm": None}, "left": {}}) == 'name = "x"\n'


def test_awkward_texts_and_keys():
    tables = {"name": 'a "b" \\ \n \x7f \u00e9 # x', "spokes": {"my spoke": {"ready": True, "mass_g": 2.5, "n": 3}}}
    assert tomllib.loads(wheel_toml(tables)) == tables


def test_other_kinds_are_refused():
    with pytest.raises(ValueError, match="set cannot stand in a wheel file"):
        wheel_toml({"name": {1}})


def test_lists_of_numbers_are_written():
    assert tomllib.loads(wheel_toml({"state": {"broken": [7, 9]}})) == {"state": {"broken": [7, 9]}}
