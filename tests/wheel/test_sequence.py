"""Which pluck is which spoke: position first, with likeness, side and rhythm as evidence, and honest doubt."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field, replace

import numpy as np
import pytest

from tensionear.errors import UsageError
from tensionear.wheel.roundplan import RoundPlan, plan_round
from tensionear.wheel.sequence import Naming, name_plucks
from tensionear.wheel.sidegroups import groups_by_place, two_groups
from tensionear.wheel.struck import Struck

SPOKES = 16
SIDES = "RL" * (SPOKES // 2)
PLAN = plan_round(SPOKES, SIDES, 1, "rim", "cw", ())
ONE_SIDE_FIRST = plan_round(SPOKES, SIDES, 1, "right-then-left", "cw", ())
PARTIALS = np.array([1.0, 2.01, 3.05, 4.12, 5.26, 6.5])


@dataclass
class Hand:
    """Plucks spokes of a wheel whose sides sing a third apart; each spoke differs from its side by ``scatter_cents``."""

    scatter_cents: float = 60.0
    seed: int = 0
    gap_s: float = 0.8
    struck: list[Struck] = field(default_factory=list)
    clock_s: float = 1.0

    def __post_init__(self) -> None:
        self.random = np.random.default_rng(self.seed)
        middle = np.where(np.arange(SPOKES) % 2 == 0, 500.0, 400.0)
        self.pitch_hz = middle * 2 ** (self.random.normal(0, self.scatter_cents, SPOKES) / 1200)

    def pluck(self, *spokes: int, probability: float = 0.99, gap_s: float | None = None, stopped: bool = False) -> Hand:
        for spoke in spokes:
            self.strike(self.pitch_hz[spoke - 1] * PARTIALS, probability, gap_s, stopped)
        return self

    def knock(self, probability: float, gap_s: float = 0.4) -> Hand:
        """Lines of no spoke."""
        return self.strike(np.sort(self.random.uniform(150, 2500, 6)), probability, gap_s)

    def strike(self, line_hz: np.ndarray, probability: float, gap_s: float | None, stopped: bool = False) -> Hand:
        self.clock_s += (gap_s or self.gap_s) * float(np.exp(self.random.normal(0, 0.1)))
        heard = line_hz * 2 ** (self.random.normal(0, 0.6, len(line_hz)) / 1200)
        levels = -10.0 - 3.0 * np.arange(len(line_hz))
        pitch = float(heard[0])
        self.struck.append(Struck(self.clock_s, probability, heard, levels, pitch, 12.0 if stopped else 2.5))
        return self

    def named(self, plan: RoundPlan = PLAN) -> Naming:
        return name_plucks(self.struck, plan, {}, ())


def chances(naming: Naming, spoke: int) -> dict[int, float]:
    """The candidates of a spoke with their probabilities."""
    return {each.index: each.probability for each in naming.candidates[spoke]}


def spokes(first: int, last: int) -> Sequence[int]:
    return range(first, last + 1)


ALL = spokes(1, SPOKES)


def test_a_tidy_round() -> None:
    naming = Hand().pluck(*ALL).named()
    assert naming.spokes == tuple(ALL)
    assert all(naming.sure)
    assert min(naming.probability) > 0.95
    assert naming.candidates.keys() == set(ALL)
    assert (naming.closed, naming.cue, naming.warnings) == (False, False, ())


@pytest.mark.parametrize("plan", [PLAN, ONE_SIDE_FIRST])
def test_a_tidy_round_of_an_even_wheel_is_known_by_the_count(plan: RoundPlan) -> None:
    naming = Hand(scatter_cents=1.0).pluck(*plan.spokes).named(plan)
    assert naming.spokes == plan.spokes
    assert all(naming.sure)
    assert naming.warnings == ()


@pytest.mark.parametrize("plan", [PLAN, plan_round(SPOKES, None, 1, "rim", "cw", ())])
def test_repeats_are_merged(plan: RoundPlan) -> None:
    order = [1, 2, 3, 3, 4, 5, 6, 7, 8, 9, 9, 10, 11, 12, 13, 14, 15, 16, 16]
    naming = Hand().pluck(*order).named(plan)
    assert list(naming.spokes) == order
    assert all(naming.sure)
    assert {index for index, probability in chances(naming, 9).items() if probability > 0.95} == {9, 10}


def test_plucks_of_like_pitch_are_not_repeats_when_the_round_comes_out() -> None:
    """Spokes 5 and 7 sing alike, one after the other on their side: equal pitch alone merges nothing."""
    hand = Hand()
    hand.pitch_hz[6] = hand.pitch_hz[4]
    order = [*spokes(1, SPOKES)[::2], *spokes(2, SPOKES)[::2]]
    assert list(hand.pluck(*order).named(ONE_SIDE_FIRST).spokes) == order


def test_a_slack_spoke_is_not_sorted_onto_the_other_side() -> None:
    hand = Hand()
    hand.pitch_hz[6] = 396.0  # a right spoke that sings like a left one
    naming = hand.pluck(*spokes(1, 9), 9, *spokes(10, SPOKES)).named()
    assert naming.spokes[:9] == tuple(spokes(1, 9))
    assert naming.sure[6]


def test_a_lost_pluck_is_found_where_two_plucks_of_a_side_follow_each_other() -> None:
    naming = Hand().pluck(*spokes(1, 6), *spokes(8, SPOKES)).named()
    assert naming.spokes == (*spokes(1, 6), *spokes(8, SPOKES))
    assert naming.warnings[0].startswith("15 spokes plucked for 16: ")


def test_a_lost_pluck_that_nothing_tells_of_leaves_doubt() -> None:
    """Same pitch on both sides: where it was lost is anybody's guess, and the longest gap is the first suspect."""
    naming = one_sided().pluck(*spokes(1, 6)).pluck(8, gap_s=1.6).pluck(*spokes(9, SPOKES)).named()
    assert not any(naming.sure[4:12])
    assert "15 spokes plucked for 16: the longest gap is after spoke 6" in naming.warnings
    assert "labels are sure" in naming.warnings[1]
    assert chances(naming, 8).keys() >= {6, 7}


