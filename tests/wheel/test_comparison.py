"""A reading held against known tensions."""

from __future__ import annotations

import pytest

from tensionear.dashboard.comparison import comparison_lines
from tensionear.errors import InputError
from tensionear.wheel.comparison import Known, as_card, compare, known_tensions
from tests.dashboard.invented import evenness, wheel


@pytest.mark.parametrize(
    ("column", "newtons"),
    [("tension_n", 1.0), ("tension_dan", 10.0), ("tension_kgf", 9.80665), ("tension_lbf", 4.4482216)],
)
def test_units(column: str, newtons: float) -> None:
    found = known_tensions(f"\ufeffspoke, {column} ,u_percent,label\r\n3,110,2,x\r\n4,90,,y\r\n", "known.csv")
    assert found[3].tension_n == pytest.approx(110 * newtons, rel=1e-7)
    assert found[3].u_tension_n == pytest.approx(0.02 * 110 * newtons, rel=1e-7)
    assert found[4].u_tension_n is None


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ("", "the columns are none; needed are spoke and one of"),
        ("spoke,tension\n1,2\n", "needed are spoke and one of tension_n"),
        ("spoke,tension_n,tension_kgf\n1,2,3\n", "needed are spoke and one of"),
        ("spoke,tension_n\n", "a heading but no rows"),
        ("spoke,tension_n\n1,1000\n1,1000\n", "line 3: spoke 1 is there twice"),
        ("spoke,tension_n\n1.5,1000\n", "spoke 1.5 is no spoke number"),
        ("spoke,tension_n\n0,1000\n", "spoke 0 is no spoke number"),
        ("spoke,tension_n\n1,1 000\n", "tension_n is '1 000'; needed is a number"),
        ("spoke,tension_n\n1,nan\n", "tension_n is 'nan'"),
        ("spoke,tension_n\n1,-5\n", "tension_n -5 is not above 0"),
        ("spoke,tension_n\n1\n", "tension_n is ''"),
        ("spoke,tension_n,u_percent\n1,5,-1\n", "u_percent -1 is below 0"),
    ],
)
def test_bad_tables(text: str, message: str) -> None:
    with pytest.raises(InputError, match="known.csv.*" + message.replace("(", r"\(")):
        known_tensions(text, "known.csv")


def test_bias_scatter_and_held() -> None:
    spokes = wheel().spokes  # R1 1063 N, L1 640 N, R2 1102 N; 1.9 % of uncertainty
    found = compare(
        spokes, {1: Known(1063 / 1.02, None), 2: Known(640 / 0.98, None), 3: Known(1102 / 1.06, None), 99: Known(1, 1)}
    )
    assert [each.label for each in found.differences] == ["R1", "L1", "R2"]
    assert [each.difference_percent for each in found.differences] == pytest.approx([2.0, -2.0, 6.0])
    assert found.bias_percent == pytest.approx(2.0)
    assert found.scatter_percent == pytest.approx(4.0)
    assert found.largest_percent == pytest.approx(6.0)
    assert [each.held for each in found.differences] == [True, True, False]
    assert found.held == 2


def test_the_uncertainty_of_the_known_widens_the_interval() -> None:
    one = {3: Known(1102 / 1.06, 50.0)}
    assert compare(wheel().spokes, one).held == 1
    assert compare(wheel().spokes, one).scatter_percent is None


def test_nothing_in_common() -> None:
    with pytest.raises(InputError, match="none of the 1 known spokes was read as a tension"):
        compare(evenness().spokes, {1: Known(1000.0, None)})


def test_a_card_without_uncertainty_is_known_to_seven_percent() -> None:
    card = as_card({1: Known(1000.0, None), 2: Known(1000.0, 20.0)})
    assert card[1] == Known(1000.0, 70.0, 25.0)
    assert card[2] == Known(1000.0, 20.0)


def test_limits_of_agreement_and_who_really_differs() -> None:
    """All spokes 8 % over the card is a bias; one 20 % over differs from the rest."""
    spokes = wheel().spokes
    known = {each.spoke: Known((each.tension_n or 0.0) / 1.08, None) for each in spokes}
    known[9] = Known((spokes[8].tension_n or 0.0) / 1.20, None)
    found = compare(spokes, as_card(known))
    assert [each.label for each in found.differences if each.differs] == ["R5"]
    assert found.scatter_percent is not None
    assert found.agreement_percent == pytest.approx(
        (found.bias_percent - 1.96 * found.scatter_percent, found.bias_percent + 1.96 * found.scatter_percent)
    )


def test_the_state_of_the_card_is_told_where_it_is_another() -> None:
    known = known_tensions("spoke,tension_n,tyre\n1,1000,none\n2,640,none\n3,1100,none\n", "card.csv")
    found = compare(wheel().spokes, as_card(known))
    assert found.tyres == ("none",)
    lines = list(comparison_lines(found, "inflated"))
    assert any("5 to 15 %" in line for line in lines)
    assert not any("5 to 15 %" in line for line in comparison_lines(found, "none"))
    with pytest.raises(InputError, match="tyre is 'flat'; allowed: none, mounted, inflated"):
        known_tensions("spoke,tension_n,tyre\n1,1000,flat\n", "card.csv")
