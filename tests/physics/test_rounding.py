"""The one rounding rule, clause by clause."""

from __future__ import annotations

import math
from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tensionear.physics.rounding import rounded


@pytest.mark.parametrize(
    ("value", "uncertainty", "shown"),
    [
        (1043.2, 14.3, ("1043", "14")),
        (1043.2, 29.6, ("1043", "30")),
        (1043.2, 31.4, ("1040", "30")),
        (1043.2, 96.0, ("1040", "100")),
        (441.7031, 0.1176, ("441.70", "0.12")),
        (441.7031, 0.0651, ("441.70", "0.07")),
        (-0.04, 1.2, ("0.0", "1.2")),
        (-4.35, 0.5, ("-4.4", "0.5")),
        (0.0, 3.0, ("0", "3")),
        (123456.0, 2000.0, ("123500", "2000")),
        (10.05762, 0.027, ("10.058", "0.027")),
    ],
)
def test_rounded(value: float, uncertainty: float, shown: tuple[str, str]) -> None:
    assert rounded(value, uncertainty) == shown


@pytest.mark.parametrize(("value", "uncertainty"), [(1.0, 0.0), (1.0, -1.0), (math.nan, 1.0), (1.0, math.inf)])
def test_what_cannot_be_rounded(value: float, uncertainty: float) -> None:
    with pytest.raises(ValueError, match="give finite numbers"):
        rounded(value, uncertainty)


@given(st.floats(-1e7, 1e7), st.floats(1e-4, 1e6))
def test_same_place_and_small_rounding_error(value: float, uncertainty: float) -> None:
    number, half = rounded(value, uncertainty)
    assert "e" not in (number + half).lower()
    assert not number.startswith("-0") or float(number) < 0
    assert Decimal(number).as_tuple().exponent == Decimal(half).as_tuple().exponent
    assert abs(float(half) - uncertainty) <= uncertainty / 6 * (1 + 1e-9)
    assert abs(float(number) - value) <= uncertainty / 2 * (1 + 1e-9)
