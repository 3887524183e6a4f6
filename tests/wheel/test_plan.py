"""The turn plan: whole steps, limits at every step, what is left alone, what is expected, what a pass teaches."""

from __future__ import annotations

import dataclasses
import itertools
import json
import time

import numpy as np
import pytest

import tensionear as te
from benchmarks.simulator.untrue import UntrueWheel
from tensionear.errors import InputError, UsageError
from tensionear.wheel.kept import kept_pass
from tensionear.wheel.learning import rim_from_dict
from tensionear.wheel.plan import expect_turns, learn_rim, plan_turns
from tensionear.wheel.planoptions import PlanOptions
from tensionear.wheel.runout import run_out
from tensionear.wheel.stand import Readings, targets_n
from tensionear.wheel.turnorder import Limits, Way, walk
from tensionear.wheel.turnsearch import Problem, least_squares, relaxed, search
from tensionear.wheel.wheelfile import parse_wheel
from tensionear.wheel.windup import wind_up
from tests.wheel.turning import cart, prior, spoilt, text

SPOILING = {1: 0.375, 4: -0.25, 7: -0.5, 8: 0.25, 13: 0.25, 18: -0.375}


@pytest.fixture(scope="module")
def wheel():
    return cart()


@pytest.fixture(scope="module")
def read(wheel):
    return spoilt(wheel, SPOILING)


@pytest.fixture(scope="module")
def plan(wheel, read):
    return plan_turns(wheel, read.tensions_n, read.lateral_m, read.radial_m)


def test_exact_readings_of_known_turns_are_undone(plan):
    assert plan.turned() == {spoke: -size for spoke, size in SPOILING.items()}
    assert plan.quality.cost < 0.05 * plan.quality.before
    assert plan.quality.bound <= plan.quality.cost
    for side in ("right", "left"):
        assert plan.predicted.spread_percent[side].value < 2.5 < plan.present.spread_percent[side].value
    assert plan.predicted.lateral_m.value < 0.12e-3 < plan.present.lateral_m.value


def test_the_contract_of_the_json_form(plan):
    told = json.loads(json.dumps(plan.to_dict(), allow_nan=False))
    assert told["format"] == "tensionear.plan/1"
    assert [set(turn) for turn in told["turns"]] == [{"spoke", "label", "turns", "past_turns"}] * len(plan.turns)
    assert all(turn["turns"] and turn["turns"] * 8 == int(turn["turns"] * 8) for turn in told["turns"])
    predicted = told["predicted"]
    assert [one["spoke"] for one in predicted["spokes"]] == list(range(1, 21))
    assert all(one["tension_n"] > 0 and one["u_tension_n"] > 0 for one in predicted["spokes"])
    assert set(predicted["spread_percent"]) == set(predicted["u_spread_percent"]) == {"right", "left"}
    for name in ("lateral_mm", "radial_mm", "dish_mm"):
        assert isinstance(predicted[name], float)
        assert predicted[f"u_{name}"] > 0


def test_public_name_and_keywords(wheel, read):
    found = te.plan_turns(wheel, tensions_n=read.tensions_n, lateral_m={}, radial_m={}, dish_m=None)
    told = found.to_dict()["predicted"]
    assert told["lateral_mm"] is None
    assert told["u_radial_mm"] is None
    assert told["dish_mm"] is None


def test_the_same_readings_give_the_same_plan(wheel, read, plan):
    assert plan_turns(wheel, read.tensions_n, read.lateral_m, read.radial_m).turns == plan.turns


def test_turns_walk_round_from_the_valve(plan):
    spokes = [turn.spoke for turn in plan.turns]
    assert spokes == sorted(spokes)


def test_sixteenths_and_the_most(wheel, read):
    finer = plan_turns(wheel, read.tensions_n, read.lateral_m, options=PlanOptions(step_turns=1 / 16, most_turns=0.25))
    sizes = np.array(list(finer.turned().values()))
    assert np.all(np.abs(sizes) <= 0.25)
    assert np.all(sizes * 16 == np.rint(sizes * 16))
    assert np.max(np.abs(sizes)) == 0.25  # three quarters of the spoiling is beyond it


