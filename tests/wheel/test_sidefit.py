"""A side's rings to tensions: what is shared, what is each spoke's own, and who is left out of the mean."""

from __future__ import annotations

import dataclasses
import math

import numpy as np
import pytest

from tensionear.physics.spoke import Spoke
from tensionear.pitch.lines import Heard, Line
from tensionear.wheel.model import Place
from tensionear.wheel.sidefit import Rings, SideTensions, fit_side
from tests.physics.drawn import BLADE, ROUND, U_LENGTH_M, Side, draw_side

LENGTH_M = 0.270
U_CENTS = 0.3


def place(number: int, spoke: Spoke = ROUND, head: str = "elbow", leave_out: str | None = None) -> Place:
    label = f"R{number // 2 + 1}"
    return Place(number, label, "right", spoke, LENGTH_M, U_LENGTH_M, head, "apart", leave_out, None, None)  # type: ignore[arg-type]


def heard(logs: np.ndarray, seed: int, modes: int = 6) -> Heard:
    """A ring with the first modes of both planes (ln f, shape (2, MODES)), each off by its uncertainty."""
    rng = np.random.default_rng(seed)
    lines = []
    for plane, mode in np.ndindex(2, modes):
        hz = float(np.exp(logs[plane, mode] + U_CENTS / 1731.2 * rng.normal()))
        lines.append(Line(hz, U_CENTS / 1731.2 * hz, 3.0, -20.0, plane, mode + 1, False))
    return Heard(tuple(lines), (), (None, None), 0.0, 0.0)  # type: ignore[arg-type]


def rung(side: Side, numbers: list[int], modes: int = 6) -> dict[int, Rings]:
    start = np.log(side.tension_n) + 0.1
    return {
        number: Rings((heard(logs, number, modes),), float(at))
        for number, logs, at in zip(numbers, side.log_frequency(), start, strict=True)
    }


NUMBERS = [1, 3, 5, 7, 9, 11, 13, 15]


def drawn(seed: int, spoke: Spoke = ROUND) -> Side:
    rng = np.random.default_rng(seed)
    return draw_side(rng, spoke, LENGTH_M, 900.0 * (1 + 0.06 * rng.normal(size=len(NUMBERS))))


@pytest.fixture(scope="module")
def side() -> Side:
    return drawn(5)


@pytest.fixture(scope="module")
def fitted(side: Side) -> SideTensions:
    return fit_side([place(number) for number in NUMBERS], rung(side, NUMBERS))


def test_every_spoke_comes_back(side: Side, fitted: SideTensions) -> None:
    assert list(fitted.spokes) == NUMBERS
    for number, truth in zip(NUMBERS, side.tension_n, strict=True):
        one = fitted.spokes[number]
        assert abs(one.tension_n - truth) < 3 * one.u_tension_n
        assert one.deviation == pytest.approx(truth / side.tension_n.mean() - 1, abs=3 * one.u_deviation)
        assert one.u_tension_n < 0.02 * truth
        assert one.misfit < 4
        assert 2.0 < one.sensitivity < 2.6
    assert abs(fitted.mean_n - side.tension_n.mean()) < 3 * fitted.u_mean_n


def test_parts_of_the_uncertainty_add_up(fitted: SideTensions) -> None:
    for one in fitted.spokes.values():
        low, high = one.interval_95_n
        assert low < one.tension_n < high
        assert one.u_tension_n == pytest.approx((high - low) / 2 / 1.959964, rel=1e-9)
        assert math.hypot(one.u_individual_n, one.u_common_n) == pytest.approx(one.u_tension_n)
        assert one.u_individual_n < 0.5 * one.u_common_n  # the making is shared
        assert one.u_deviation < 0.5 * one.u_tension_n / one.tension_n
    assert fitted.u_mean_n == pytest.approx(np.mean([one.u_common_n for one in fitted.spokes.values()]), rel=0.05)


def test_deviations_are_from_the_mean_of_the_side(fitted: SideTensions) -> None:
    assert sum(one.deviation for one in fitted.spokes.values()) == pytest.approx(0, abs=1e-9)
    assert fitted.mean_n == pytest.approx(np.mean([one.tension_n for one in fitted.spokes.values()]))


def test_a_spoke_left_out_is_read_but_counts_in_no_mean(side: Side) -> None:
    """Spoke 5 at half the tension."""
    tension_n = side.tension_n.copy()
    tension_n[2] *= 0.5
    slack = dataclasses.replace(side, tension_n=tension_n)
    places = [place(number, leave_out="replaced" if number == 5 else None) for number in NUMBERS]
    found = fit_side(places, rung(slack, NUMBERS))
    kept = [one for number, one in found.spokes.items() if number != 5]
    assert found.mean_n == pytest.approx(np.mean([one.tension_n for one in kept]))
    assert sum(one.deviation for one in kept) == pytest.approx(0, abs=1e-9)
    truth = tension_n[2] / np.delete(tension_n, 2).mean() - 1
    assert found.spokes[5].deviation == pytest.approx(truth, abs=0.01)


def test_where_all_are_left_out_the_mean_is_of_all(side: Side) -> None:
    found = fit_side([place(number, leave_out="spare") for number in NUMBERS], rung(side, NUMBERS))
    assert found.mean_n == pytest.approx(np.mean([one.tension_n for one in found.spokes.values()]))
    assert sum(one.deviation for one in found.spokes.values()) == pytest.approx(0, abs=1e-9)


