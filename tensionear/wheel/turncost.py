"""What a pass of turns is judged by: every deviation over its tolerance, turning and touching. Pure; wheel only."""

from __future__ import annotations

import numpy as np

from tensionear.wheel.learning import Answer
from tensionear.wheel.model import Wheel
from tensionear.wheel.planoptions import PlanOptions, Weights
from tensionear.wheel.ringbeam import Floats
from tensionear.wheel.stand import Stand
from tensionear.wheel.turnsearch import Problem, Steps, least_squares

#: How many spokes either side of the joint are given latitude, the joint's own included on both.
JOINT_SPOKES = 2


def problem_of(
    wheel: Wheel, stand: Stand, answer: Answer, limits: tuple[Floats, Floats], options: PlanOptions
) -> Problem:
    """The cost of whole steps, as least squares.

    Rows: tension of each spoke from its target, of each side's mean from its target, run-out from its mean, dish.
    Each is divided by tolerance and uncertainty together, so that a doubtful reading counts for less, and what was not
    read for least: but for something, since even tensions allow the rim to stand anywhere. The doubt about
    the rim adds rows of its own, which makes the expected cost of what may happen the thing minimised.
    """
    measures = _measures(wheel, stand, options)
    middle = answer.nominal.stacked() * options.step_turns
    now = stand.state - np.concatenate([stand.target_n, np.zeros(2 * wheel.spokes)])
    rows = [measures @ middle, *(measures @ shift * options.step_turns for shift in answer.shifts)]
    offset = np.zeros(sum(len(each) for each in rows))
    offset[: len(measures)] = measures @ now
    lowest, highest = _bounds(wheel, stand, options)
    weights = options.weights
    return Problem(
        deviations=least_squares(np.vstack(rows), offset),
        lowest=lowest,
        highest=highest,
        turn_cost=weights.turn * options.step_turns,
        touch_cost=weights.hidden_touch if options.hidden_nipples else weights.touch,
        answer=answer.nominal.tension_n * options.step_turns,
        watched=stand.tension_n,
        floor=limits[0],
        ceiling=limits[1],
        scale=float(stand.target_n.mean()) * weights.tension_percent / 100,
    )


def _measures(wheel: Wheel, stand: Stand, options: PlanOptions) -> Floats:
    """What counts, as linear maps of tension, lateral and radial deviations stacked, in tolerances; (m, 3 spokes)."""
    count, weights = wheel.spokes, options.weights
    judged = np.array([place.leave_out is None and place.number not in options.seized for place in wheel.places])
    tolerance = stand.target_n * weights.tension_percent / 100
    share = judged / np.hypot(tolerance, stand.u[0])
    none = np.zeros((count, count))
    rows = [np.hstack([np.diag(share), none, none])]
    rows += [
        np.concatenate([_level(stand, members, weights), np.zeros(2 * count)])[None, :]
        for members in ([number - 1 for number in side.numbers] for side in wheel.sides.values())
    ]
    centred = np.eye(count) - 1 / count
    latitude = _latitude(count, options)
    for which, tolerance_m in ((1, weights.lateral_m), (2, weights.radial_m)):
        block = slice(which * count, (which + 1) * count)
        variance = np.diag(centred @ stand.covariance[block, block] @ centred)
        shape = centred / (np.sqrt(tolerance_m**2 + np.maximum(variance, 0.0)) * latitude)[:, None]
        rows.append(np.hstack([shape if which == each else none for each in range(3)]))
    dish = np.full(count, 1 / count) / (weights.dish_m if stand.dish_read else weights.unread_dish_m)
    rows.append(np.concatenate([np.zeros(count), dish, np.zeros(count)])[None, :])
    return np.vstack(rows)


def _level(stand: Stand, members: list[int], weights: Weights) -> Floats:
    """The mean of a side's tensions from that of its targets, in tolerances; nothing if none was read."""
    found = np.zeros(len(stand.tension_n))
    read = [one for one in members if stand.read[0, one]]
    if read:
        found[read] = 100 / (weights.level_percent * stand.target_n[read].mean() * len(read))
    return found


def _latitude(count: int, options: PlanOptions) -> Floats:
    """Factors of the run-out tolerances at each spoke."""
    found = np.ones(count)
    if options.joint is not None:
        near = np.arange(options.joint - 1 - JOINT_SPOKES, options.joint + JOINT_SPOKES) % count
        found[near] = options.weights.joint_latitude
    return found


def _bounds(wheel: Wheel, stand: Stand, options: PlanOptions) -> tuple[Steps, Steps]:
    """Lowest and highest steps of each nipple: none where it is seized, left out or unread; one way where outside."""
    most = int(options.most_turns / options.step_turns + 1e-9)
    lowest, highest = np.full(wheel.spokes, -most), np.full(wheel.spokes, most)
    any_read = bool(stand.read[0].any())
    for place in wheel.places:
        one = place.number - 1
        read = bool(stand.read[0, one])
        if place.number in options.seized or place.leave_out is not None or (any_read and not read):
            lowest[one] = highest[one] = 0
        if read and wheel.limits.max_tension_n is not None and stand.tension_n[one] > wheel.limits.max_tension_n:
            highest[one] = 0
        if read and wheel.limits.floor_n is not None and stand.tension_n[one] < wheel.limits.floor_n:
            lowest[one] = 0
    return lowest, highest
