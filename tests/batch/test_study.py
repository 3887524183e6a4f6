"""Gauge studies and check wheels, from table to words; the published studies are in ``tests/reference``."""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pytest

from tensionear.batch.results import Results
from tensionear.batch.study import analyse
from tensionear.batch.study_table import checks_of, crossed, parse_study
from tensionear.batch.values import Row
from tensionear.cli import main
from tensionear.errors import InputError


def drawn(wheels: int, operators: int, readings: int, sigmas: tuple[float, float, float], seed: int) -> np.ndarray:
    """Readings with these standard deviations: between wheels, between operators, of a reading."""
    chance = np.random.default_rng(seed)
    of_wheels = sigmas[0] * chance.normal(size=(wheels, 1, 1))
    of_operators = sigmas[1] * chance.normal(size=(1, operators, 1))
    return 1000 + of_wheels + of_operators + sigmas[2] * chance.normal(size=(wheels, operators, readings))


def test_the_scatter_put_in_comes_out() -> None:
    found = [analyse(drawn(12, 8, 3, (20.0, 6.0, 4.0), seed)) for seed in range(30)]
    for name, true in (("between_wheels", 20.0), ("reproducibility", 6.0), ("repeatability", 4.0)):
        assert np.mean([getattr(each, name).sigma ** 2 for each in found]) ** 0.5 == pytest.approx(true, rel=0.1)
    for each in found:
        assert each.total.sigma**2 == pytest.approx(each.gauge.sigma**2 + each.between_wheels.sigma**2)
        assert sum(part.variance_percent for part in (each.gauge, each.between_wheels)) == pytest.approx(100)


def test_the_interaction_is_seldom_found_where_there_is_none() -> None:
    pooled = [analyse(drawn(10, 3, 3, (20.0, 6.0, 4.0), seed)).pooled for seed in range(200)]
    assert 0.9 < np.mean(pooled) < 0.985


def test_squares_add_up_and_nothing_is_below_zero() -> None:
    values = drawn(5, 2, 2, (0.0, 0.0, 1.0), 3)
    study = analyse(values, tolerance=12.0)
    assert sum(source.squares for source in study.table) == pytest.approx(np.sum((values - values.mean()) ** 2))
    assert all(component.sigma >= 0 for component in study.components)
    assert study.tolerance_percent == pytest.approx(100 * 6 * study.gauge.sigma / 12)


def test_readings_all_alike_are_no_division_by_zero() -> None:
    study = analyse(np.full((3, 2, 2), 5.0))
    assert study.gauge.sigma == 0
    assert study.categories is None


@pytest.mark.parametrize("shape", [(1, 2, 2), (2, 1, 2), (2, 2, 1)])
def test_too_small_a_study_is_told(shape: tuple[int, int, int]) -> None:
    with pytest.raises(InputError, match="at least two of each"):
        analyse(np.zeros(shape))


def table(lines: list[str], heading: str = "serial,operator,value") -> str:
    return "\n".join([heading, *lines]) + "\n"


CROSSED = [
    f"S{part},{name},{100 * part + 3 * at + step}"
    for part in (1, 2, 3)
    for at, name in enumerate("AB")
    for step in (0, 1)
]


def test_a_table_becomes_an_array() -> None:
    found = parse_study("\ufeff" + table(CROSSED), "s.csv")
    values = crossed(found.readings, "value", "s.csv")
    assert values.shape == (3, 2, 2)
    assert values[1, 1].tolist() == [203.0, 204.0]


@pytest.mark.parametrize(
    ("text", "told"),
    [
        ("value\n1\n", "needed is serial or wheel"),
        (table(["S1,A,x"]), "line 2: value is 'x'"),
        (table(["S1,A,nan"]), "needed is a number"),
        (table([",A,1"]), "no wheel is named"),
        (table([]), "no line with a reading"),
        (table(["S1,A,"]), "not filled in every line"),
        (table(["S1,A,1"], "serial,operator,newton"), "give --value COLUMN"),
        (table([*CROSSED[:-1]]), "operator B measured wheel S3 1 times, others 2"),
        (table([*CROSSED, "S4,A,1", "S4,A,1"]), "operator B measured wheel S4 0 times"),
        (table([*CROSSED, "S1,,1"]), "without operator"),
    ],
)
def test_a_table_that_is_no_study_is_told(text: str, told: str) -> None:
    with pytest.raises(InputError, match=told):
        crossed(parse_study(text, "s.csv").readings, "value", "s.csv")