def test_an_extra_pluck_on_an_even_wheel_leaves_doubt_but_like_candidates() -> None:
    """Side by side nothing tells which spoke was plucked twice; only the change of sides is certain."""
    order = [1, 3, 5, 7, 7, 9, 11, 13, 15, *spokes(2, SPOKES)[::2]]
    naming = Hand(scatter_cents=0.5, seed=1).pluck(*order).named(ONE_SIDE_FIRST)
    assert not any(naming.sure)
    for place, spoke in enumerate(ONE_SIDE_FIRST.spokes):
        assert sum(chances(naming, spoke).values()) > 0.9
        assert {index for index, chance in chances(naming, spoke).items() if chance > 0.1} <= {place, place + 1}


@pytest.mark.parametrize(("apart_cents", "seen"), [(70.0, True), (0.0, False)])
def test_sides_that_overlap_are_told_by_their_places(apart_cents: float, seen: bool) -> None:
    """Sides that scatter by 100 cents and lie 70 apart overlap in pitch, but their places tell them."""
    hand = Hand(seed=2)
    hand.pitch_hz = 440.0 * 2 ** (np.repeat(np.linspace(-50, 50, SPOKES // 2), 2) / 1200)
    hand.pitch_hz[::2] *= 2 ** (apart_cents / 1200)
    struck = hand.pluck(*ALL).struck
    groups = groups_by_place(struck, PLAN, np.eye(SPOKES))
    assert (groups is not None) is seen
    if groups is not None:
        assert 1731.23 * (groups.high - groups.low) == pytest.approx(apart_cents, abs=15)


def test_where_sides_take_turns_even_an_even_wheel_is_told() -> None:
    order = [*spokes(1, 7), 7, *spokes(8, SPOKES)]
    naming = Hand(scatter_cents=1.0).pluck(*order).named()
    assert list(naming.spokes) == order
    assert all(naming.sure)


def test_a_repeat_whose_ring_was_stopped_is_told_even_on_an_even_wheel() -> None:
    def odds_of_repeat(stopped: bool) -> float:
        hand = Hand(scatter_cents=0.1, seed=1).pluck(1, 3, 5, 7).pluck(7, stopped=stopped)
        naming = hand.pluck(9, 11, 13, 15, *spokes(2, SPOKES)[::2]).named(ONE_SIDE_FIRST)
        chance = chances(naming, 7).get(4, 0.0)
        return chance / (1 - chance)

    assert odds_of_repeat(stopped=True) > 3 * odds_of_repeat(stopped=False)


def test_a_slip_is_a_repeat_not_the_next_spoke() -> None:
    order = [1, 3, 5, 7, 7, 9, 11, 13, 15, *spokes(2, SPOKES)[::2]]
    hand = Hand(scatter_cents=5.0).pluck(*order[:4]).pluck(7, gap_s=0.15).pluck(*order[5:])
    assert list(hand.named(ONE_SIDE_FIRST).spokes) == order


@pytest.mark.parametrize("probability", [0.02, 0.2, 0.4])
def test_knocks_are_strays(probability: float) -> None:
    hand = Hand().pluck(*spokes(1, 5)).knock(probability).pluck(*spokes(6, 11)).knock(probability)
    naming = hand.pluck(*spokes(12, SPOKES)).named()
    assert naming.spokes == (*spokes(1, 5), None, *spokes(6, 11), None, *spokes(12, SPOKES))
    assert not naming.sure[5]
    assert sum(naming.sure) == SPOKES


def test_what_sings_as_no_spoke_does_is_rather_a_stray() -> None:
    """Spoke 5 was plucked at most weakly: what is heard at its time is it only if it sings about as spokes of the wheel do."""

    def chance(pitch_hz: float) -> float:
        hand = one_sided().pluck(*spokes(1, 4)).strike(pitch_hz * PARTIALS, 0.05, None).pluck(*spokes(6, SPOKES))
        return 1 - chances(hand.named(), 5).get(4, 0.0)

    usual = float(one_sided().pitch_hz[4])
    assert chance(0.4 * usual) > 5 * chance(usual)


def test_no_hand_is_at_the_next_spoke_at_once() -> None:
    """Spoke 5 was lost; a sound like it soon after spoke 4 may be it, but not a tenth of a second after."""

    def chance(gap_s: float) -> float:
        hand = one_sided().pluck(*spokes(1, 4)).pluck(5, probability=0.3, gap_s=gap_s).pluck(*spokes(6, SPOKES))
        return chances(hand.named(), 5).get(4, 0.0)

    assert chance(0.5) > 0.9
    assert chance(0.12) < 0.6


def test_a_round_is_begun_where_it_was_said_to_begin() -> None:
    """One pluck was lost and nothing tells which: it was the first less probably than the fourth."""
    naming = one_sided().pluck(*spokes(1, 7), *spokes(9, SPOKES)).named()
    second, fourth, fifth = (chances(naming, spoke) for spoke in (2, 4, 5))
    assert second[0] < 0.5 * (fifth[3] - fourth.get(2, 0.0))


def one_sided() -> Hand:
    """A wheel with both sides at one pitch, so that only likeness and count tell."""
    hand = Hand(scatter_cents=50.0)
    hand.pitch_hz[1::2] *= 1.25
    return hand


def test_a_weak_pluck_is_a_spoke_if_the_round_needs_it_but_not_surely() -> None:
    hand = Hand().pluck(*spokes(1, 5)).pluck(6, probability=0.2).pluck(*spokes(7, SPOKES))
    naming = hand.named()
    assert naming.spokes == tuple(ALL)
    assert not naming.sure[5]
    assert all(naming.sure[:5] + naming.sure[6:])


def test_below_three_hundredths_nothing_is_looked_at() -> None:
    hand = Hand().pluck(*spokes(1, 5)).pluck(6, probability=0.029).pluck(*spokes(7, SPOKES))
    naming = hand.named()
    assert naming.spokes[5] is None
    assert "15 spokes plucked for 16: no pluck of spoke 6" in naming.warnings


def test_closed_lap() -> None:
    naming = Hand().pluck(*ALL, 1).named()
    assert naming.spokes == (*ALL, 1)
    assert naming.closed
    assert naming.sure[-1]


def test_a_closed_lap_whose_first_pluck_was_weak_is_not_shifted() -> None:
    """The last pluck is like the weak first one; without looking at that, 16 clear plucks would make 16 other spokes."""
    plan = plan_round(SPOKES, None, 1, "rim", "cw", ())
    naming = Hand().pluck(1, probability=0.3).pluck(*spokes(2, SPOKES), 1).named(plan)
    assert naming.spokes == (*ALL, 1)


def test_the_last_spoke_twice_is_no_closed_lap() -> None:
    naming = Hand().pluck(*ALL, SPOKES).named()
    assert naming.spokes == (*ALL, SPOKES)
    assert not naming.closed


def test_cue() -> None:
    naming = Hand().knock(0.1).knock(0.2, gap_s=0.3).pluck(*ALL).named()
    assert naming.cue
    assert naming.spokes == (None, None, *ALL)


def test_a_cue_that_sounds_like_plucks_is_none() -> None:
    """Knocks that set the spokes ringing may seem plucks; two of them before the first pluck are a cue all the same."""
    naming = one_sided().knock(0.8).knock(0.8, gap_s=0.3).pluck(*ALL).named()
    assert naming.cue
    assert naming.spokes == (None, None, *ALL)
    assert all(naming.sure[2:])


@pytest.mark.parametrize(("apart_s", "pause_s"), [(1.5, 0.8), (0.05, 0.8), (0.3, 5.0)])
def test_two_knocks_otherwise_are_no_cue(apart_s: float, pause_s: float) -> None:
    hand = Hand().knock(0.1).knock(0.2, gap_s=apart_s).pluck(1, gap_s=pause_s).pluck(*spokes(2, SPOKES))
    assert not hand.named().cue


def test_one_knock_is_no_cue() -> None:
    assert not Hand().knock(0.1).pluck(*ALL).named().cue


def test_the_build_of_the_wheel_tells_a_knock_at_the_start_from_the_first_pluck() -> None:
    """A knock taken for spoke 1 shifts the whole lap and swaps the sides; the wheel says which sings higher."""
    hand = Hand()
    hand.strike(hand.pitch_hz[1] * 2 ** (25 / 1200) * PARTIALS, 0.04, None).pluck(*spokes(1, 15))

    def chance_of_the_shift(higher: str | None) -> float:
        naming = hand.named(plan_round(SPOKES, SIDES, 1, "rim", "cw", (), higher))
        return chances(naming, 3).get(2, 0.0)

    assert chance_of_the_shift(None) > 0.95
    assert chance_of_the_shift("L") > 0.95
    assert chance_of_the_shift("R") < 0.85


@pytest.mark.parametrize("higher", ["right", "left"])
def test_either_side_may_sing_higher_and_the_round_start_anywhere(higher: str) -> None:
    hand = Hand()
    if higher == "left":
        hand.pitch_hz = np.roll(hand.pitch_hz, 1)
    order = [*spokes(6, SPOKES), *spokes(1, 5)]
    order.insert(4, order[3])
    assert list(hand.pluck(*order).named(plan_round(SPOKES, SIDES, 6, "rim", "cw", ())).spokes) == order


def test_assign_moves_everything_after_it() -> None:
    """One pluck lost on a wheel where nothing tells which; naming one pluck puts the rest right."""
    hand = one_sided().pluck(*spokes(1, 6), *spokes(8, SPOKES))
    naming = name_plucks(hand.struck, PLAN, {6: 6, 7: 8}, ())
    assert naming.spokes == (*spokes(1, 6), *spokes(8, SPOKES))
    assert all(naming.sure)


def test_assign_holds_against_all_evidence() -> None:
    hand = Hand().pluck(*ALL).knock(0.01)
    naming = name_plucks(hand.struck, PLAN, {2: 9, 17: 3}, ())
    assert (naming.spokes[1], naming.spokes[16]) == (9, 3)
    assert naming.sure[1]
    assert naming.sure[16]


def test_skip() -> None:
    hand = Hand().pluck(*spokes(1, 7)).pluck(7).pluck(*spokes(8, SPOKES))
    naming = name_plucks(hand.struck, PLAN, {}, {8})
    assert naming.spokes == (*spokes(1, 7), None, *spokes(8, SPOKES))
    assert naming.probability[7] == 0


def test_missing_spokes_are_not_waited_for() -> None:
    plan = plan_round(SPOKES, SIDES, 1, "rim", "cw", (5, 12))
    left = [spoke for spoke in ALL if spoke not in (5, 12)]
    naming = Hand().pluck(*left).named(plan)
    assert list(naming.spokes) == left
    assert all(naming.sure)
    assert naming.warnings == ()


def test_assigning_a_spoke_outside_the_round() -> None:
    plan = plan_round(SPOKES, SIDES, 1, "rim", "cw", (5,))
    with pytest.raises(UsageError, match="--assign 1=5: spoke 5 is not plucked in this round; check the number"):
        name_plucks(Hand().pluck(*ALL).struck, plan, {1: 5}, ())


@pytest.mark.parametrize("heard", [0, 1, 3])
def test_few_plucks(heard: int) -> None:
    naming = Hand().pluck(*spokes(1, heard)).named()
    assert naming.spokes == tuple(spokes(1, heard))
    assert len(naming.warnings) == min(heard, 1)


def test_a_round_broken_off_half_way() -> None:
    naming = Hand().pluck(*spokes(1, 5), 5, *spokes(6, 9)).named()
    assert naming.spokes == (*spokes(1, 5), *spokes(5, 9))
    assert all(naming.sure)
    assert naming.warnings == ("9 spokes plucked for 16: no pluck of spokes 10, 11, 12, 13, 14, 15 and 16",)


def test_a_pluck_without_pitch_or_lines_keeps_its_place() -> None:
    hand = Hand().pluck(*ALL)
    hand.struck[4] = replace(hand.struck[4], line_hz=np.zeros(0), line_level_db=np.zeros(0), pitch_hz=None)
    assert hand.named().spokes == tuple(ALL)


def test_probabilities_are_probabilities() -> None:
    hand = Hand(scatter_cents=3.0, seed=4).pluck(*spokes(1, 7), *spokes(7, 12), 12, *spokes(14, SPOKES)).knock(0.5)
    naming = hand.named()
    total = np.zeros(len(hand.struck))
    for found in naming.candidates.values():
        for each in found:
            assert 0 <= each.first <= each.probability + 1e-9 <= 1 + 2e-9
            total[each.index] += each.probability
        assert sum(each.first for each in found) < 1 + 1e-6
    assert np.all(total < 1 + 1e-6)
    assert np.all(total[:-1] > 0.9)


@pytest.mark.parametrize("scatter_cents", [1.0, 5.0, 60.0])
def test_sure_labels_are_right(scatter_cents: float) -> None:
    """Untidy hands over even and uneven wheels: what is called sure is, and on uneven wheels most is sure."""
    wrong = sure = total = 0
    for seed in range(12):
        hand = Hand(scatter_cents, seed)
        order = [spoke for spoke in ALL for _ in range(1 + int(hand.random.uniform() < 0.1))]
        lost = int(hand.random.integers(2, len(order) - 2))
        if seed % 3 == 0:
            del order[lost]
        naming = hand.pluck(*order).named()
        total += len(order)
        sure += sum(naming.sure)
        wrong += sum(one and name != true for one, name, true in zip(naming.sure, naming.spokes, order, strict=True))
    assert wrong == 0
    if scatter_cents > 50:
        assert sure > 0.9 * total


def test_more_plucks_than_a_round_can_hold_are_not_named() -> None:
    hand = Hand()
    for _ in range(12):
        hand.pluck(*range(1, SPOKES + 1))
    naming = name_plucks(hand.struck, PLAN, {}, ())
    assert set(naming.spokes) == {None}
    assert "more than one round" in naming.warnings[0]


@pytest.mark.parametrize("count", [20, 28, 36])
def test_one_bell_is_not_cut_in_two(count: int) -> None:
    """Pitches of one normal spread are one group; a median cut would make two of them with 2.4 widths between."""
    random = np.random.default_rng(count)
    found = [two_groups(np.log(500) + random.normal(0, 0.04, count)) for _ in range(40)]
    assert sum(each is not None for each in found) <= 10
    assert two_groups(np.log(500) + np.tile([0.0, 0.25], count // 2) + random.normal(0, 0.03, count)) is not None