def test_seized_left_out_and_unread_nipples_stay(wheel, read):
    tensions = {spoke: value for spoke, value in read.tensions_n.items() if spoke != 4}
    left_out = parse_wheel(text() + '[spoke.8]\nleave_out = "replaced"\n', "cart")
    found = plan_turns(left_out, tensions, read.lateral_m, options=PlanOptions(seized=frozenset({7})))
    assert not {4, 7, 8} & set(found.turned())
    assert found.predicted.tension_n[4] is None
    assert any("L2: not read, so not turned" in note for note in found.notes)


def test_hidden_nipples_are_touched_less(wheel, read):
    noisy = {spoke: value * (1 + 0.02 * np.sin(7.0 * spoke)) for spoke, value in read.tensions_n.items()}
    plain, hidden = (plan_turns(wheel, noisy, options=PlanOptions(hidden_nipples=each)) for each in (False, True))
    assert 0 < len(hidden.turned()) < len(plain.turned())


def test_latitude_at_the_joint(wheel, read):
    bump = dict(read.lateral_m)
    bump[10] += 0.4e-3
    bump[11] += 0.4e-3
    strict, lenient = (
        plan_turns(wheel, read.tensions_n, bump, options=PlanOptions(joint=joint)) for joint in (None, 10)
    )
    for side in ("right", "left"):
        assert lenient.predicted.spread_percent[side].value < strict.predicted.spread_percent[side].value + 0.2
    assert lenient.predicted.lateral_m.value > strict.predicted.lateral_m.value


def test_doubtful_readings_count_for_less(wheel):
    wrong = spoilt(wheel, {})
    tensions = {**wrong.tensions_n, 5: wrong.tensions_n[5] * 0.8}
    trusted = plan_turns(wheel, tensions, wrong.lateral_m, wrong.radial_m).turned()
    u = {5: 0.3 * tensions[5]}
    doubted = plan_turns(wheel, tensions, wrong.lateral_m, wrong.radial_m, options=PlanOptions(u_tensions_n=u))
    assert trusted.get(5, 0.0) >= 0.125
    assert doubted.turned().get(5, 0.0) == 0.0
    assert doubted.predicted.tension_n[5].value > tensions[5] * 1.1


def test_run_out_and_dish_alone(wheel, read):
    found = plan_turns(wheel, lateral_m=read.lateral_m, radial_m=read.radial_m)
    assert found.predicted.lateral_m.value < 0.5 * found.present.lateral_m.value
    assert all(one is None for one in found.predicted.tension_n.values())
    assert found.highest_n is None
    assert any("whether a spoke passes its maximum cannot be told" in note for note in found.notes)
    dish = plan_turns(wheel, dish_m=0.6e-3)
    assert abs(dish.predicted.dish_m.value) < 0.05e-3
    assert sum(size for spoke, size in dish.turned().items() if spoke % 2) < -1  # the right ones let go
    assert sum(size for spoke, size in dish.turned().items() if not spoke % 2) > 1


def test_run_out_at_some_places_only(wheel, read):
    some = {spoke: value for spoke, value in read.lateral_m.items() if spoke % 2}
    found = plan_turns(wheel, read.tensions_n, some)
    assert abs(found.present.lateral_m.value - np.ptp(list(read.lateral_m.values()))) < 0.1e-3
    assert found.predicted.lateral_m.value < 0.5 * found.present.lateral_m.value


def test_a_given_dish_frees_the_zero_of_the_lateral_readings(wheel, read):
    shifted = {spoke: value + 3e-3 for spoke, value in read.lateral_m.items()}
    found = plan_turns(wheel, read.tensions_n, shifted, dish_m=float(np.mean(list(read.lateral_m.values()))))
    assert abs(found.present.dish_m.value) < 0.2e-3


