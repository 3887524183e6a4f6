"""The screen while a turn plan is followed, and narrow screens: exact text, nothing cut in the middle of a clause."""

from __future__ import annotations

from dataclasses import replace

import pytest

from tensionear.dashboard.glyphs import DRAWN
from tensionear.dashboard.live.checkpicture import summary_lines
from tensionear.dashboard.live.lines import PlainLines
from tensionear.dashboard.live.picture import KEYS, Look, draw, fitting
from tensionear.dashboard.palette import NO_COLOUR
from tensionear.data import data_file
from tensionear.live.checklist import Item
from tensionear.live.events import Value
from tensionear.live.machine import Round, Shown
from tensionear.live.subject import WheelSubject
from tensionear.live.told import Snapshot, Told
from tensionear.loading import load_wheel
from tensionear.reading import Units
from tensionear.wheel.forecast import Figure
from tensionear.wheel.turnplan import Turn

SUBJECT = WheelSubject(load_wheel(data_file("recordings_demo", "wheel.toml")))


def item(spoke: int, size: float, figures: tuple[float, float] | None = None, heard_n: float | None = None) -> Item:
    heard = None if heard_n is None else Value(400.0, heard_n, 5.0)
    before, after = (Figure(each, 8.0) for each in figures) if figures else (None, None)
    return Item(Turn(spoke, SUBJECT.label(spoke), size, 0.125), before, after, heard)


ITEMS = (
    item(2, 0.25, (950.0, 1012.0), 1003.0),
    item(3, -0.125, (1100.0, 1060.0), 1099.0),
    item(7, 1.375, (700.0, 1020.0)),
    *(item(spoke, 0.125) for spoke in range(8, 30)),
)
PLAN = tuple(each.turn.spoke for each in ITEMS)
STATE = Round(PLAN, 2, place=2, left=3, shown=Shown(3, Value(400.0, 1099.0, 5.0), True, 4.0))
SNAPSHOT = Snapshot(STATE, items=ITEMS)


def lines(snapshot: Snapshot, width: int = 80, height: int = 24, units: Units = "N") -> list[str]:
    look = Look(width, height, DRAWN, NO_COLOUR, None, units)
    return [line.plain.rstrip() for line in draw(snapshot, SUBJECT, look)]


def test_the_turn_stands_large_and_what_was_heard_beside_what_was_expected() -> None:
    assert lines(SNAPSHOT)[:14] == [
        " Quayside library's book trailer, left wheel             turning, 2 of 25 turns",
        "─" * 80,
        " ████    ██  ██          1 3/8 tighter",
        " ██  ██  ██  ██          clockwise, seen from the tyre side",
        " ████    ██████          go 1/8 past and come back 1/8",
        " ██  ██      ██          7th clockwise from the valve, seen from the right",
        " ██  ██      ██          then 1020 ± 16 N, now 700 ± 16 N",
        " last  R2  1099 ± 10 N  expected 1060 ± 16 N: as if not turned",
        "",
        "─" * 80,
        "   spoke    turn expected  heard         spoke    turn expected  heard",
        " x L1       +1/4     1012   1003       · R7       +1/8",
        " ! R2       -1/8     1060   1099 same  · L7       +1/8",
        " > R4     +1 3/8     1020              · R8       +1/8",
    ]


def test_cautions_come_before_the_first_turn_and_the_awaited_turn_stays_in_sight() -> None:
    fresh = replace(SNAPSHOT, items=tuple(replace(each, heard=None) for each in ITEMS), round=Round(PLAN, 2))
    assert any("never pluck a moving wheel" in line for line in lines(fresh))
    assert not any("moving wheel" in line for line in lines(SNAPSHOT))
    ticked = tuple(replace(each, heard=Value(400.0, 1000.0, 5.0)) for each in ITEMS[:-1])
    late = replace(SNAPSHOT, items=(*ticked, item(29, 0.125, (900.0, 940.0))), round=replace(STATE, place=24))
    assert any(" > R15 " in line for line in lines(late))
    assert any("then 940 ± 16 N, now 900 ± 16 N" in line for line in lines(late))
    assert "then 96 ± 2 kgf, now 92 ± 2 kgf" in "\n".join(lines(late, units="kgf"))


@pytest.mark.parametrize(("width", "height"), [(80, 24), (100, 30), (160, 50), (60, 20), (40, 14)])
def test_it_fits_and_no_clause_is_cut(width: int, height: int) -> None:
    for snapshot in (SNAPSHOT, replace(SNAPSHOT, items=())):
        found = lines(snapshot, width, height)
        assert len(found) == height
        assert max(len(line) for line in found) <= width
        text = "\n".join(found)
        assert text.count("(") == text.count(")") or "b)ack" in text
        assert any(each in found[-1] for each in KEYS)


def test_clauses_go_from_the_end() -> None:
    text = "go 1 spoke clockwise (from the left: the other way)"
    assert fitting(text, 60) == text
    assert fitting(text, 45) == "go 1 spoke clockwise"
    assert fitting("7th clockwise from the valve, seen from the right", 30) == "7th clockwise from the valve"
    assert fitting("unbroken", 4) == "unbr"


def test_plain_lines_say_what_to_turn_next() -> None:
    said: list[str] = []
    plain = PlainLines(said.append, SUBJECT, 2)
    plain.items = lambda: ITEMS
    plain.tell(Told("accepted", 3, Value(400.0, 1099.0, 5.0), count=2))
    assert said == [
        "R2, 3rd clockwise from the valve, seen from the right: 1099 +/- 10 N; accepted from 2 plucks; "
        "expected 1060 +/- 16 N: as if not turned; 2 of 25 turns",
        "turn R4: 1 3/8 tighter (clockwise, seen from the tyre side); go 1/8 past and come back 1/8; "
        "then pluck it: 1020 +/- 16 N expected, 700 +/- 16 N now",
    ]


def test_the_summary_says_what_comes_now() -> None:
    *turns, last = summary_lines(ITEMS, "N")
    assert turns[0] == "2 of 25 turns done"
    assert turns[2] == (
        "R2: 1/8 looser (counterclockwise, seen from the tyre side): 1099 +/- 10 N; expected 1060 +/- 16 N: as if not turned"
    )
    assert turns[3].endswith(": not done")
    assert "--resume" in last
    assert "stress-relieve" in list(summary_lines(ITEMS[:2], "N"))[-1]
