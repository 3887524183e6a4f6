"""The state, level, sides, patterns and the sheet: what each adds to the verdict."""

from __future__ import annotations

import math

import numpy as np
import pytest

from tensionear.errors import InputError, WheelFileError
from tensionear.wheel.balance import demanded_ratio, stands_at
from tensionear.wheel.model import Wheel, WheelState
from tensionear.wheel.sheet import Sheet
from tensionear.wheel.sheetfile import parse_sheet, sheet_toml
from tensionear.wheel.wheelfile import parse_wheel
from tests.wheel.sitting import WHEEL, balanced, changed, codes, sat, wheel

MM = 1e-3


@pytest.mark.parametrize(
    ("state", "code"),
    [('tyre = "inflated"', "tyre-on"), ('held = "bike"', "in-the-bike"), ('age = "new"', "not-relieved")],
)
def test_the_level_is_judged_only_bare_free_and_relieved(state: str, code: str) -> None:
    described = wheel(more=f"[state]\n{state}\n")
    found = sat(described, balanced(described))
    assert (found.verdict, codes(found)) == ("undecided", {code: ()})
    assert set(found.sides.values()) == {"within"}  # evenness is judged always
    over = sat(described, balanced(described, 1500.0))
    assert "over-maximum" not in codes(over)
    assert found.findings[0].text.startswith("undecided: ")


def test_a_wheel_without_limits_of_level_is_within_by_evenness_with_a_tyre_on() -> None:
    described = wheel(more='[state]\ntyre = "mounted"\n', drop="max_tension_n = 1300\n")
    assert sat(described, balanced(described)).verdict == "within"


def test_a_crash_is_never_within_and_a_broken_spoke_is_out() -> None:
    crashed = wheel(more="[state]\ncrash = true\n")
    found = sat(crashed, balanced(crashed))
    assert found.verdict == "undecided"
    assert (found.findings[0].code, found.findings[0].severity) == ("crash", "danger")
    broken = wheel(more="[state]\nbroken = [7]\n")
    assert sat(broken, balanced(broken)).verdict == "out"
    assert codes(sat(broken, balanced(broken))) == {"broken-spoke": (7,)}


def test_cold_widens_the_level_and_nothing_else() -> None:
    near = wheel(more="[limits]\nevenness_percent = 20\n")
    cold = wheel(more="[limits]\nevenness_percent = 20\n[state]\ntemperature_c = -10\n")
    tensions = balanced(near, 1240.0)
    warm, frozen = sat(near, tensions), sat(cold, tensions)
    assert warm.within is not None
    assert frozen.within is not None
    assert warm.verdict == "within"
    assert frozen.within < warm.within - 0.02
    assert codes(frozen).keys() >= {"off-room-temperature"}
    assert 1.96 * 6.5 * 30 / math.sqrt(3) == pytest.approx(221, abs=1)
    assert "221 N worse" in next(one.text for one in frozen.findings if one.code == "off-room-temperature")


def test_sides_against_their_targets() -> None:
    described = wheel()
    ratio = demanded_ratio(described)
    assert ratio is not None
    aimed = retargeted(1100, round(1100 * ratio))
    assert codes(sat(aimed, balanced(aimed))) == {}
    low = sat(aimed, balanced(aimed, 900.0))
    assert set(codes(low)) == {"off-target"}
    assert low.verdict == "out"


def filled(text: str) -> str:
    return text.format(
        name="Toll barrow", spokes=36, sides="RL", right=20.0, left=34.0, crosses=3, offset=0.0, seat=600.0
    )


def retargeted(right_n: float, left_n: float) -> Wheel:
    """The usual wheel with targets."""
    text = filled(WHEEL).replace("[left]", f"target_n = {right_n}\n[left]") + f"target_n = {left_n}\n"
    return parse_wheel(text, "targets.toml")


def test_targets_that_contradict_the_dish_are_refused() -> None:
    described = retargeted(1100, 1100)
    found = sat(described, balanced(described))
    assert codes(found) == {"targets-contradict-dish": ()}
    assert found.verdict == "undecided"
    assert "left = 0.59 x right" in found.findings[0].text


