"""Which nipples to turn, how far and in what order, and what to expect of it. Pure; imports all of the wheel's mechanics."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace

import numpy as np

from tensionear.catalogue import RimClass, rim_classes
from tensionear.errors import InputError
from tensionear.wheel.firstsight import at_first_sight
from tensionear.wheel.forecast import forecast
from tensionear.wheel.learning import Answer, PassDone, RimKnowledge, answer_of, as_described, learnt
from tensionear.wheel.mechanics import Skeleton, skeleton_of
from tensionear.wheel.model import Wheel
from tensionear.wheel.planoptions import ALL_TURNS, PlanOptions, check_options
from tensionear.wheel.ringbeam import Floats
from tensionear.wheel.stand import Readings, Rows, Stand, rows_of, seen, stand_of, suppose, targets_n
from tensionear.wheel.turncost import problem_of
from tensionear.wheel.turnorder import Limits, Way, walk
from tensionear.wheel.turnplan import Quality, Turn, TurnPlan
from tensionear.wheel.turnsearch import search
from tensionear.wheel.windup import WindUp, wind_up

#: What a rim is taken for whose class is not stated, and one sigma of its figures then. Judgement, no source.
ASSUMED_RIM, ASSUMED_FACTOR = "alloy-box", 1.8
#: Guard band at the limits, in standard uncertainties of a tension (JCGM 106, 8.3.3: a safe verdict for each step).
GUARD_U = 3.0
STANDARD = PlanOptions()


def plan_turns(
    wheel: Wheel,
    tensions_n: Mapping[int, float] | None = None,
    lateral_m: Mapping[int, float] | None = None,
    radial_m: Mapping[int, float] | None = None,
    dish_m: float | None = None,
    options: PlanOptions = STANDARD,
) -> TurnPlan:
    """The turns that make a wheel even and true in one pass.

    Parameters
    ----------
    wheel : Wheel
        With seat diameter, hub circle, flange offset and crosses of each side.
    tensions_n, lateral_m, radial_m : mapping of int to float, optional
        Readings by spoke number, any of them, at any spokes; lateral + to the right from the plane midway between the
        locknuts, radial + outward from an arbitrary zero.
    dish_m : float, optional
        Mean lateral place; if given, the zero of ``lateral_m`` does not count.
    options : PlanOptions

    Returns
    -------
    TurnPlan

    Raises
    ------
    InputError
        Without any reading, for readings of spokes that do not exist, or a wheel file without the geometry.
    UsageError
        For options out of their bounds.

    Notes
    -----
    Whole steps minimise the expected sum of squares of every deviation over its tolerance and uncertainty, doubt about
    the rim included, plus turning and touching (`turncost.Weights`). A spoke over the maximum only loosens, one under
    the floor only tightens, and both are to come inside.
    """
    check_options(wheel, options)
    job = _job(
        wheel, Readings(tensions_n or {}, lateral_m or {}, radial_m or {}, dish_m, options.u_tensions_n), options
    )
    stand = job.stand
    problem = problem_of(wheel, stand, job.answer, job.limits.at(stand.u[0]), options)
    solution = search(problem)
    steps = solution.steps
    per_step = job.answer.nominal.tension_n * options.step_turns
    doubts = tuple(shift[: wheel.spokes] * options.step_turns for shift in job.answer.shifts)
    way = Way(stand.tension_n, stand.u[0], job.limits, per_step, doubts)
    order = walk(way, steps)
    turns = tuple((one, size * options.step_turns) for one, size in order.done)
    plan = job.told(turns, order.highest_n)
    quality = Quality(
        problem.cost(_summed(order.done, wheel.spokes)), problem.cost(np.zeros_like(steps)), solution.bound
    )
    left = tuple(job.turn(one, size * options.step_turns) for one, size in order.left)
    return replace(plan, left=left, quality=quality, notes=(*plan.notes, *_left_notes(left), *_limit_notes(plan)))


def expect_turns(
    wheel: Wheel, turns: Mapping[int, float], readings: Readings, options: PlanOptions = STANDARD
) -> TurnPlan:
    """What these turns (by spoke, + tightens, in the order given) would do; InputError for a spoke that does not exist."""
    for number, size in turns.items():
        if not 1 <= number <= wheel.spokes:
            raise InputError(
                f"spoke {number} is to be turned, the wheel has 1 to {wheel.spokes}; check the spoke numbers"
            )
        if not abs(size) <= ALL_TURNS:
            raise InputError(
                f"spoke {number} is to be turned by {size:g} turns; allowed: -{ALL_TURNS:g} to {ALL_TURNS:g} turns"
            )
    check_options(wheel, options)
    job = _job(wheel, readings, options)
    stand = job.stand
    order = tuple((number - 1, size) for number, size in turns.items())
    steps = np.array([size * job.answer.nominal.tension_n[:, one] for one, size in order]).reshape(-1, wheel.spokes)
    tension = stand.tension_n + np.cumsum(steps, axis=0)
    plan = job.told(order, float(max(np.max(tension, initial=0.0), stand.tension_n.max())))
    return replace(plan, notes=(*plan.notes, *_limit_notes(plan)))


def learn_rim(
    wheel: Wheel, before: Readings, after: Readings, turns: Mapping[int, float], known: RimKnowledge | None = None
) -> RimKnowledge:
    """What the readings before and after a pass of these turns (by spoke) teach of the rim's stiffness.

    ``known`` is what was known before; None: what the wheel file states.
    """
    first, then = rows_of(wheel, before), rows_of(wheel, after)
    stiffness, _ = _stiffness(wheel)
    target, _ = targets_n(wheel, before.tensions_n)
    middle = (_held(first, target) + _held(then, target)) / 2
    size = np.array([turns.get(place.number, 0.0) for place in wheel.places])
    wound = [wind_up(place, float(middle[place.number - 1]), wheel.nipple.pitch_m) for place in wheel.places]
    left = np.array([each.left_behind_turns for each in wound]) * (size != 0)
    done = PassDone(middle, then.values - first.values, np.hypot(first.u, then.u), size, left)
    return learnt(skeleton_of(wheel, stiffness), known or as_described(stiffness), done)


def _held(rows: Rows, target_n: Floats) -> Floats:
    """Tensions as read, the target where not."""
    return np.where(rows.read[0], rows.values[: len(target_n)], target_n)


@dataclass(frozen=True, slots=True, eq=False)
class _Job:
    """A wheel as it stands, how it answers, and the limits on the way."""

    wheel: Wheel
    stand: Stand
    answer: Answer
    limits: Limits
    rim: RimKnowledge
    readings: Readings
    notes: tuple[str, ...]

    def turn(self, one: int, size: float) -> Turn:
        """A turn told by spoke and label, with its wind-up."""
        place = self.wheel.places[one]
        return Turn(place.number, place.label, size, self.wound(one).past_turns)

    def wound(self, one: int) -> WindUp:
        """Wind-up of a spoke at the tension it is turned at."""
        held = (self.stand.tension_n[one] + self.stand.target_n[one]) / 2
        return wind_up(self.wheel.places[one], float(held), self.wheel.nipple.pitch_m)

    def told(self, order: tuple[tuple[int, float], ...], highest_n: float) -> TurnPlan:
        """The turns with all that is expected of them."""
        wheel, stand = self.wheel, self.stand
        size = np.zeros(wheel.spokes)
        for one, by in order:
            size[one] += by
        left = np.array([self.wound(one).left_behind_turns if size[one] else 0.0 for one in range(wheel.spokes)])
        sides = {str(name): side.numbers for name, side in wheel.sides.items()}
        nothing = np.zeros_like(size)
        return TurnPlan(
            title=wheel.name,
            labels={place.number: place.label for place in wheel.places},
            sides=sides,
            turns=tuple(self.turn(one, by) for one, by in order),
            predicted=forecast(stand, self.answer, sides, size, left),
            present=forecast(stand, self.answer, sides, nothing, nothing),
            target_n={place.number: float(stand.target_n[place.number - 1]) for place in wheel.places},
            max_tension_n=wheel.limits.max_tension_n,
            floor_n=wheel.limits.floor_n,
            highest_n=highest_n if bool(stand.read[0].all()) else None,
            left=(),
            notes=self.notes,
            quality=None,
            rim=self.rim,
            readings=self.readings,
        )


def _job(wheel: Wheel, readings: Readings, options: PlanOptions) -> _Job:
    """The wheel as it stands, and its answer half-way between now and its targets."""
    rows = rows_of(wheel, readings)
    stiffness, note = _stiffness(wheel)
    skeleton: Skeleton = skeleton_of(wheel, stiffness)
    target, notes = targets_n(wheel, readings.tensions_n)
    middle, what = (_held(rows, target) + target) / 2, seen(rows, readings.dish_m, target)
    rim = at_first_sight(skeleton, options.rim or as_described(stiffness), _held(rows, target), what)
    answer = answer_of(skeleton, rim, middle)
    change = answer.nominal.stacked()
    stand = stand_of(what, change, suppose(what, change))
    told = (*notes, *note, *_unread(wheel, stand), *_state_notes(wheel))
    return _Job(wheel, stand, answer, _limits(wheel, stand), rim, readings, told)


def _unread(wheel: Wheel, stand: Stand) -> list[str]:
    """What follows from tensions that were not read."""
    if not stand.read[0].any():
        return ["no tensions were read: whether a spoke passes its maximum cannot be told; read them first"]
    unread = [place.label for place in wheel.places if not stand.read[0, place.number - 1]]
    return [f"{', '.join(unread)}: not read, so not turned"] if unread else []


def _state_notes(wheel: Wheel) -> list[str]:
    """What the wheel's limits and state leave open."""
    notes = []
    if wheel.limits.max_tension_n is None:
        notes.append("no maximum is stated: none was kept; state the makers' limits in the wheel file")
    if wheel.state.tyre != "none":
        notes.append("the tyre is on: level and run-out are those of the loaded rim; plan on the bare wheel")
    return notes


