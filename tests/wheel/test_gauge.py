"""Raw readings of a gauge through its own table."""

from __future__ import annotations

import pytest

from tensionear.errors import InputError
from tensionear.wheel.gauge import gauge_readings, gauge_table

TABLE = (
    "reading,tension_kgf,kind\n20,60,steel-round-2.0\n22,80,steel-round-2.0\n26,130,steel-round-2.0\n10,50,a\n30,40,a\n"
)
KINDS = {1: "steel-round-2.0", 2: "steel-round-2.0", 3: "a"}


def test_readings_are_read_off_straight_between_rows() -> None:
    found = gauge_readings("spoke,reading\n1,20\n2,24\n3,20\n", "r.csv", gauge_table(TABLE, "t.csv"), KINDS)
    newtons = {spoke: one.tension_n / 9.80665 for spoke, one in found.items()}
    assert newtons == pytest.approx({1: 60.0, 2: 105.0, 3: 45.0})
    assert found[1].u_tension_n is None


def test_a_table_without_kinds_holds_for_all() -> None:
    table = gauge_table("reading,tension_n\n1,100\n2,300\n", "t.csv")
    assert gauge_readings("spoke,reading\n7,1.5\n", "r.csv", table, {})[7].tension_n == pytest.approx(200)


@pytest.mark.parametrize(
    ("readings", "message"),
    [
        ("spoke,reading\n1,27\n", "line 2: reading 27 lies outside the gauge table \\(20 to 26\\)"),
        ("spoke,reading\n4,27\n", "no rows for b; it has steel-round-2.0, a"),
        ("spoke,reading\n1,20\n1,20\n", "spoke 1 is there twice"),
        ("spoke,reading\n0,20\n", "spoke 0 is no spoke number"),
        ("spoke,reading\n1,x\n", "reading is 'x'"),
        ("spoke\n1\n", "needed are spoke, reading"),
        ("spoke,reading\n", "a heading but no rows"),
    ],
)
def test_bad_readings(readings: str, message: str) -> None:
    with pytest.raises(InputError, match=message):
        gauge_readings(readings, "r.csv", gauge_table(TABLE, "t.csv"), {**KINDS, 4: "b"})


@pytest.mark.parametrize(
    ("table", "message"),
    [
        ("reading\n1\n", "needed are reading and one of tension_n"),
        ("reading,tension_n\n1,100\n", "neither rise nor fall throughout, or are fewer than two"),
        ("reading,tension_n\n1,100\n2,200\n3,150\n", "neither rise nor fall"),
        ("reading,tension_n\n1,100\n1,200\n", "reading 1 is there twice"),
        ("reading,tension_n\n", "a heading but no rows"),
    ],
)
def test_bad_tables(table: str, message: str) -> None:
    with pytest.raises(InputError, match=message):
        gauge_table(table, "t.csv")