def steps_of(plan, wheel, tensions):
    """Tensions after each turn of a plan, by the nominal model, from the readings."""
    found = dict(tensions)
    yield found
    for turn in plan.turns:
        one = expect_turns(wheel, {turn.spoke: turn.turns}, Readings(found, {}, {}, None, {}))
        change = {spoke: one.predicted.tension_n[spoke].value - one.present.tension_n[spoke].value for spoke in found}
        found = {spoke: value + change[spoke] for spoke, value in found.items()}
        yield found


def test_over_the_maximum_and_under_the_floor_come_inside(wheel):
    read = spoilt(wheel, {5: 1.0, 6: -1.5, 15: 0.25})
    assert read.tensions_n[5] > 1250
    assert read.tensions_n[6] < 250
    found = plan_turns(wheel, read.tensions_n, read.lateral_m)
    assert all(turn.turns < 0 for turn in found.turns if turn.spoke == 5)
    assert all(turn.turns > 0 for turn in found.turns if turn.spoke == 6)
    assert found.predicted.tension_n[5].value < 1250
    assert found.predicted.tension_n[6].value > 250
    assert not found.left
    walked = list(steps_of(found, wheel, read.tensions_n))
    for before, after in itertools.pairwise(walked):
        for spoke, value in after.items():
            assert value <= max(1250.0, before[spoke] + 3.0)
            assert value >= min(250.0, before[spoke] - 3.0)


def test_bringing_a_slack_wheel_up_keeps_the_maximum():
    tight = parse_wheel(text().replace("target_n = 1000", "target_n = 1180"), "cart")
    even, _ = targets_n(tight, {})
    found = plan_turns(tight, {spoke: float(even[spoke - 1]) * 0.7 for spoke in range(1, 21)})
    assert not found.left
    sizes = np.array([found.turned().get(spoke, 0.0) for spoke in range(1, 21)])
    assert np.ptp(sizes[0::2]) <= 0.25  # all round, not half the rim at the cost of its place
    assert np.ptp(sizes[1::2]) <= 0.25
    assert sizes.min() >= 0.25
    assert found.highest_n < 1250
    assert max(one.value for one in found.predicted.tension_n.values()) < 1250


def test_the_order_puts_off_what_would_leave_the_limits():
    """Two neighbours, one near the maximum: the one to be loosened goes first though it comes second."""
    per_step = np.array([[10.0, -4.0], [-4.0, 10.0]])

    def way(first: float, second: float, ceiling: float) -> Way:
        none = np.zeros(2)
        return Way(np.array([first, second]), none, Limits(none, np.full(2, ceiling), none, none, 3.0), per_step)

    assert walk(way(100, 90, 106), np.array([1, 1])).done == ((1, 1), (0, 1))
    swapped = walk(way(104, 103, 106), np.array([1, -1]))
    assert swapped.left == ((0, 1), (1, -1))  # the first would push itself over, the second its neighbour
    assert swapped.done == ()
    parts = walk(way(80, 80, 100), np.array([2, 2]))
    assert parts.done == ((0, 2), (1, 2))
    parts = walk(way(80, 80, 104), np.array([3, 2]))  # three at once would be over
    assert not parts.left
    assert [sum(size for one, size in parts.done if one == which) for which in (0, 1)] == [3, 2]
    assert parts.highest_n <= 104
    outside = walk(way(110, 90, 104), np.array([-1, 0]))
    assert outside.done == ((0, -1),)  # moves inward, so it may


