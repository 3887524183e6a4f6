"""Verdicts by JCGM 106:2012: conformance probabilities of the normal distribution, one spoke and several together.

The numbers are of the standard normal distribution function (any table): Phi(1.645) = 0.9500, Phi(2) = 0.97725,
Phi(1) = 0.84134, Phi(3) = 0.99865.
"""

from __future__ import annotations

import math
import statistics
from typing import Any

import pytest

from tensionear.reading import Limits
from tensionear.wheel.assessment import assess_evenness
from tensionear.wheel.conformance import Limited, Rule, between, within_together
from tensionear.wheel.judging import Judge, Judgement, believed, findings_of
from tensionear.wheel.sidefit import ReadTension

FIVE = Limits(evenness_percent=5.0)
LEVEL = Limits(evenness_percent=50.0, max_tension_n=1200.0, floor_n=800.0)


def spoke(tension_n: float = 1000.0, u_n: float = 20.0, percent: float = 0.0, u_percent: float = 0.6) -> ReadTension:
    interval = (tension_n - 1.96 * u_n, tension_n + 1.96 * u_n)
    return ReadTension(tension_n, u_n, interval, 5.0, 19.0, percent / 100, u_percent / 100, 2.2, 1.0)


def judge_spoke(tension: ReadTension, limits: Limits, level: bool) -> Judgement:
    return Judge(limits, level).spoke(tension)


@pytest.mark.parametrize(
    ("percent", "u_percent", "within", "verdict"),
    [
        (0.0, 2.5, 0.95450, "within"),  # 2 Phi(2) - 1
        (0.0, 5.0, 0.68269, "undecided"),  # 2 Phi(1) - 1
        (5.0, 0.5, 0.5, "undecided"),
        (4.0, 0.5, 0.97725, "within"),
        (-4.0, 0.5, 0.97725, "within"),
        (4.2, 0.5, 0.94520, "undecided"),  # Phi(1.6)
        (6.0, 0.5, 0.02275, "out"),
        (-6.0, 0.5, 0.02275, "out"),
        (5.8, 0.5, 0.05480, "undecided"),
        (12.0, 0.0, 0.0, "out"),  # exactly known
        (4.9, 0.0, 1.0, "within"),
    ],
)
def test_evenness_of_one_spoke(percent: float, u_percent: float, within: float, verdict: str) -> None:
    found = judge_spoke(spoke(percent=percent, u_percent=u_percent), FIVE, level=True)
    assert found.within == pytest.approx(within, abs=1e-5)
    assert found.verdict == verdict


@pytest.mark.parametrize(
    ("tension_n", "u_n", "within", "verdict"),
    [
        (1160.0, 20.0, 0.97725, "within"),
        (1180.0, 20.0, 0.84134, "undecided"),
        (1220.0, 20.0, 0.15866, "undecided"),
        (1240.0, 20.0, 0.02275, "out"),
        (840.0, 20.0, 0.97725, "within"),
        (760.0, 20.0, 0.02275, "out"),
        (1000.0, 100.0, 0.97725**2, "within"),  # both limits count
        (1000.0, 103.0, 0.97392**2, "undecided"),  # Phi(1.942) squared
    ],
)
def test_maximum_and_floor(tension_n: float, u_n: float, within: float, verdict: str) -> None:
    found = judge_spoke(spoke(tension_n, u_n), LEVEL, level=True)
    assert found.within == pytest.approx(within, abs=2e-5)
    assert found.verdict == verdict


def test_level_is_not_judged_with_a_tyre_on() -> None:
    assert judge_spoke(spoke(1500.0), LEVEL, level=False).verdict == "within"
    assert judge_spoke(spoke(300.0), LEVEL, level=False).verdict == "within"
    assert judge_spoke(spoke(1500.0), LEVEL, level=True).verdict == "out"
    assert judge_spoke(spoke(1500.0), FIVE, level=True).verdict == "within"  # no maximum stated: none judged


def test_one_limit_clearly_broken_is_out_whatever_the_others() -> None:
    """Out needs one quantity surely outside; two doubtful ones do not make it."""
    limits = Limits(evenness_percent=5.0, max_tension_n=1200.0)
    doubtful = judge_spoke(spoke(1230.0, 20.0, 5.5, 0.5), limits, level=True)  # 6.7 % and 15.9 %
    assert doubtful.within == pytest.approx(0.06681 * 0.15866, abs=1e-4)
    assert doubtful.verdict == "undecided"
    assert judge_spoke(spoke(1000.0, 20.0, 8.0, 0.5), limits, level=True).verdict == "out"


def independent(*chances: float) -> list[Limited]:
    """Quantities below a limit with these probabilities, each of a cause of its own."""
    return [
        Limited(0.0, {cause: 1.0}, high=statistics.NormalDist().inv_cdf(chance)) for cause, chance in enumerate(chances)
    ]


def test_independent_quantities_are_within_together_by_the_product() -> None:
    assert within_together(independent(0.99, 0.99, 0.99)) == pytest.approx(0.99**3, abs=0.004)
    assert within_together(independent(0.5, 0.5)) == pytest.approx(0.25, abs=0.01)
    assert within_together(independent(0.97725)) == pytest.approx(0.97725, abs=1e-6)
    assert within_together([]) == 1.0