def test_where_the_rim_stands_follows_from_a_rim_at_rest() -> None:
    """Tensions that balance with the spoke bed 2 mm off tell those 2 mm of a file that says 0."""
    off, told = wheel(offset=2.0), wheel(offset=0.0)
    tensions = balanced(off, 1000.0)
    mean = {side: tensions[each.numbers[0]] for side, each in told.sides.items()}
    found = stands_at(told, mean, {"right": 0.01, "left": 0.01})
    assert found is not None
    assert found.shift_m == pytest.approx(2 * MM, rel=0.02)
    assert 0.2 * MM < found.u_m < 0.8 * MM
    assert codes(sat(off, tensions)) == {}


def test_a_two_to_one_wheel_balances_at_its_ratio() -> None:
    """Offsets of 36 and 18 mm at a projected length of 280 mm: T_L/T_R = 0.5031 at 16/16 spokes (statics of the rim)."""
    described = wheel(spokes=32, right=18.0, left=36.0, crosses=0, seat=618.0)
    assert demanded_ratio(described) == pytest.approx(0.5031, abs=2e-4)


def test_zigzag_points_at_the_heads_first() -> None:
    described = wheel()
    right = described.sides["right"].numbers
    found = sat(
        described,
        changed(balanced(described), lambda n, v: v * (1.04 if n in right[::2] else 0.96 if n in right else 1)),
    )
    assert codes(found) == {"zigzag": right}
    assert "elbow-in and elbow-out" in found.findings[0].text
    assert found.verdict != "within"


@pytest.mark.parametrize(("order", "word"), [(1, "once round"), (2, "twice round")])
def test_a_slow_wave_says_which(order: int, word: str) -> None:
    described = wheel()
    angle = {place.number: 2 * math.pi * (place.number - 0.5) / 36 for place in described.places}
    found = sat(described, changed(balanced(described), lambda n, v: v * (1 + 0.03 * math.cos(order * angle[n] - 1))))
    assert codes(found) == {"slow-wave": ()}
    assert word in found.findings[0].text
    assert "out of round" in found.findings[0].text
    sideways = changed(
        balanced(described), lambda n, v: v * (1 + (0.03 if n % 2 else -0.03) * math.cos(order * angle[n] - 1))
    )
    assert "sides against each other" in sat(described, sideways).findings[0].text


def test_a_slack_pair_and_sharp_neighbours() -> None:
    described = wheel()
    place = described.place(9)
    assert place.meets is not None
    partner = place.meets.partner
    assert partner is not None
    pair = sat(described, changed(balanced(described), lambda n, v: 0.8 * v if n in (9, partner) else v))
    assert codes(pair) == {"loose-pair": tuple(sorted((9, partner)))}
    sharp = sat(described, changed(balanced(described), lambda n, v: v * {9: 1.045, 11: 0.955}.get(n, 1.0)))
    assert codes(sharp)["neighbours-differ"] == (9, 11)
    assert "out-of-evenness" not in codes(sharp)


def test_the_sheet_counts_in_the_verdict() -> None:
    described = wheel()
    tensions = balanced(described)
    fine = Sheet(lateral_range_m=0.2 * MM, radial_range_m=0.2 * MM, dish_m=0.1 * MM)
    assert (sat(described, tensions, fine).verdict, codes(sat(described, tensions, fine))) == ("within", {})
    near = sat(described, tensions, Sheet(lateral_range_m=0.49 * MM))
    assert (near.verdict, codes(near)) == ("undecided", {})
    off = sat(described, tensions, Sheet(dish_m=-1.2 * MM, radial_range_m=1.0 * MM))
    assert set(codes(off)) == {"dish-out", "radial-out", *({"balance-off"} & set(codes(off)))}
    assert off.verdict == "out"
    places = Sheet(lateral_m={number: (0.4 if number == 5 else -0.4) * MM for number in range(1, 37, 2)})
    assert set(codes(sat(described, tensions, places))) == {"lateral-out", "bent-rim"}
    few = Sheet(lateral_m={1: 0.9 * MM, 2: -0.9 * MM, 3: 0.0})
    assert codes(sat(described, tensions, few)) == {}  # three places are no turn
    tyre = sat(described, tensions, Sheet(state=WheelState("mounted", None)))
    assert "tyre-on" in codes(tyre)  # the sitting's state counts before the file's