def test_what_is_not_known_of_the_rim_keeps_its_distance_on_the_way():
    """A step that may lead 4 N farther (one sigma) needs 12 N of room, or as much of it as the target leaves."""
    per_step, doubt, none = 10 * np.eye(2), 4 * np.eye(2), np.zeros(2)

    def done(room: float, doubts: tuple[np.ndarray, ...]) -> tuple[tuple[int, int], ...]:
        limits = Limits(none - np.inf, np.full(2, 111.0), none, np.full(2, room), 3.0)
        return walk(Way(np.array([90.0, 50.0]), none, limits, per_step, doubts), np.array([1, 1])).done

    assert done(20.0, ()) == ((0, 1), (1, 1))
    assert done(20.0, (doubt,)) == ((1, 1),)
    assert done(8.0, (doubt,)) == ((0, 1), (1, 1))


def small_problem(seed: int, touch: float) -> Problem:
    chance = np.random.default_rng(seed)
    return Problem(
        deviations=least_squares(chance.standard_normal((9, 5)), 3 * chance.standard_normal(9)),
        lowest=np.array([-2, -2, 0, -2, -2]),
        highest=np.array([2, 2, 2, 0, 2]),
        turn_cost=0.1,
        touch_cost=touch,
        answer=chance.standard_normal((5, 5)),
        watched=chance.standard_normal(5),
        floor=np.full(5, -2.0),
        ceiling=np.full(5, 2.5),
        scale=1.0,
    )


@pytest.mark.parametrize("seed", range(12))
@pytest.mark.parametrize("touch", [0.0, 1.0])
def test_the_search_finds_the_best_of_all(seed, touch):
    """Against every combination there is."""
    problem = small_problem(seed, touch)
    every = itertools.product(
        *(range(low, high + 1) for low, high in zip(problem.lowest, problem.highest, strict=True))
    )
    best = min(problem.cost(np.array(steps)) for steps in every)
    found = search(problem)
    assert found.cost == pytest.approx(best, rel=1e-9)
    assert found.cost == pytest.approx(problem.cost(found.steps))
    assert found.bound <= best + 1e-9


def test_the_quadratic_is_the_sum_of_squares():
    chance = np.random.default_rng(0)
    rows, offset, steps = chance.standard_normal((9, 5)), chance.standard_normal(9), np.array([1, -2, 0, 2, 1])
    assert least_squares(rows, offset).at(steps) == pytest.approx(np.sum((offset + rows @ steps) ** 2))


def test_the_bound_is_the_optimum_of_the_relaxed_problem():
    """Optimality of the broken steps: no small change in any direction is better."""
    problem = dataclasses.replace(small_problem(3, 0.5), floor=np.full(5, -np.inf), ceiling=np.full(5, np.inf))
    steps, bound = relaxed(problem)
    price = problem.turn_cost + problem.touch_cost / 2

    def cost(at):
        return problem.deviations.at(at) + price * np.abs(at).sum()

    assert cost(steps) == pytest.approx(bound)
    for direction in np.vstack([np.eye(5), -np.eye(5)]):
        assert cost(np.clip(steps + 1e-4 * direction, problem.lowest, problem.highest)) >= bound - 1e-9


def test_what_would_happen(wheel, read):
    found = expect_turns(wheel, {3: 0.25}, read)
    change = {
        spoke: found.predicted.tension_n[spoke].value - found.present.tension_n[spoke].value
        for spoke in read.tensions_n
    }
    assert change[3] > 50
    assert change[2] < -15
    assert change[4] < -5
    assert found.quality is None
    with pytest.raises(InputError, match="spoke 99 is to be turned, the wheel has 1 to 20"):
        expect_turns(wheel, {99: 0.25}, read)
    with pytest.raises(InputError, match="by 7 turns; allowed: -3 to 3"):
        expect_turns(wheel, {9: 7.0}, read)


