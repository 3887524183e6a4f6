"""The static screens, exactly, at 60, 80 and 120 columns; in colour, without, and in ASCII."""

from __future__ import annotations

import dataclasses
import re

import pytest
from rich.cells import cell_len

from tensionear.dashboard.glyphs import ASCII, DRAWN, glyphs_for
from tensionear.dashboard.palette import NO_COLOUR, RICH_COLOURS, SIXTEEN_COLOURS, palette_for
from tensionear.dashboard.states import STATE_WORDS
from tensionear.dashboard.view import draw, draw_plain
from tensionear.reading import Finding, Limits, Reading
from tensionear.wheel.model import Wheel
from tests.dashboard.comparing import assert_screen, console, shown
from tests.dashboard.invented import evenness, pluck, plucks, spoke, wheel
from tests.wheel.sitting import wheel as laced

FAULTY = {9: 690.0, 14: 720.0, 16: 702.0, 21: None}
DANGEROUS = {9: 1330.0, 14: 320.0}
BOUNDS = Limits(5.0, 1250.0, 400.0, {"right": 1100.0, "left": 650.0})


def drawn(reading: Reading, width: int, encoding: str = "utf-8") -> str:
    on = console(width, encoding)
    draw(reading, on)
    return shown(on)


def drawn_beside(reading: Reading, width: int, encoding: str = "utf-8", described: Wheel | None = None) -> str:
    """The wheel from its side and the histograms, without the tables."""
    on = console(width, encoding)
    draw(reading, on, ("side", "histogram"), described or laced())
    text = shown(on)
    return text[: text.index("% of mean")]


@pytest.mark.parametrize("width", [60, 80, 120])
def test_from_the_side_and_as_histograms(width: int) -> None:
    text = drawn_beside(wheel(FAULTY), width)
    assert max(cell_len(line) for line in text.splitlines()) <= width
    assert_screen(f"beside-{width}", text)


def test_from_the_side_in_ascii() -> None:
    text = drawn_beside(wheel(FAULTY), 60, "cp1252")
    assert text.isascii()
    assert_screen("beside-60-ascii", text)


def test_the_side_view_names_who_is_off_where_it_sits() -> None:
    """R1 sits just right of the valve at the top, and 36 spokes on, L9 at the bottom."""
    text = drawn_beside(wheel({1: 1500.0, 18: 900.0}), 80)
    lines = text[text.index("From the right side") :].splitlines()
    top = next(line for line in lines if "▲R1" in line)
    bottom = next(line for line in lines if "▲L9" in line)
    assert lines.index(top) < 6
    assert lines.index(bottom) > 30
    assert 36 < top.index("▲R1") < 48
    assert 36 < bottom.index("▲L9") < 48


@pytest.mark.parametrize("count", [12, 20, 28, 48, 96])
def test_the_side_view_of_a_wheel_of_which_only_the_count_is_known(count: int) -> None:
    on = console(60)
    draw(evenness({7: -9.0}, count=count), on, ("side",))
    text = shown(on)
    assert "▼7" in text
    assert max(cell_len(line) for line in text.splitlines()) <= 60


def screens() -> dict[str, Reading]:
    return {
        "wheel": wheel(FAULTY, rejected=(pluck(None, None, "tool-knock"),)),
        "even": wheel(),
        "danger": wheel(DANGEROUS, limits=BOUNDS),
        "evenness": evenness({7: -9.0}),
        "one-group": evenness({7: 9.0}, sides=("all",), count=36),
        "plucks": plucks(),
        "tone": plucks("tone"),
    }


@pytest.mark.parametrize("width", [60, 80, 120])
@pytest.mark.parametrize("name", list(screens()))
def test_screen(name: str, width: int) -> None:
    text = drawn(screens()[name], width)
    assert max(cell_len(line) for line in text.splitlines()) <= width
    assert_screen(f"{name}-{width}", text)


@pytest.mark.parametrize("name", list(screens()))
def test_plain_lines(name: str) -> None:
    on = console(60)
    draw_plain(screens()[name], on)
    text = shown(on)
    assert text.isascii()
    assert all(line.endswith(".") for line in text.splitlines())
    assert_screen(f"{name}-plain", text)


@pytest.mark.parametrize("encoding", ["ascii", "cp1252"])
def test_ascii_where_the_encoding_lacks_the_signs(encoding: str) -> None:
    text = drawn(screens()["wheel"], 60, encoding)
    assert text.isascii()
    assert_screen("wheel-60-ascii", text)


