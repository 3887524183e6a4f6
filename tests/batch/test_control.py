"""Charts and capability: against values worked by hand, and what must hold for any values."""

from __future__ import annotations

import math

import numpy as np
import pytest

from tensionear.batch.capability import (
    FEWEST,
    OWN,
    capability_of,
    index_of,
    normal_quantiles,
    own_quantiles,
    skewed_quantiles,
)
from tensionear.batch.chart_drawing import MOST, Points, chart_drawing
from tensionear.batch.control import D2, D3, INDIVIDUALS_FACTOR, RANGE_FACTOR, RUN, control_of
from tensionear.records.svg import svg_part


def test_the_factors_are_the_printed_ones() -> None:
    """As every table of control charts prints them for ranges of two: 1.128, 0.853, 2.660, 3.267."""
    assert round(D2, 3) == 1.128
    assert round(D3, 3) == 0.853
    assert round(INDIVIDUALS_FACTOR, 2) == 2.66
    assert round(RANGE_FACTOR, 3) == 3.267


def test_the_factors_are_those_of_drawn_values() -> None:
    ranges = np.abs(np.diff(np.random.default_rng(1).normal(size=(400_000, 2)), axis=1))
    assert np.mean(ranges) == pytest.approx(D2, rel=3e-3)
    assert np.std(ranges) == pytest.approx(D3, rel=3e-3)


def test_a_chart_worked_by_hand() -> None:
    """Ranges 2, 1, 3, 5, their mean 2.75; centre 11.2."""
    chart = control_of([10.0, 12.0, 11.0, 14.0, 9.0])
    assert chart.ranges == (2.0, 1.0, 3.0, 5.0)
    assert chart.centre == pytest.approx(11.2)
    assert chart.range_centre == pytest.approx(2.75)
    assert chart.high == pytest.approx(11.2 + 3 / (2 / math.sqrt(math.pi)) * 2.75)
    assert chart.low == pytest.approx(11.2 - 3 / (2 / math.sqrt(math.pi)) * 2.75)
    assert chart.range_high == pytest.approx(3.2665 * 2.75, rel=1e-4)
    assert (chart.beyond, chart.range_beyond, chart.runs) == ((), (), ())
    assert not chart.settled


def test_values_beyond_and_jumps_and_runs_are_named() -> None:
    values = [10.0, 10.4, 9.8, 10.2, 9.9, 10.1, 10.3, 9.7] * 3
    chart = control_of([*values, 14.0, 10.0, *[10.21] * RUN])
    assert chart.beyond == (24,)
    assert set(chart.range_beyond) == {24, 25}
    shifted = control_of([*values, *(value + 0.8 for value in values)])
    assert shifted.runs == (*range(RUN - 1, 24), *range(24 + RUN - 1, 48))


def test_equal_values_are_no_signal() -> None:
    chart = control_of([5.0] * 12)
    assert (chart.low, chart.high, chart.beyond, chart.runs) == (5.0, 5.0, (), ())


def test_no_limit_lies_where_no_value_can() -> None:
    assert control_of([0.5, 3.0, 0.2, 2.0], 0.0).low is None
    assert control_of([0.5, 3.0, 0.2, 2.0]).low is not None


def test_usual_values_seldom_lie_beyond() -> None:
    """0.27 % of normal values lie beyond three standard deviations; the limits themselves scatter a little."""
    chance = np.random.default_rng(2)
    beyond = sum(len(control_of(list(chance.normal(100, 3, 500))).beyond) for _ in range(40))
    assert 0.001 < beyond / 20000 < 0.006


def drawn_spreads(count: int) -> np.ndarray:
    return np.random.default_rng(3).lognormal(0.8, 0.3, count)


def test_the_outer_quantile_of_spreads_is_where_it_should_be() -> None:
    """Of 60 skewed values, on the whole; taken for normal it is too low, as is the largest value itself."""
    true = math.exp(0.8 + 3 * 0.3)
    chance = np.random.default_rng(3)
    samples = [chance.lognormal(0.8, 0.3, 60) for _ in range(200)]
    for quantiles, low, high in (
        (skewed_quantiles, 0.96, 1.04),
        (normal_quantiles, 0.7, 0.87),
        (own_quantiles, 0.7, 0.9),
    ):
        assert low < np.median([quantiles(values)[2] for values in samples]) / true < high


def test_with_thousands_of_values_the_quantiles_are_their_own() -> None:
    values = drawn_spreads(OWN)
    assert skewed_quantiles(values) == own_quantiles(values)


def test_for_normal_values_the_index_is_the_usual_one() -> None:
    values = np.random.default_rng(4).normal(1000, 10, 3000)
    found = capability_of(values, normal_quantiles, 960.0, 1030.0)
    assert found is not None
    assert found.index == pytest.approx((1030 - 1000) / 30, rel=0.05)
    assert found.interval_95 is not None
    assert found.interval_95[0] < found.index < found.interval_95[1]
    assert found.count_beyond == np.sum((values > 1030) | (values < 960))


def test_too_few_values_have_no_capability() -> None:
    assert capability_of(drawn_spreads(FEWEST - 1), skewed_quantiles, upper=5.0) is None
    assert capability_of(drawn_spreads(FEWEST), skewed_quantiles, upper=5.0) is not None


def test_without_a_limit_there_is_no_index() -> None:
    found = capability_of(drawn_spreads(80), skewed_quantiles)
    assert found is not None
    assert found.index is None
    assert index_of((1.0, 1.0, 1.0), None, 5.0) is None


def test_the_interval_covers_the_true_index() -> None:
    """Of 60 samples of 100 wheels about 95 % hold it."""
    true = (5 - math.exp(0.8)) / (math.exp(0.8 + 0.9) - math.exp(0.8))
    chance, held = np.random.default_rng(5), 0
    for _ in range(60):
        found = capability_of(chance.lognormal(0.8, 0.3, 100), skewed_quantiles, upper=5.0)
        assert found is not None
        assert found.interval_95 is not None
        held += found.interval_95[0] <= true <= found.interval_95[1]
    assert held >= 52


def test_a_chart_is_drawn_and_told() -> None:
    values = [10.0, 10.4, 9.8, 10.2, 9.9, 10.1, 10.3, 9.7] * 3 + [14.0]
    days = ["2026-11-01"] * 12 + ["2026-11-02"] * 13
    drawing = chart_drawing(control_of(values), Points([f"S{at}" for at in range(25)], days, "Right mean", "N"), 460.0)
    assert "Beyond the limits: S24 14.0." in drawing.told
    text = svg_part(drawing, "x")
    for told in ("Right mean, N", "S24", "2026-11-02", "from one to the next"):
        assert told in text


def test_a_long_chart_shows_its_end() -> None:
    count = MOST + 60
    drawing = chart_drawing(
        control_of([float(at % 7) for at in range(count)]), Points(["x"] * count, [""] * count, "t", "N"), 340.0
    )
    assert svg_part(drawing, "x").count("<circle") <= 2 * MOST