def test_a_pass_teaches_the_rim(wheel):
    true = (0.3, -0.35, 0.4, -0.3)
    before, after = spoilt(wheel, SPOILING, true), spoilt(wheel, {}, true)
    undone = {spoke: -size for spoke, size in SPOILING.items()}
    found = learn_rim(wheel, before, after, undone)
    start = prior(wheel)
    u = np.sqrt(np.diag(found.covariance))
    assert np.all(u <= np.sqrt(np.diag(start.covariance)) + 1e-12)
    assert u[1] < 0.5 * np.sqrt(start.covariance[1, 1])  # radial bending is what tensions tell most of
    assert np.all(np.abs(found.log_factors - true) < 3 * u)
    assert abs(found.log_factors[1] - true[1]) < 0.15
    again = rim_from_dict(json.loads(json.dumps(found.to_dict())))
    assert again.log_factors == pytest.approx(found.log_factors)
    assert again.covariance == pytest.approx(found.covariance)


def test_readings_that_do_not_follow_teach_nothing(wheel, read):
    with pytest.raises(InputError, match="the new readings do not follow from the kept pass"):
        learn_rim(wheel, read, read, {spoke: -size for spoke, size in SPOILING.items()})


@pytest.mark.parametrize(
    "kept",
    [
        {},
        {"factors": {"ea_n": 1.0}, "covariance": []},
        {
            "factors": dict.fromkeys(("ea_n", "ei_radial_n_m2", "ei_lateral_n_m2", "gj_n_m2"), -1.0),
            "covariance": [[1.0] * 4] * 4,
        },
    ],
)
def test_a_kept_rim_that_is_none(kept):
    with pytest.raises(InputError, match="no table of four factors"):
        rim_from_dict(kept)


def test_a_plan_is_kept_and_comes_back(plan, read):
    back = kept_pass(json.loads(json.dumps(plan.to_dict())), "kept.json")
    assert back.turns == plan.turned()
    assert back.before.tensions_n == pytest.approx(read.tensions_n)
    assert back.before.lateral_m == pytest.approx(read.lateral_m)
    assert back.before.dish_m is None
    with pytest.raises(InputError, match=r"kept\.json is no plan; give the JSON file"):
        kept_pass({"format": "something"}, "kept.json")


def test_wind_up_rises_with_tension_and_thinness(wheel):
    thick, thin = wheel.place(1), wheel.place(2)
    pitch = wheel.nipple.pitch_m
    assert wind_up(thick, 1000.0, pitch).turns == pytest.approx(2 * wind_up(thick, 500.0, pitch).turns, rel=1e-9)
    assert wind_up(thin, 1000.0, pitch).turns > 1.3 * wind_up(thick, 1000.0, pitch).turns
    assert wind_up(thick, 1000.0, pitch).past_turns == 1 / 16
    assert wind_up(thin, 1200.0, pitch).past_turns == 1 / 8
    assert wind_up(thick, 100.0, pitch).past_turns == 0.0


def test_targets(wheel):
    targets, notes = targets_n(wheel, {})
    assert targets[0] == 1000
    assert targets[1] == pytest.approx(630, abs=10)  # what holds the rim in the middle
    assert notes == ()
    wished = parse_wheel(text().replace("[limits]", "target_n = 900\n[limits]"), "cart")
    targets, notes = targets_n(wished, {})
    assert targets[1] == pytest.approx(630, abs=10)
    assert "not its target of 900 N" in notes[0]
    silent = parse_wheel(text().replace("target_n = 1000\n", ""), "cart")
    targets, notes = targets_n(silent, {spoke: 800.0 if spoke % 2 else 504.0 for spoke in range(1, 21)})
    assert targets[0] == pytest.approx(800, rel=0.01)
    assert "the mean tension is kept" in notes[0]


def test_a_rim_not_described_is_assumed_and_said(read):
    unknown = parse_wheel(text().replace('stiffness = "alloy-box"\n', ""), "cart")
    found = plan_turns(unknown, read.tensions_n)
    assert any("the rim's stiffness is not stated" in note for note in found.notes)