@pytest.mark.parametrize("count", [12, 18, 20, 24, 28, 32, 40, 48, 64, 96])
@pytest.mark.parametrize("width", [60, 77, 132])
def test_every_spoke_has_its_mark_and_label_inside_the_width(count: int, width: int) -> None:
    text = drawn(wheel({9: 690.0, 11: None}, count=count), width)
    picture = text[text.index("Right side") : text.index(" within   ")]
    marks = sum(picture.count(getattr(DRAWN, state)) for state in STATE_WORDS)
    doubled, in_legend = 1, 1
    assert marks - doubled - in_legend == count
    assert max(map(len, text.splitlines())) <= width


def test_sides_unevenly_laced_keep_their_marks_apart() -> None:
    sides = ["left" if number % 3 == 2 else "right" for number in range(1, 37)]
    levels = {"right": 1099.0, "left": 655.0}
    spokes = tuple(spoke(n, side, f"x{n}", levels[side], levels[side], "within") for n, side in enumerate(sides, 1))
    text = drawn(dataclasses.replace(wheel(), spokes=spokes), 60)
    picture = text[text.index("Right side") : text.index(" within   ")]
    assert picture.count("●") == 36 + 1  # and the mark of the legend
    assert "●●" not in picture


def test_shape_alone_tells_the_states_apart() -> None:
    for glyphs in (DRAWN, ASCII):
        marks = (
            glyphs.within,
            glyphs.high,
            glyphs.low,
            glyphs.undecided,
            glyphs.unjudged,
            glyphs.unread,
            glyphs.left_out,
        )
        assert len(set(marks)) == len(marks)
        assert len({glyphs.mean, glyphs.limit, glyphs.bound}) == 3


def test_colours_change_nothing_but_colour() -> None:
    without = drawn(screens()["wheel"], 80)
    for system in ("standard", "256", "truecolor"):
        on = console(80, colours=system)
        draw(screens()["wheel"], on)
        coloured = shown(on)
        assert "\x1b[" in coloured
        bare = re.sub(r"\x1b\[[0-9;]*m", "", coloured)
        assert "\x1b" not in bare
        assert [line.rstrip() for line in bare.splitlines()] == without.splitlines()


@pytest.mark.parametrize("style", [getattr(RICH_COLOURS, name) for name in RICH_COLOURS.__dataclass_fields__])
def test_true_colours_stand_out_from_black_and_from_white(style: str) -> None:
    found = re.search(r"#([0-9a-f]{6})", style)
    if found is None:
        assert style == "bold"
        return
    parts = [int(found[1][at : at + 2], 16) / 255 for at in (0, 2, 4)]
    linear = [part / 12.92 if part <= 0.04045 else ((part + 0.055) / 1.055) ** 2.4 for part in parts]
    luminance = 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]
    assert (luminance + 0.05) / 0.05 >= 4.4
    assert 1.05 / (luminance + 0.05) >= 4.4


def test_palette_follows_the_terminal() -> None:
    assert palette_for(console(80)) is NO_COLOUR
    assert palette_for(console(80, colours="standard")) is SIXTEEN_COLOURS
    assert palette_for(console(80, colours="truecolor")) is RICH_COLOURS


def test_unknown_encoding_gets_ascii() -> None:
    assert glyphs_for("no-such-encoding") is ASCII
    assert glyphs_for("utf-8") is DRAWN


def test_too_narrow_for_the_picture_gives_plain_lines() -> None:
    on = console(59)
    draw_plain(wheel(), on)
    assert drawn(wheel(), 59) == shown(on)


@pytest.mark.parametrize("title", ["[red]Mill[/red] [x]", "[/dev/snd]", "name [bold"])
def test_names_are_never_read_as_markup(title: str) -> None:
    finding = Finding("loose-spoke", "[/] R1 is [loose]", (1,))
    assert title in drawn(wheel(title=title, findings=(finding,)), 80)
    assert "[/] R1 is [loose]" in drawn(wheel(findings=(finding,)), 80)
    on = console(80)
    draw_plain(wheel(title=title), on)
    assert title in shown(on)


def test_a_finding_of_a_whole_side_is_said_once_and_of_single_spokes_by_name() -> None:
    right = tuple(range(1, 37, 2))
    findings = (Finding("length-disagrees", "measure again", right), Finding("loose-spoke", "look it over", (9, 14)))
    text = drawn(wheel({9: 690.0}, findings=findings), 80)
    assert "· measure again" in text
    assert "length disagrees" not in text
    assert "· R5 and L7: look it over" in text
    assert text.count("loose spoke") == 2


def test_alarms_stand_before_title_and_picture() -> None:
    text = drawn(wheel(DANGEROUS, limits=BOUNDS), 80)
    assert text.index("R5") < text.index("Stop:") < text.index("Mill Lane") < text.index("Right side")