def test_a_shared_cause_counts_once() -> None:
    """Twenty spokes that are as near to the maximum by one common error: as sure as one of them."""
    together = [Limited(0.0, {0: 1.0}, high=1.645) for _ in range(20)]
    assert within_together(together) == pytest.approx(0.95, abs=0.006)
    apart = [Limited(0.0, {cause: 1.0}, high=1.645) for cause in range(20)]
    assert within_together(apart) == pytest.approx(0.95**20, abs=0.012)


def test_two_correlated_quantities_by_the_orthant_formula() -> None:
    """P(both below their means) = 1/4 + arcsin(r) / (2 pi) (Sheppard 1899; from memory)."""
    for r in (-0.5, 0.0, 0.5, 0.9):
        pair = [Limited(0.0, {0: 1.0}, high=0.0), Limited(0.0, {0: r, 1: math.sqrt(1 - r**2)}, high=0.0)]
        assert within_together(pair) == pytest.approx(0.25 + math.asin(r) / (2 * math.pi), abs=0.01)


def test_the_rule_and_its_risks() -> None:
    assert Rule().decide(0.96, 0.96) == "within"
    assert Rule().decide(0.94, 0.94) == "undecided"
    assert Rule().decide(0.04, 0.04) == "out"
    assert Rule(consumer_risk=0.01).decide(0.96, 0.96) == "undecided"
    assert Rule(producer_risk=0.2).decide(0.15, 0.15) == "out"
    assert Rule().decide(0.96, 0.90) == "undecided"  # within the limits, not within the guarded ones


def test_a_guard_band_asks_for_more() -> None:
    near = spoke(percent=3.6, u_percent=0.6)
    assert Judge(FIVE, True).spoke(near).verdict == "within"
    assert Judge(FIVE, True, rule=Rule(guard_band_u=1.0)).spoke(near).verdict == "undecided"
    assert within_together(independent(0.99), 1.0) == pytest.approx(
        between(0, 1, -math.inf, statistics.NormalDist().inv_cdf(0.99) - 1)
    )


def test_the_worst_of_many_reads_worse_than_it_is() -> None:
    """Readings that scatter hardly more than they err are drawn to the mean; one alone is left."""
    side = [spoke(percent=percent, u_percent=1.0) for percent in (-1.5, -1, -0.5, 0, 0, 0, 0.5, 1, 1.5, 2.5)]
    found = believed(side)
    assert 0 < found[-1].deviation < side[-1].deviation
    assert found[-1].u_deviation < side[-1].u_deviation
    assert found[-1].tension_n < side[-1].tension_n
    assert believed(side[:3]) == side[:3]
    sure = [spoke(percent=each, u_percent=0.05) for each in (-1.5, -1, -0.5, 0, 0, 0, 0.5, 1, 1.5, 2.5)]
    assert believed(sure)[-1].deviation == pytest.approx(sure[-1].deviation, rel=0.01)


def test_a_round_of_evenness_is_judged_together() -> None:
    even = {number: spoke(percent=0.2, u_percent=0.5) for number in range(1, 13)}
    groups = dict.fromkeys(even, "higher")
    found = assess_evenness(even, groups, FIVE)
    assert (found.verdict, found.findings) == ("within", ())
    assert found.sides == {"higher": "within"}
    out = assess_evenness(even | {3: spoke(percent=9.0, u_percent=0.5)}, groups, FIVE)
    assert out.verdict == "out"
    assert [each.code for each in out.findings] == ["out-of-evenness"]
    assert assess_evenness({}, {}, FIVE).verdict is None


def codes(tensions: dict[int, ReadTension], limits: Limits, level: bool = True) -> dict[str, tuple[int, ...]]:
    return {finding.code: finding.spokes for finding in findings_of(tensions, Judge(limits, level))}


def test_findings_worst_first_each_spoke_where_it_belongs() -> None:
    tensions = {
        9: spoke(1300.0, 20.0, 9.0),
        3: spoke(1290.0, 20.0, 8.0),
        4: spoke(700.0, 20.0, -40.0),
        5: spoke(790.0, 20.0, -21.0),
        6: spoke(1000.0, 20.0, -7.0),
        7: spoke(1000.0, 20.0, 5.3),
        8: spoke(1000.0, 20.0, 0.0),
    }
    found = findings_of(tensions, Judge(Limits(5.0, 1250.0, 800.0), level=True))
    assert [finding.code for finding in found] == ["over-maximum", "under-floor", "loose-spoke", "out-of-evenness"]
    assert [finding.spokes for finding in found] == [(3, 9), (4,), (4,), (3, 5, 6, 9)]
    assert "1250 N" in found[0].text
    assert "slacken" in found[0].text
    assert "800 N" in found[1].text
    assert "25 %" in found[2].text
    assert "5 %" in found[3].text


def test_findings_name_nobody_in_doubt_and_no_level_that_is_not_judged() -> None:
    doubtful: dict[int, Any] = {1: spoke(1260.0, 20.0, 5.3), 2: spoke(790.0, 20.0, -5.3)}
    assert codes(doubtful, Limits(5.0, 1250.0, 800.0)) == {}
    sure: dict[int, Any] = {1: spoke(1500.0), 2: spoke(300.0)}
    assert codes(sure, Limits(5.0, 1250.0, 800.0)) == {"over-maximum": (1,), "under-floor": (2,)}
    assert codes(sure, Limits(5.0, 1250.0, 800.0), level=False) == {}
    assert codes(sure, Limits(5.0)) == {}
    assert codes({}, Limits(5.0, 1250.0, 800.0)) == {}
