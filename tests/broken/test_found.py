"""What `benchmarks.fuzz` found, each as a case of its own."""

from __future__ import annotations

import copy
import json
import tomllib
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest

from benchmarks.fuzzing import good_inputs as good
from tensionear.batch.lines import CSV_LINES
from tensionear.batch.mapping import parse_mapping
from tensionear.batch.study_table import parse_study
from tensionear.calibration.checking import check_document
from tensionear.errors import InputError
from tensionear.records.drawings import rim_drawing
from tensionear.records.revive import reading_from
from tensionear.records.values import asked_from, state_from, table_from
from tensionear.wheel.kept import kept_pass
from tensionear.wheel.sheetfile import parse_sheet
from tensionear.wheel.wheelfile import parse_wheel


def changed(document: Any, *path: Any, to: Any) -> Any:
    """A copy of a document with one value changed."""
    made = copy.deepcopy(document)
    inner = made
    for key in path[:-1]:
        inner = inner[key]
    inner[path[-1]] = to
    return made


@pytest.mark.parametrize(
    "text", ["a = " + "[" * 4000, "mass_g = " + "9" * 5000, "[spoke." + "9" * 5000 + "]\nlateral_mm = 1"]
)
def test_a_sheet_that_is_none(text: str) -> None:
    with pytest.raises(InputError):
        parse_sheet(text, "s.toml", parse_wheel(good.SMALL, "w.toml"))


def test_numbers_beyond_all_measure_in_tables() -> None:
    with pytest.raises(InputError, match="needed is a whole number"):
        parse_mapping("file,attempt\na.wav," + "9" * 5000, "m.csv")
    with pytest.raises(InputError, match="needed is a number"):
        parse_study("serial,operator,value\nS,A,1e308\n", "s.csv")


@pytest.mark.parametrize("line", ["a" * 140_000, "a\rb"])
def test_a_result_that_is_no_table(line: str) -> None:
    with pytest.raises(InputError, match="no row of a batch"):
        CSV_LINES.decode(line)


READING = good.kept().reading["recordings"][0]


@pytest.mark.parametrize(
    ("path", "value"),
    [
        (("spokes", 0, "tension_n"), "many"),
        (("spokes", 0, "tension_n"), float("inf")),
        (("spokes", 0, "tension_n"), 1e308),
        (("spokes", 0, "interval_95_n"), [1.0]),
        (("spokes", 0, "verdict"), "splendid"),
        (("spokes", 0, "spoke"), 1.5),
        (("verdict",), {}),
        (("title",), None),
        (("limits", "target_n"), {"right": "much"}),
    ],
)
def test_a_reading_of_the_wrong_types(path: tuple[Any, ...], value: object) -> None:
    reading_from(READING)
    with pytest.raises((ValueError, TypeError)):
        reading_from(changed(READING, *path, to=value))


@pytest.mark.parametrize(
    "take",
    [
        lambda: state_from({"pressure_kpa": "high"}),
        lambda: state_from({"tyre": {}}),
        lambda: asked_from({"spokes": "many"}, None),
        lambda: asked_from({"options": {"order": []}}, None),
        lambda: table_from("[1]"),
    ],
)
def test_a_row_of_the_log_of_the_wrong_types(take: Callable[[], object]) -> None:
    with pytest.raises((ValueError, TypeError)):
        take()


@pytest.mark.parametrize(
    ("path", "value"),
    [
        (("turns", 0, "turns"), "inf"),
        (("turns", 0, "turns"), 1e30),
        (("turns", 0, "spoke"), float("inf")),
        (("rim", "covariance", 0, 0), 1e308),
        (("rim", "covariance", 0, 1), 5.0),
    ],
)
def test_a_kept_pass_that_no_hand_turned(path: tuple[Any, ...], value: object) -> None:
    kept_pass(good.plan(), "kept.json")
    with pytest.raises(InputError):
        kept_pass(changed(good.plan(), *path, to=value), "kept.json")


RECORDS = {path.name.split(".")[0]: tomllib.loads(path.read_text("utf-8")) for path in good.RECORDS}


@pytest.mark.parametrize(
    ("name", "path", "value"),
    [
        ("ferry", ("data", "heard", "1", "start_n"), 0.0),
        ("ferry", ("data", "heard", "1", "partials_hz"), [[1.0]]),
        ("ferry", ("data", "known", "1", "tension_n"), -1.0),
        ("ferry", ("result", "group-1", "learned", "weight"), []),
        ("ferry", ("result", "group-1", "learned", "covariance", 0, 0, 0), -1.0),
        ("ferry", ("result", "group-1", "sources"), ["length"]),
        ("ferry", ("date",), "yesterday"),
        ("lot", ("data", "masses", "4"), None),
        ("lot", ("result", "tolerances", "covariance", 0, 0), float("nan")),
        ("weighed", ("result", "tolerances", "mean"), [0.0]),
        ("weighed", ("how",), "guessed"),
    ],
)
def test_a_calibration_that_cannot_be_used(name: str, path: tuple[Any, ...], value: object) -> None:
    check_document(RECORDS[name])
    with pytest.raises((ValueError, TypeError, KeyError, AttributeError)):
        check_document(changed(RECORDS[name], *path, to=value))


def test_a_card_of_a_wheel_that_allows_nothing() -> None:
    reading = reading_from(READING)
    none = tuple(replace(each, deviation_percent=0.0, tension_n=100.0, verdict=None) for each in reading.spokes)
    rim_drawing(replace(reading, limits=replace(reading.limits, evenness_percent=0.0), spokes=none), 600.0)


def test_a_reading_as_json_is_still_one(tmp_path: Path) -> None:
    """What was kept before passes, whole numbers for floats and null for what was not finite included."""
    text = json.dumps(changed(changed(READING, "duration_s", to=45), "plucks", 0, "partials", 0, "decay_s", to=None))
    assert reading_from(json.loads(text)).duration_s == 45