def _stiffness(wheel: Wheel) -> tuple[RimClass, list[str]]:
    """The rim's stiffness, or an assumed one with a wider doubt and a note."""
    if wheel.rim.stiffness is not None:
        return wheel.rim.stiffness, []
    note = f"the rim's stiffness is not stated: taken as {ASSUMED_RIM}, within a factor {ASSUMED_FACTOR:g}"
    return replace(rim_classes()[ASSUMED_RIM], u_factor=ASSUMED_FACTOR), [note]


def _limits(wheel: Wheel, stand: Stand) -> Limits:
    """Floor and ceiling of each spoke, drawn in by a guard band of at most half the room its target leaves."""
    lowest, highest = wheel.limits.floor_n, wheel.limits.max_tension_n
    none = np.full(wheel.spokes, np.inf)
    ceiling = none if highest is None else np.where(stand.read[0], highest, none)
    floor = -none if lowest is None else np.where(stand.read[0], lowest, -none)
    below, above = (
        np.where(np.isfinite(room), np.maximum(room, 0.0) / 2, 0.0)
        for room in (stand.target_n - floor, ceiling - stand.target_n)
    )
    return Limits(floor, ceiling, below, above, GUARD_U)


def _summed(done: tuple[tuple[int, int], ...], count: int) -> Floats:
    steps = np.zeros(count)
    for one, size in done:
        steps[one] += size
    return steps


def _left_notes(left: tuple[Turn, ...]) -> list[str]:
    if not left:
        return []
    names = ", ".join(turn.label for turn in left)
    return [f"{names}: left for another pass, since no order of turns kept every spoke within its limits"]


def _limit_notes(plan: TurnPlan) -> list[str]:
    """What stays outside its limits, or passes them on the way."""
    found = []
    high, low = plan.max_tension_n, plan.floor_n
    for bound, word, sign in ((high, "over the maximum", 1), (low, "under the floor", -1)):
        outside = [
            plan.labels[spoke]
            for spoke, figure in plan.predicted.tension_n.items()
            if bound is not None and figure is not None and sign * (figure.value - bound) > 0
        ]
        if outside:
            found.append(f"{', '.join(outside)}: still {word} after this pass; read again and plan another")
    start = max((figure.value for figure in plan.present.tension_n.values() if figure is not None), default=0.0)
    if high is not None and plan.highest_n is not None and plan.highest_n > max(high, start) + 0.5:
        found.append(f"on the way a spoke reaches {plan.highest_n:.0f} N, over the maximum of {high:.0f} N")
    return found
