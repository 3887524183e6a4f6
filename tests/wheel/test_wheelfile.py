"""The wheel file: what each key becomes, and the one line each slip is told in."""

import math

import pytest
from wheel_texts import SHORT, WHOLE, changed

from tensionear.errors import WheelFileError
from tensionear.wheel.lines import line_of
from tensionear.wheel.model import in_words
from tensionear.wheel.wheelfile import is_number, parse_wheel, problem_with


def told(text: str) -> str:
    with pytest.raises(WheelFileError) as caught:
        parse_wheel(text, "quarry.toml")
    message = str(caught.value)
    assert len(message.splitlines()) == 1
    assert message.startswith("quarry.toml")
    assert caught.value.exit_code == 2
    return message


def test_every_key_arrives():
    wheel = parse_wheel(WHOLE, "quarry.toml")
    assert (wheel.name, wheel.spokes) == ("Quarry trailer, left", 28)
    assert [place.label for place in wheel.places[:4]] == ["R1", "L1", "R2", "L2"]
    first, second, third, fourth = wheel.places[:4]
    assert (first.side, second.side) == ("right", "left")
    assert first.spoke.name == "steel-butted-2.0-1.8"
    assert first.free_length_m == pytest.approx(0.254)
    assert (first.u_length_m, second.u_length_m) == pytest.approx((0.0004, 0.001))  # measured, computed
    assert (first.head, second.head, fourth.head) == ("elbow", "straight", "elbow")
    assert (first.crossing, second.crossing) == ("touching", "apart")
    assert third.leave_out == "replaced on the road"
    assert third.spoke.name == "steel-round-2.0"
    assert fourth.free_length_m == pytest.approx(0.2405)
    assert (first.leave_out, fourth.leave_out) == (None, None)
    right, left = wheel.sides["right"], wheel.sides["left"]
    assert right.numbers == tuple(range(1, 29, 2))
    assert (right.target_n, left.target_n) == (1100, None)
    assert (right.crosses, left.crosses, right.first_runs, left.first_runs) == (3, 0, "clockwise", None)
    assert (right.hub_circle_diameter_m, right.flange_offset_m) == pytest.approx((0.058, 0.020))
    assert wheel.rim.stiffness is not None
    assert wheel.rim.stiffness.ea_n == 7.0e6
    assert (wheel.rim.seat_diameter_m, wheel.rim.seat_offset_m) == pytest.approx((0.545, -0.0015))
    assert (wheel.nipple.pitch_m, wheel.nipple.tip_m) == pytest.approx((0.4536e-3, 0.009))
    limits = wheel.limits
    assert (limits.evenness_percent, limits.floor_n, limits.max_tension_n) == (8, 350, 1200)  # the lowest of three
    assert (limits.lateral_m, limits.radial_m, limits.dish_m) == pytest.approx((0.0004, 0.0006, 0.0007))
    assert (wheel.state.tyre, wheel.state.pressure_pa) == ("inflated", 300e3)
    blade = second.spoke
    assert blade.material.youngs_modulus_pa == 150e9
    assert blade.density_kg_m3 == pytest.approx(2.61e-3 / (4.4e-3 * 1.3e-3 * 0.271))
    assert (blade.u_width_percent, blade.u_thickness_percent, blade.u_weighed_kg) == (0.7, 1.0, 5e-5)


def test_what_is_left_out_gets_the_stated_defaults():
    wheel = parse_wheel(SHORT, "loft.toml")
    assert [place.label for place in wheel.places] == [f"R{number}" for number in range(1, 21)]
    assert list(wheel.sides) == ["right"]
    place = wheel.place(20)
    assert (place.u_length_m, place.head, place.crossing, place.line, place.meets) == (
        0.0005,
        "elbow",
        None,
        None,
        None,
    )
    assert (wheel.nipple.pitch_m, wheel.nipple.tip_m) == pytest.approx((0.4536e-3, 0.010))
    limits = wheel.limits
    assert (limits.evenness_percent, limits.floor_n, limits.max_tension_n) == (5, None, None)
    assert (limits.lateral_m, limits.radial_m, limits.dish_m) == (0.0005, 0.0005, 0.0005)
    assert (wheel.rim.seat_diameter_m, wheel.rim.stiffness) == (None, None)
    assert (wheel.state.tyre, wheel.state.pressure_pa) == ("none", None)
    assert wheel.warnings == ()
    with pytest.raises(IndexError):
        wheel.place(21)
    with pytest.raises(IndexError):
        wheel.place(0)