def test_spokes_of_another_kind_or_head_are_a_group_of_their_own(side: Side) -> None:
    """Two blades among round spokes: their tension is theirs, their deviation is from the round ones' mean."""
    blades = draw_side(np.random.default_rng(8), BLADE, LENGTH_M, np.array([800.0, 1000.0]))
    rings = rung(side, NUMBERS) | rung(blades, [17, 19])
    places = [place(number) for number in NUMBERS] + [place(number, BLADE) for number in (17, 19)]
    found = fit_side(places, rings)
    mean = np.mean([found.spokes[number].tension_n for number in NUMBERS])
    for number, truth in ((17, 800.0), (19, 1000.0)):
        one = found.spokes[number]
        assert abs(one.tension_n - truth) < 3 * one.u_tension_n
        assert one.deviation == pytest.approx(one.tension_n / mean - 1, abs=0.002)
        assert one.u_deviation > 0.8 * one.u_tension_n / 1000  # nothing is shared with the others
    assert {each.plane for each in found.ends} == {"both"}
    other_head = [place(number, head="straight" if number == 15 else "elbow") for number in NUMBERS]
    alone = fit_side(other_head, rung(side, NUMBERS)).spokes[15]
    assert alone.u_deviation > 2 * found.spokes[15].u_deviation


def test_a_different_spoke_left_out_of_a_group_of_its_own_is_still_held_against_the_others(side: Side) -> None:
    places = [place(number, head="straight" if number == 15 else "elbow") for number in NUMBERS]
    places[0] = dataclasses.replace(places[0], leave_out="bent")
    found = fit_side(places, rung(side, NUMBERS))
    level = np.mean([found.spokes[number].tension_n for number in NUMBERS[1:-1]])
    assert found.spokes[15].deviation == pytest.approx(found.spokes[15].tension_n / level - 1, abs=0.002)


def test_doubt_about_the_pluck_moves_and_widens_one_spoke_alone(side: Side, fitted: SideTensions) -> None:
    """ln f 0.2 % higher with 0.3 % of doubt: tension by the sensitivity times that."""
    rings = rung(side, NUMBERS)
    rings[7] = dataclasses.replace(rings[7], shift=0.002, doubt=0.003)
    places = [place(number) for number in NUMBERS]
    found, plain = fit_side(places, rings).spokes, fitted.spokes
    s = plain[7].sensitivity
    assert found[7].tension_n == pytest.approx(plain[7].tension_n * math.exp(0.002 * s))
    assert found[7].deviation == pytest.approx((1 + plain[7].deviation) * math.exp(0.002 * s) - 1)
    assert found[7].u_individual_n == pytest.approx(
        math.hypot(plain[7].u_individual_n, 0.003 * s * plain[7].tension_n), rel=0.01
    )
    assert found[7].u_tension_n == pytest.approx(
        math.hypot(plain[7].u_tension_n, 0.003 * s * found[7].tension_n), rel=0.01
    )
    assert found[7].u_deviation == pytest.approx(
        math.hypot(plain[7].u_deviation, (1 + plain[7].deviation) * 0.003 * s), rel=0.01
    )
    assert found[9] == plain[9]


def test_ends_of_a_round_side(side: Side, fitted: SideTensions) -> None:
    assert [(each.end, each.plane) for each in fitted.ends] == [("hub", "both"), ("nipple", "both")]
    for each in fitted.ends:
        low, high = each.interval_95
        assert 0 < low < each.n_m_per_rad < high
    base = np.log([each.n_m_per_rad for each in fitted.ends])
    assert float(base.mean()) == pytest.approx(float(np.log(side.ends_n_m).mean()), abs=0.5)


def test_ends_of_a_flat_side_are_found_plane_by_plane() -> None:
    """Both ends alike in truth, so that which is which does not matter: the edge plane tells them well."""
    blades = drawn(6, BLADE)
    blades = dataclasses.replace(blades, ends_n_m=np.full_like(blades.ends_n_m, 30.0))
    found = fit_side([place(number, BLADE) for number in NUMBERS], rung(blades, NUMBERS))
    assert [(each.end, each.plane) for each in found.ends] == [
        ("hub", "flat"),
        ("nipple", "flat"),
        ("hub", "edge"),
        ("nipple", "edge"),
    ]
    for each in found.ends:
        assert each.interval_95[0] < 30.0 < each.interval_95[1]
    assert all(each.how == "found" for each in found.ends)


def test_ends_no_overtone_tells_of_are_assumed(side: Side) -> None:
    lone = dataclasses.replace(side, tension_n=side.tension_n[:1], ends_n_m=side.ends_n_m[:1])
    found = fit_side([place(1)], rung(lone, [1], modes=1))
    assert [each.how for each in found.ends] == ["assumed", "assumed"]
    assert all(each.interval_95[1] / each.interval_95[0] > 20 for each in found.ends)
    one = found.spokes[1]
    assert abs(one.tension_n - side.tension_n[0]) < 3 * one.u_tension_n
    assert 0.02 < one.u_tension_n / one.tension_n < 0.08
    assert (one.deviation, found.mean_n) == pytest.approx((0.0, one.tension_n))


def test_two_plucks_of_a_spoke_are_one_spoke(side: Side) -> None:
    rings = rung(side, NUMBERS)
    logs = side.log_frequency()[0]
    rings[1] = Rings((*rings[1].heard, heard(logs, 99)), rings[1].start_log_tension)
    found = fit_side([place(number) for number in NUMBERS], rings)
    assert abs(found.spokes[1].tension_n - side.tension_n[0]) < 3 * found.spokes[1].u_tension_n
    assert list(found.spokes) == NUMBERS