def test_a_sheet_file_goes_round() -> None:
    described = wheel()
    sheet = Sheet(
        {1: 0.1 * MM, 36: -0.2 * MM}, {5: 0.3 * MM}, 0.4 * MM, None, -0.25 * MM, {}, 1.234, 0.0305, None, 'says "x"\n',
        WheelState("inflated", 300e3, "bike", "ridden", 25.0, True, (3, 7)),
    )  # fmt: skip
    assert parse_sheet(sheet_toml(sheet, described), "x.sheet.toml", described) == sheet
    table = parse_sheet("spoke,lateral_mm\n1,0.2\n2,-0.1\n", "x.csv", described)
    assert table.lateral_m == pytest.approx({1: 0.2 * MM, 2: -0.1 * MM})


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ("lateral_rang_mm = 1\n", "lateral_rang_mm: no such key here; .*lateral_range_mm"),
        ("dish_mm = 80\n", "dish_mm: 80 given"),
        ("[spoke.40]\nlateral_mm = 1\n", "no spoke 40 in this wheel; allowed: 1 to 36"),
        ("[spoke.x]\nlateral_mm = 1\n", "no spoke 0 in this wheel"),
        ("[spoke.4]\ntwist_deg = 1\n", "spoke 4, which is round"),
        ("[spoke.4]\ntwist = 1\n", "no such key here; .*twist_deg"),
        ('wheel = "another"\n', "is the sheet of 'another'"),
        ("dish_mm = \n", "no valid TOML"),
    ],
)
def test_bad_sheets(text: str, message: str) -> None:
    with pytest.raises(InputError, match=message):
        parse_sheet(text, "x.sheet.toml", wheel())


@pytest.mark.parametrize(
    ("more", "message"),
    [
        ("[state]\nbroken = [37]\n", "37 given; the wheel has spokes 1 to 36"),
        ('[limits]\ngrade = "good"\nevenness_percent = 5\n', "given beside evenness_percent"),
        ('[limits]\ngrade = "super"\n', "allowed: 'fine', 'good' or 'wide'"),
    ],
)
def test_bad_limits_and_state(more: str, message: str) -> None:
    with pytest.raises(WheelFileError, match=message):
        wheel(more=more)


@pytest.mark.parametrize(("grade", "percent"), [("fine", 5.0), ("good", 10.0), ("wide", 20.0)])
def test_grades(grade: str, percent: float) -> None:
    assert wheel(more=f'[limits]\ngrade = "{grade}"\n').limits.evenness_percent == percent


def test_risks_of_the_file_count() -> None:
    described = wheel()
    tensions = changed(balanced(described), lambda n, v: 1.0425 * v if n == 9 else v)
    strict = wheel(more="[limits]\nconsumer_risk_percent = 0.1\n")
    guarded = wheel(more="[limits]\nguard_band_u = 3\n")
    assert sat(described, tensions).verdict == "within"
    assert sat(strict, tensions).verdict == "undecided"
    assert sat(guarded, tensions).verdict == "undecided"


def test_titanium_is_cautioned_as_a_note() -> None:
    text = WHEEL.replace("steel-round-2.0", "titanium-round-2.0")
    described = parse_wheel(filled(text), "titanium.toml")
    found = sat(described, balanced(described))
    assert (found.verdict, codes(found)) == ("within", {"brittle-material": ()})
    assert "titanium spokes" in found.findings[0].text


def test_unevenness_without_order_is_no_pattern() -> None:
    """Wheels scattered by 4 % are uneven, and no wave, zigzag or mixture is read into that."""
    described = wheel()
    told = []
    for seed in range(60):
        scattered = np.random.default_rng(seed).normal(0, 0.04, 36)
        found = sat(described, changed(balanced(described, 1000.0), lambda n, v: v * (1 + scattered[n - 1])))  # noqa: B023
        told += [code for code in codes(found) if code in ("zigzag", "slow-wave", "mixed-spokes", "lacing-disagrees")]
    assert told == []