def test_a_byte_order_mark_is_no_error():
    assert parse_wheel("\ufeff" + SHORT, "loft.toml").name == "Loft find"


def test_two_to_one_sides():
    text = changed('sides = "R"', 'sides = "RLR"', SHORT).replace("spokes = 20", "spokes = 24")
    wheel = parse_wheel(text + '[left]\nspoke = "steel-round-1.8"\nfree_length_mm = 272\n', "loft.toml")
    assert [place.label for place in wheel.places[:6]] == ["R1", "L1", "R2", "R3", "L2", "R4"]
    assert len(wheel.sides["right"].numbers) == 2 * len(wheel.sides["left"].numbers) == 16


def test_free_length_from_the_geometry_is_the_seat_distance_less_the_tip():
    """The textbook length: l^2 = R^2 + r^2 + f^2 - 2 R r cos(turn); the left side is radial, seats 1.5 mm nearer."""
    wheel = parse_wheel(WHOLE, "quarry.toml")
    seat, circle, flange = 0.2725, 0.027, 0.034 - 0.0015
    assert wheel.place(2).free_length_m == pytest.approx(math.hypot(seat - circle, flange) - 0.009, abs=1e-9)
    assert wheel.place(2).meets is None


def test_stated_length_wins_and_a_disagreement_is_a_warning():
    computed = parse_wheel(changed("free_length_mm = 254.0\n", ""), "q").place(1).free_length_m * 1e3
    near = parse_wheel(changed("free_length_mm = 254.0", f"free_length_mm = {computed + 2.9}"), "q")
    far = parse_wheel(changed("free_length_mm = 254.0", f"free_length_mm = {computed + 3.1}"), "q")
    assert near.warnings == ()
    assert [warning.code for warning in far.warnings] == ["length-disagrees"]
    assert far.warnings[0].spokes == far.sides["right"].numbers
    assert f"{computed:.1f}" in far.warnings[0].text
    assert far.place(1).free_length_m * 1e3 == pytest.approx(computed + 3.1)


def test_crossing_partners_are_mutual_and_of_the_other_sense():
    wheel = parse_wheel(WHOLE, "quarry.toml")
    for number in wheel.sides["right"].numbers:
        place = wheel.place(number)
        partner = wheel.place(place.meets.partner)
        assert partner.meets.partner == number
        assert {place.line.runs, partner.line.runs} == {"clockwise", "counterclockwise"}
        assert partner.meets.from_hub_m == pytest.approx(place.meets.from_hub_m)


def test_without_first_runs_no_partner_and_no_sense_is_claimed():
    known = parse_wheel(WHOLE, "q").place(1)
    unknown = parse_wheel(changed('first_runs = "clockwise"\n', ""), "q").place(1)
    assert (unknown.meets.partner, unknown.line.runs) == (None, None)
    assert unknown.meets.from_hub_m == pytest.approx(known.meets.from_hub_m)


@pytest.mark.parametrize("word", ["counterclockwise", "counter-clockwise", "anticlockwise"])
def test_words_for_the_other_sense(word):
    wheel = parse_wheel(changed('"clockwise"', f'"{word}"'), "q")
    assert wheel.place(1).line.runs == "counterclockwise"


