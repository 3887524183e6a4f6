"""Twelve invented wheels with known faults: each gives exactly the findings it should, faultless ones give none."""

from __future__ import annotations

import numpy as np
import pytest

from tensionear.wheel.assessment import assess
from tensionear.wheel.sheet import Sheet
from tests.wheel.sitting import balanced, changed, codes, faultless, sat, wheel


def test_even() -> None:
    described = wheel("Lock keeper's barrow")
    found = sat(described, balanced(described))
    assert (found.verdict, codes(found)) == ("within", {})
    assert found.within is not None
    assert found.within > 0.99
    assert set(found.sides.values()) == {"within"}


def test_one_loose() -> None:
    described = wheel("Orchard cart")
    found = sat(described, balanced(described) | {9: 600.0})
    assert found.verdict == "out"
    assert codes(found) == {"loose-spoke": (9,)}
    assert found.findings[0].severity == "fault"


def test_one_over_the_limit() -> None:
    described = wheel("Kiln trolley", more="[limits]\nevenness_percent = 40\n")
    found = sat(described, balanced(described) | {5: 1400.0})
    assert found.verdict == "out"
    assert codes(found) == {"over-maximum": (5,)}
    assert "1300 N" in found.findings[0].text


def test_over_tight_side() -> None:
    described = wheel("Ferry hand cart")
    found = sat(described, balanced(described, 1420.0))
    assert found.verdict == "out"
    assert codes(found) == {"over-maximum": described.sides["right"].numbers}
    assert found.sides == {"right": "out", "left": "within"}


def test_wrong_dish() -> None:
    """Even on both sides, and the sides do not balance."""
    described = wheel("Weir punt trailer")
    found = sat(described, changed(balanced(described), lambda n, value: value if n % 2 else 1.3 * value))
    assert found.verdict == "out"
    assert codes(found) == {"wrong-dish": ()}
    assert "too far to the left" in found.findings[0].text  # the left side pulls harder: the rim stands nearer to it


def test_an_unstated_rim_offset_is_not_called_wrong_dish() -> None:
    described = wheel("Weir punt trailer", drop="seat_offset_mm = 0.0\n")
    tensions = changed(balanced(described), lambda n, value: value if n % 2 else 1.3 * value)
    found = sat(described, tensions)
    assert found.verdict == "undecided"
    assert codes(found) == {"balance-off": ()}
    assert "seat_offset_mm" in found.findings[0].text
    measured = sat(wheel("Weir punt trailer"), tensions, Sheet(dish_m=0.0001))
    assert codes(measured) == {"balance-off": ()}  # the dish was measured and is right


def test_bent_rim() -> None:
    described = wheel("Bell founder's cart")
    found = sat(described, balanced(described), Sheet(lateral_range_m=0.0019, dish_m=0.0))
    assert found.verdict == "out"
    assert codes(found) == {"lateral-out": (), "bent-rim": ()}
    assert set(found.sides.values()) == {"within"}


def test_wrong_lacing_in_the_file() -> None:
    """Two right to one left; the file says they alternate."""
    true = wheel("Tannery wagon", sides="RRL", crosses=0, right=18.0, left=20.0)
    told = wheel("Tannery wagon", sides="RL", crosses=0, right=18.0, left=20.0)
    found = sat(told, balanced(true, 700.0))
    assert codes(found) == {"lacing-disagrees": ()}
    assert found.verdict == "out"


def test_mixed_spokes() -> None:
    """Every fifth spoke of the right side is thinner than stated: it reads too tight by the ratio of the masses."""
    described = wheel("Chandler's pram")
    thin = described.sides["right"].numbers[::5]
    found = sat(described, changed(balanced(described, 900.0), lambda n, value: 1.23 * value if n in thin else value))
    assert found.verdict == "out"
    assert codes(found) == {"mixed-spokes": thin}


def test_borderline() -> None:
    """One at exactly 5 %, one so near that a second pluck may tell."""
    described = wheel("Reed cutter's sledge")
    tensions = balanced(described)
    at_the_limit = 1100 * 1.05 * 17 / (18 - 1.05)  # it is in the mean of its side itself
    found = sat(described, tensions | {9: at_the_limit, 20: tensions[20] * 0.9545})
    assert found.verdict == "undecided"
    assert codes(found) == {"undecided-pluck-again": (20,), "undecided-stays": (9,)}
    assert {one.severity for one in found.findings} == {"note"}
    assert found.spokes[9].verdict == "undecided"


def test_two_to_one() -> None:
    described = wheel("Peat hauler", sides="RRL", crosses=0, right=18.0, left=36.0, spokes=24)
    found = sat(described, balanced(described))
    assert (found.verdict, codes(found)) == ("within", {})


def test_radial() -> None:
    described = wheel("Hurdy-gurdy cart", spokes=20, crosses=0)
    found = sat(described, balanced(described))
    assert (found.verdict, codes(found)) == ("within", {})


def test_all_slack() -> None:
    described = wheel("Barn find", right=34.0, left=34.0)
    found = sat(described, balanced(described, 260.0))
    assert found.verdict == "out"
    assert [(one.code, one.severity) for one in found.findings] == [("slack-side", "danger")] * 2
    assert "JIS D 9301" in found.findings[0].text


@pytest.mark.parametrize("part", range(3))
def test_faultless_wheels_are_left_in_peace(part: int) -> None:
    """Of 300 random sound wheels at most 5 % get a finding above a note."""
    told = []
    for seed in range(100 * part, 100 * part + 100):
        described, tensions = faultless(seed)
        told.append([one.code for one in assess(described, tensions).findings if one.severity != "note"])
    assert sum(map(bool, told)) <= 5, told


def test_faultless_wheels_are_mostly_called_within() -> None:
    verdicts = [assess(*faultless(seed)).verdict for seed in range(100)]
    assert verdicts.count("out") == 0
    assert np.mean([each == "within" for each in verdicts]) > 0.6