@pytest.mark.parametrize(
    ("given", "match"),
    [
        ({}, "no readings given"),
        ({"tensions_n": {21: 900.0}}, "tensions_n: spoke 21 is given, the wheel has 1 to 20"),
        ({"tensions_n": {1: float("nan")}}, "tensions_n: spoke 1 is given nan N"),
        ({"tensions_n": {1: -5.0}}, "allowed: 1 to 10000 N"),
        ({"lateral_m": {1: 0.3}}, r"lateral_m: spoke 1 is given 0.3 m; allowed: -0.05 to 0.05 m"),
        ({"dish_m": 1.0}, "dish_m is 1 m; allowed"),
    ],
)
def test_readings_that_cannot_be_used(wheel, given, match):
    with pytest.raises(InputError, match=match):
        plan_turns(wheel, **given)


@pytest.mark.parametrize(
    ("options", "match"),
    [
        (PlanOptions(step_turns=0.0), "a step of 0 turns"),
        (PlanOptions(step_turns=0.3), "a step of 0.3 turns"),
        (PlanOptions(most_turns=0.01), "at most 0.01 turns"),
        (PlanOptions(most_turns=9.0), "at most 9 turns"),
        (PlanOptions(seized=frozenset({40})), "spoke 40 is given as left out; the wheel has 1 to 20"),
        (PlanOptions(joint=0), "spoke 0 is given as the rim's joint"),
    ],
)
def test_options_out_of_bounds(wheel, read, options, match):
    with pytest.raises(UsageError, match=match):
        plan_turns(wheel, read.tensions_n, options=options)


def test_run_out_tables():
    found = run_out("\ufeffspoke, lateral_mm, radial_mm\n1, 0.10, \n3, , -0.2\n", "r.csv")
    assert found.lateral_m == pytest.approx({1: 1e-4})
    assert found.radial_m == pytest.approx({3: -2e-4})


@pytest.mark.parametrize(
    ("table", "match"),
    [
        ("spoke\n1\n", "needed are spoke and at least one of lateral_mm, radial_mm"),
        ("spoke,lateral_mm\n", "a heading but no readings"),
        ("spoke,lateral_mm\n1,x\n", "line 2: lateral_mm is 'x'"),
        ("spoke,lateral_mm\n1,900\n", "lateral_mm is 900; allowed: -50 to 50 mm"),
        ("spoke,lateral_mm\n1.5,0\n", "spoke is '1.5'"),
        ("spoke,lateral_mm\n1,0\n1,0\n", "line 3: spoke 1 is there twice"),
    ],
)
def test_run_out_tables_that_are_none(table, match):
    with pytest.raises(InputError, match=match):
        run_out(table, "r.csv")


@pytest.mark.parametrize("seed", [5000, 5003])
def test_a_pass_on_a_wheel_of_the_frame_model(seed):
    """A badly built wheel with a rim nobody knows: one planned pass makes it even and true, on the way no spoke too tight."""
    bad = UntrueWheel(seed)
    described = parse_wheel(bad.toml(), "bench")
    tension, lateral, radial, dish = (
        dict(enumerate(map(float, row), 1)) if np.ndim(row) else float(row) for row in bad.read()
    )
    start = time.process_time()
    found = plan_turns(described, tension, lateral, radial, dish)
    assert time.process_time() - start <= 2.0
    first, outside = bad.state, bad.state.tension_n > described.limits.max_tension_n
    for turn in found.turns:
        bad.turn(turn.spoke - 1, turn.turns)
        assert np.all(bad.state.tension_n[~outside] <= described.limits.max_tension_n)
    assert max(bad.half_range(bad.state)) < min(10.0, 0.6 * max(bad.half_range(first)))
    assert np.ptp(bad.state.lateral_m) < min(0.5e-3, 0.6 * np.ptp(first.lateral_m))
    assert np.ptp(bad.state.radial_m) < 0.25e-3
    assert abs(bad.state.dish_m) < 0.1e-3
    inside = [
        abs(bad.state.tension_n[spoke - 1] - told.value) <= 1.96 * told.u
        for spoke, told in found.predicted.tension_n.items()
    ]
    assert np.mean(inside) > 0.85