def test_own_rim_stiffness():
    own = "ea_n = 6e6\nei_radial_n_m2 = 100\nei_lateral_n_m2 = 300\ngj_n_m2 = 50"
    rim = parse_wheel(changed('stiffness = "alloy-box"', own), "q").rim.stiffness
    assert (rim.name, rim.ea_n, rim.ei_radial_n_m2, rim.ei_lateral_n_m2, rim.gj_n_m2) == ("own", 6e6, 100, 300, 50)
    assert 1.0 < rim.u_factor < 1.35


def test_own_butted_and_flat_with_round_ends():
    text = (
        SHORT.replace("steel-round-2.0", "attic")
        + '[spokes.attic]\nmaterial = "titanium"\nshape = "{}"\nend_diameter_mm = 2.0\nhead_mm = 30\ntail_mm = 20\n'
    )
    butted = parse_wheel(text.format("butted") + "middle_diameter_mm = 1.6\n", "q").place(1).spoke
    assert (butted.middle.width_m, butted.ends.width_m, butted.head_m, butted.tail_m) == pytest.approx(
        (0.0016, 0.002, 0.030, 0.020)
    )
    oval = parse_wheel(text.format("oval") + "width_mm = 2.3\nthickness_mm = 1\n", "q").place(1).spoke
    assert (oval.middle.shape, oval.ends.shape, oval.is_flat) == ("oval", "round", True)