def test_a_batchs_result_is_a_study(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    out = tmp_path / "r.csv"
    with Results(out) as results:
        for number, (part, operator, value) in enumerate((line.split(",") for line in CROSSED), 1):
            results.add(
                Row(
                    number,
                    f"{number}.wav",
                    "read",
                    serial=part,
                    operator=operator,
                    right_mean_n=float(value),
                    right_spread_percent=2.0,
                )
            )
        results.add(Row(99, "bad.wav", "failed", serial="S1", operator="A"))
        results.add(Row(98, "old.wav", "read", serial="S1", operator="A", right_mean_n=1.0, superseded_by="1.wav"))
        results.finish(results.rows(results.files()))
    assert main(["study", str(out)]) == 0
    told = capsys.readouterr().out
    assert "right_mean_n: 3 wheels x 2 operators x 2 readings" in told
    assert "right_spread_percent: 3 wheels" in told
    assert "left_mean_n" not in told
    assert "2 lines without a reading were passed over" in told


def test_the_study_is_told_in_words_json_and_as_a_page(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    path, page = tmp_path / "s.csv", tmp_path / "s.html"
    path.write_text(table(CROSSED))
    assert main(["study", str(path), "--tolerance", "60", "--report", str(page)]) == 0
    told = capsys.readouterr().out
    for words in ("wheels x operators", "repeatability", "% of variance", "Categories of wheels", "% of the tolerance"):
        assert words in told
    assert max(map(len, told.splitlines())) <= 100
    assert "Analysis of variance" in page.read_text("utf-8")
    assert main(["study", str(path), "--json"]) == 0
    document = json.loads(capsys.readouterr().out)
    assert document["format"] == "tensionear.study/1"
    assert document["studies"]["value"]["repeatability"]["sigma"] == pytest.approx(0.5**0.5, rel=0.2)
    assert document["studies"]["value"]["table"][0]["name"] == "wheels"


def daily(values: list[float], station: str = "press") -> list[str]:
    return [f"C1,{station},2026-11-{day:02},{value}" for day, value in enumerate(values, 1)]


HEADING = "serial,station,recorded,value"
STEADY = [1000.0, 1002.0, 999.0, 1001.0, 998.0, 1003.0, 1000.0, 1001.0, 999.0, 1002.0]


@pytest.mark.parametrize(
    ("last", "told"),
    [(1001.0, "The last one is usual."), (1030.0, "The last one is not usual"), (None, "drift to one side")],
)
def test_a_check_wheel_is_charted_by_station(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], last: float | None, told: str
) -> None:
    own = [*STEADY, *([1004.5, 1005.0] * 5 if last is None else [last])]
    lines = [*reversed(daily(own)), *daily(STEADY[:5], "bench"), "C2,press,2026-11-01,500"]
    (tmp_path / "s.csv").write_text(table(lines, HEADING))
    page = tmp_path / "s.html"
    assert main(["study", str(tmp_path / "s.csv"), "--check", "C1", "--report", str(page)]) == 0
    said = capsys.readouterr().out.splitlines()
    assert said[0].startswith("check wheel C1, station bench, value: 5 values, centre 1000")
    assert said[1].startswith(f"check wheel C1, station press, value: {len(own)} values")
    assert told in said[1]
    assert page.read_text("utf-8").count("<figure>") == 2


def test_one_reading_is_no_chart(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    (tmp_path / "s.csv").write_text(table(daily([1000.0]), HEADING))
    assert main(["study", str(tmp_path / "s.csv"), "--check", "C1", "--json"]) == 0
    document = json.loads(capsys.readouterr().out)
    assert document["checks"] == [{"column": "value", "station": "press", "chart": None}]
    assert main(["study", str(tmp_path / "s.csv"), "--check", "C1"]) == 0
    assert "a chart needs two" in capsys.readouterr().out


def test_without_times_the_order_of_the_lines_counts() -> None:
    found = parse_study(table(["C1,,2", "C1,,1"], "serial,recorded,value"), "s.csv")
    (own,) = checks_of(found.readings, "C1", "s.csv").values()
    assert [reading.values["value"] for reading in own] == [2.0, 1.0]


@pytest.mark.parametrize(
    ("given", "told"),
    [
        (["missing.csv"], "cannot be read"),
        (["s.csv", "--check", "C9"], "no reading of a wheel 'C9'; there are C1"),
        (["s.csv", "--value", "newton"], "no column 'newton'"),
        (["s.csv", "--tolerance", "0"], "above 0"),
        (["s.csv", "--report", "s.pdf"], "ends in .html"),
        (["s.csv"], "without operator"),
    ],
)
def test_what_a_user_can_do_wrong_is_one_line(
    given: list[str], told: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.chdir(tmp_path)
    (tmp_path / "s.csv").write_text(table(daily(STEADY), HEADING))
    assert main(["study", *given]) == 2
    said = capsys.readouterr().err
    assert told in said
    assert said.count("\n") == 1


def test_nothing_is_asked_of_a_column_of_another_kind(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    lines = [f"S{part},{name},{part + at},{part}" for part in (1, 2) for at, name in enumerate("ABAB")]
    (tmp_path / "s.csv").write_text(table(lines, "wheel,operator,right_mean_n,left_mean_n"))
    assert main(["study", str(tmp_path / "s.csv"), "--tolerance", "5"]) == 2
    assert "choose one with --value" in capsys.readouterr().err
    assert main(["study", str(tmp_path / "s.csv"), "--tolerance", "5", "--value", "right_mean_n"]) == 0