# What is changed, and what the one line must say: line number, key, what was given, what is allowed or to do.
SLIPS = [
    ("format = 1", "format = 2", "line 1: format: 2 given; this program reads format = 1"),
    ("format = 1\n", "", "quarry.toml: format: missing; add it"),
    ('name = "Quarry trailer, left"', 'name = ""', "line 2: name: an empty text given"),
    ("spokes = 28", "spokes = 0", r"line 4: [lacing] spokes: 0 given; allowed: from 1 to 200"),
    ("spokes = 28", "spokes = 27", "line 5: [lacing] sides: 'RL' (2 spokes) given; the pattern must divide 27"),
    ("spokes = 28", "spokes = 28.0", "[lacing] spokes: 28.0 given; write a whole number"),
    ("spokes = 28", "spokes = true", "[lacing] spokes: true given; write a whole number"),
    ("spokes = 28", "spokse = 28", "line 4: [lacing] spokse: no such key here; nearest: spokes"),
    ('sides = "RL"', 'sides = "RX"', "line 5: [lacing] sides: 'RX' given; allowed: R and L"),
    ('sides = "RL"', 'sides = "R"', "[left]: given, but [lacing] sides = 'R' has no spoke there"),
    ("[left]", "[lefd]", "[lefd]: no such key here; nearest: left"),
    ("[left]", "[limits]", "no valid TOML"),
    (
        "free_length_mm = 254.0",
        "free_lenght_mm = 254.0",
        "line 15: [right] free_lenght_mm: no such key here; nearest: free_length_mm",
    ),
    (
        "free_length_mm = 254.0",
        "free_length_mm = -254.0",
        "line 15: [right] free_length_mm: -254.0 given; allowed: from 50 to 800",
    ),
    (
        "free_length_mm = 254.0",
        "free_length_mm = 0.254",
        "allowed: from 50 to 800; check the digits and the unit in the key's name",
    ),
    ("free_length_mm = 254.0", "free_length_mm = nan", "[right] free_length_mm: nan given; write a finite number"),
    ("free_length_mm = 254.0", "free_length_mm = -inf", "[right] free_length_mm: -inf given; write a finite number"),
    ("free_length_mm = 254.0", "free_length_mm = 1e400", "write a finite number"),
    ("free_length_mm = 254.0", 'free_length_mm = "254"', "'254' given; write a number"),
    ("free_length_mm = 254.0", "free_length_mm = [254.0]", "a list given; write a number"),
    ("free_length_mm = 254.0", "free_length_mm = {a = 1}", "a table given; write a number"),
    ("free_length_mm = 254.0", f'free_length_mm = "{"x" * 90}"', "... given; write a number"),
    ("u_length_mm = 0.4", "u_length_mm = 0", "[right] u_length_mm: 0 given; allowed: above 0 to 20"),
    ("crosses = 3", "crosses = 5", "[right] crosses: 5 given; allowed: from 0 to 4"),
    ("crosses = 3", "crosses = 4", "[right] crosses: 4 given; 14 spokes on the side cannot be laced so"),
    ("crosses = 3", "crosses = 0", "[right] crossing: 'touching' given with crosses = 0"),
    ('"clockwise"', '"up"', "[right] first_runs: 'up' given; allowed: 'clockwise', 'counterclockwise'"),
    ('head = "elbow"', 'head = "hook"', "[right] head: 'hook' given; allowed: 'elbow' or 'straight'"),
    ('"touching"', '"near"', "allowed: 'apart', 'touching', 'pinched' or 'tied'"),
    ("steel-butted-2.0-1.8", "stel-butted-2.0-1.8", "line 14: [right] spoke: no spoke 'stel-butted-2.0-1.8'"),
    ('spoke = "yard-blade"', 'spoke = "yard-blad"', "nearest: yard-blade"),
    ('spoke = "yard-blade"', 'spoke = ""', "line 25: [left] spoke: an empty text given"),
    ('"alloy-box"', '"alloybox"', "[rim] stiffness: no rim class 'alloybox'; nearest: alloy-box"),
    ('stiffness = "alloy-box"', "ea_n = 6e6", "[rim] ei_radial_n_m2: missing; own stiffness needs all of"),
    ('stiffness = "alloy-box"', 'stiffness = "alloy-box"\ngj_n_m2 = 6', "given beside gj_n_m2; keep the class or"),
    ('tyre = "inflated"', 'tyre = "mounted"', "[state] pressure_kpa: given with tyre = 'mounted'"),
    ("[spoke.3]", "[spoke.29]", "[spoke.29]: no spoke '29' in this wheel; allowed: 1 to 28"),
    ("[spoke.3]", "[spoke.R2]", "[spoke.R2]: no spoke 'R2' in this wheel"),
    ("[spoke.3]", "[spoke]", "put the keys under a header of their own, [spoke.NUMBER]"),
    ("[spokes.yard-blade]", "[spokes]", "put the keys under a header of their own, [spokes.NAME]"),
    ("[hub]\nmax_tension_n = 1250", "hub = 3", "[rim] hub: no such key here"),
    ('spoke = "steel-round-2.0"', 'spoke = "oak"', "[spoke.3] spoke: no spoke 'oak'"),
    (
        'leave_out = "replaced on the road"',
        "leave_out = true",
        "[spoke.3] leave_out: true given; write a text in quotes",
    ),
    ('material = "carbon"', 'material = "wood"', "[spokes.yard-blade] material: 'wood' given; allowed: 'steel'"),
    ("width_mm = 4.4", "width_mm = 1.0", "[spokes.yard-blade] width_mm: 1 given, less than thickness_mm = 1.3"),
    ("width_mm = 4.4\n", "", "[spokes.yard-blade] width_mm: missing; shape = 'blade' needs width_mm, thickness_mm"),
    ("width_mm = 4.4", "diameter_mm = 4.4", "diameter_mm: does not belong to shape = 'blade'; allowed: width_mm"),
    ("width_mm = 4.4", "width_mm = 4.4\nhead_mm = 20", "end_diameter_mm: missing; round ends need all of"),
    ("mass_g = 2.61\n", "", "mass_g: missing; whole_length_mm means nothing without it"),
    ("whole_length_mm = 271.0\n", "", "whole_length_mm: missing; mass_g means nothing without it"),
    ("whole_length_mm = 271.0", "whole_length_mm = 231.0", "[left] spoke: yard-blade is 231.0 mm long as a whole"),
    ("free_length_mm = 240.5", "free_length_mm = 280.5", "[spoke.4]: yard-blade is 271.0 mm long as a whole"),
    (
        "free_length_mm = 254.0",
        "free_length_mm = 50",
        "the thick ends of steel-butted-2.0-1.8 (50 mm) do not fit the free length of 50.0 mm",
    ),
    ("seat_diameter_mm = 545.0\n", "", "[left] free_length_mm: missing; state it"),
    ("flange_offset_mm = 34.0\n", "", "or add [left] flange_offset_mm to have it computed"),
]


@pytest.mark.parametrize(("old", "new", "says"), SLIPS, ids=[f"{old[:20]}->{new[:24]}" for old, new, _ in SLIPS])
def test_a_slip_is_told_in_one_line(old, new, says):
    assert says in told(changed(old, new))


def test_a_side_without_its_table():
    assert "[left]: missing; [lacing] sides = 'RL' puts 10 spokes there" in told(changed('"R"', '"RL"', SHORT))


def test_crossed_lacing_needs_an_even_number():
    text = SHORT.replace("spokes = 20", "spokes = 21") + "crosses = 2\n"
    assert "2 given for 21 spokes on the side; crossed lacing needs an even number" in told(text)


def test_too_many_crosses_are_refused_even_without_the_hub():
    assert "cannot be laced so" in told(SHORT.replace("spokes = 20", "spokes = 12") + "crosses = 4\n")


def test_lacing_that_only_the_flange_forbids():
    text = changed("crosses = 3", "crosses = 3").replace(
        "hub_circle_diameter_mm = 58.0", "hub_circle_diameter_mm = 200.0"
    )
    assert "cannot be laced so" in told(text)


def test_weighed_spoke_shorter_than_its_ends():
    own = '[spokes.a]\nmaterial = "steel"\nshape = "butted"\nend_diameter_mm = 2\nmiddle_diameter_mm = 1.8\n'
    text = SHORT + own + "head_mm = 40\ntail_mm = 40\nmass_g = 3\nwhole_length_mm = 80\n"
    assert "whole_length_mm: 80 given, not more than head_mm + tail_mm = 80" in told(text)


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("format = \n", "quarry.toml, line 1: no valid TOML: Invalid value"),
        ("a = 1\n[right\n", "line 2: no valid TOML"),
        ("\x00", "no valid TOML"),
        ("a = " + "[" * 4000, "nested too deeply"),
        ("a = " + "1" * 5000, "thousands of digits"),
        ("a = 1\na = 2\n", "no valid TOML: Cannot overwrite a value"),
        ('"a\\nb" = 1\n', "no such key here"),
        ("", "format: missing"),
        (
            'format = 1\nname = "x"\nright = 3\n[lacing]\nspokes = 4\nsides = "R"\n',
            "line 3: [right]: 3 given; write a table",
        ),
    ],
)
def test_what_is_no_wheel_file_at_all(text, says):
    assert says in told(text)


def test_problem_with_one_value():
    assert problem_with(("right", "crosses"), 3) is None
    assert "allowed: from 0 to 4" in problem_with(("right", "crosses"), 9)
    assert "write a number" in problem_with(("rim", "seat_diameter_mm"), "wide")
    assert problem_with(("name",), "x") is None
    assert is_number(("rim", "seat_diameter_mm"))
    assert is_number(("lacing", "spokes"))
    assert not is_number(("right", "spoke"))


def test_lines_are_found_under_their_header_only():
    text = '# spoke = 1\n[right]\nspoke = "a"\n\n[ "left" ]\nspoke = "b"\nx.y = 3\n'
    assert line_of(text, ("right", "spoke")) == 3
    assert line_of(text, ("left", "spoke")) == 6
    assert line_of(text, ("left", "x", "y")) == 7
    assert line_of(text, ("left", "absent")) == 5
    assert line_of(text, ("rim", "absent")) is None


@pytest.mark.parametrize(
    ("number", "words"),
    [
        (1, "1st"),
        (2, "2nd"),
        (3, "3rd"),
        (7, "7th"),
        (11, "11th"),
        (12, "12th"),
        (13, "13th"),
        (21, "21st"),
        (32, "32nd"),
    ],
)
def test_a_place_in_words(number, words):
    assert in_words(number) == f"{words} clockwise from the valve, seen from the right"
