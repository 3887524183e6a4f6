"""Whether something sits on a spoke: its partials held against a bare and a loaded spoke's. Imports physics, pitch, model.

Each ring is looked at afresh, whatever its lines were named: how much of what is new in it a bare spoke of its side explains,
at any tension and with ends of its own, and how much a spoke with a mass on it would. A bare one that explains enough is left
at that. Both searches are random but seeded: the same ring always gives the same answer.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from tensionear.physics.beam import BendingPlane
from tensionear.physics.expectation import bending_planes, spoke_tables
from tensionear.physics.inverse import GroupFit
from tensionear.physics.loaded import HALVES_M, MODES, LoadedTable, loaded_table
from tensionear.physics.modes import ModeTable
from tensionear.pitch.lines import Heard
from tensionear.pitch.salience import WIDTH, Salient, salient, score

from .model import Place

Array = NDArray[np.float64]

#: Explained so far by a bare spoke, a ring is not looked at further; explained no better than ``UNLIKE``, it is no bare spoke's,
#: whatever it is. From here on the figures were chosen on simulated rounds, seeds 3000 to 3059 (see benchmarks/README.md).
ENOUGH, UNLIKE = 0.5, 0.3
#: By so much (in weights) must a load explain more than 1.3 times what a bare spoke does.
LOADED = 0.2
_BARE_SHARE = 1.3
#: What a tension must rest on to be believed if it is low.
_LOW_MODES, _FEWEST_LOW, _FURTHEST, _QUIET_DB = 4, 3, 5.0, -15.0
_FAR, _FAR_ENOUGH = -0.6, 0.7
_FEWEST = 4  # spokes of a group that tell what its ends are like
_TENSIONS = np.linspace(math.log(90.0), math.log(2800.0), 1400)
_TENSION_NODES = 60  # of the tensions, between which ln f is linear
_ENDS = np.array([-1.0, -0.5, 0.0, 0.5, 1.0])  # of ln k, both ends at once
_APART, _MOST_STARTS, _RANKED = 0.03, 5, 400
_END_SD, _END_COST = 0.35, 0.03
_TENSION_STEP = 0.03
_FIRST_WIDTH, _FIRST_STARTS, _KEPT = 0.008, 60, 12


@dataclass(frozen=True, slots=True)
class Ground:
    """What a tension rests on: how many of the first four modes, the furthest of them from where the fit has it (in standard
    uncertainties), and the level of the loudest line over the loudest peak that is new in the ring."""

    low_modes: int
    furthest: float
    level_db: float

    @property
    def is_firm(self) -> bool:
        """Whether so many, so near and so loud that it is surely this spoke's sound."""
        return self.low_modes >= _FEWEST_LOW and self.furthest < _FURTHEST and self.level_db > _QUIET_DB


#: Of a spoke that was not fitted.
NO_GROUND = Ground(0, 0.0, -math.inf)


@dataclass(frozen=True, slots=True)
class Look:
    """What was seen of one spoke: the best score of a bare and of a loaded spoke (None if not asked), the share 0..1 of
    what was heard that a bare one explains, and what its tension rests on."""

    bare: float
    loaded: float | None
    explained: float
    ground: Ground

    @property
    def is_loaded(self) -> bool:
        """Whether a bare spoke explains so little, or a load so much more, that it is said."""
        loaded = self.loaded is not None and self.loaded - _BARE_SHARE * self.bare > LOADED
        return loaded or self.explained < UNLIKE

    def is_surely_bare(self, deviation: float) -> bool:
        """Whether enough was heard, and enough of it a bare spoke's, to believe that it is slack.

        More is asked where it would be far below its side's mean (``deviation``, a ratio).
        """
        if deviation < _FAR and (self.explained < _FAR_ENOUGH or self.ground.low_modes < _LOW_MODES):
            return False
        return self.explained >= ENOUGH and self.ground.is_firm


def look_at(
    places: Sequence[Place], fit: GroupFit, rings: Mapping[int, Sequence[Heard]], unread: Sequence[Place] = ()
) -> dict[int, Look]:
    """Look at every spoke of a group that was fitted together, the most innocent of its rings; empty if too few are known.

    Parameters
    ----------
    places : sequence of Place
        In the order of the fit, all of one kind of spoke.
    fit : GroupFit
    rings : mapping of int to sequence of Heard
        The rings of each spoke by number, of the unread ones too.
    unread : sequence of Place
        Spokes of the same kind that were not fitted.
    """
    if len(places) < _FEWEST:
        return {}
    side = _Side(places[0], fit)
    found = {}
    for index, place in (*enumerate(places), *((None, place) for place in unread)):
        ground = NO_GROUND if index is None else side.ground(index, rings[place.number])
        looks = [side.look(index, salient(heard), ground) for heard in rings[place.number]]
        found[place.number] = max(looks, key=lambda each: (not each.is_loaded, each.explained))
    return found


class _Side:
    """What a group's fit says of its spokes, and the tables that are made once they are needed."""

    def __init__(self, place: Place, fit: GroupFit) -> None:
        self.fit = fit
        self.stretches = place.spoke.stretches(place.free_length_m)
        self.planes: tuple[BendingPlane, ...] = bending_planes(place.spoke)
        self.tables: tuple[ModeTable, ...] = spoke_tables(place.spoke, place.free_length_m)[: len(self.planes)]
        shared = fit.shared[int(np.argmax(fit.weight))]
        shifts = [(2, 3), (4, 5)] if place.spoke.is_flat else [None]
        ends = [shared[:2] + (0.0 if shift is None else shared[list(shift)]) for shift in shifts]
        self.ends = [(float(hub), float(nipple)) for hub, nipple in ends]
        self.log_tension = fit.moments()[0]
        self._bare: list[Array] | None = None
        self._loaded: list[LoadedTable] | None = None

    def ground(self, index: int, rings: Sequence[Heard]) -> Ground:
        """What the tension of a spoke rests on, by its place in the fit."""
        low = self.fit.residual[index, :, :_LOW_MODES]
        lines = [line.level_db for heard in rings for line in heard.lines if line.mode is not None]
        peaks = [float(each.level_db.max()) for heard in rings for each in heard.peaks if len(each.level_db)]
        level_db = max(lines, default=-math.inf) - max(peaks, default=0.0)
        return Ground(int(np.any(low != 0, axis=0).sum()), float(np.abs(low).max()), level_db)

    def look(self, index: int | None, ring: Salient, ground: Ground) -> Look:
        """One ring of one spoke, by its place in the fit or None."""
        bare, explained = -math.inf, 0.0
        if index is not None:
            read = self.fit.predicted[index, :, :MODES]
            explained = ring.explained([read[0], read[1]])
            if explained >= ENOUGH:
                return Look(bare, None, explained, ground)
        fine = ring.landscape(WIDTH)
        if index is not None:
            ways = [[read[0]], [read[1]]] if len(self.planes) == 1 else [[read[0], read[1]]]
            bare = max(float(score(fine, way)) for way in ways)
        middle = float(np.median(self.log_tension) if index is None else self.log_tension[index])
        at_any, series = self._best_bare(ring, fine, middle)
        bare, explained = max(bare, at_any), max(explained, ring.explained(series))
        if not UNLIKE <= explained < ENOUGH:
            return Look(bare, None, explained, ground)
        return Look(bare, self._best_loaded(ring), explained, ground)

    def _best_bare(self, ring: Salient, fine: Array, log_tension: float) -> tuple[float, list[Array]]:
        """The best score of a bare spoke and its series: first at all tensions, then with ends of its own."""
        scores = score(fine, self._bare_series())
        order = np.argsort(-scores.ravel())[:_RANKED]
        first = [logs.reshape(-1, MODES)[order[0]] for logs in self._bare_series()]
        if ring.explained(first) >= ENOUGH:
            return float(scores.max()), first
        starts = [log_tension]
        for at in order:
            start = float(_TENSIONS[np.unravel_index(at, scores.shape)[0]])
            if len(starts) <= _MOST_STARTS and all(abs(start - other) > _APART for other in starts):
                starts.append(start)
        states = np.zeros((len(starts), 1 + 2 * len(self.planes)))
        states[:, 0] = starts
        step = np.array([_TENSION_STEP, *[2 * _END_SD] * (states.shape[1] - 1)])

        def value(landscape: Array, tried: Array) -> Array:
            cost = _END_COST * np.sum((tried[..., 1:] / _END_SD) ** 2, axis=-1)
            return np.asarray(score(landscape, self._series_at(tried)) - cost)

        best, state = _BARE.best(ring, states, step, value)
        return max(best, float(scores.max())), self._series_at(state)

    def _best_loaded(self, ring: Salient) -> float:
        """The best score of a loaded spoke of about its fellows' tension."""
        if self._loaded is None:
            middle = float(np.median(self.log_tension))
            pairs = zip(self.planes, self.ends, strict=True)
            self._loaded = [loaded_table(self.stretches, plane, hub, nipple, middle) for plane, (hub, nipple) in pairs]
        tables = self._loaded
        coarse = score(ring.landscape(_FIRST_WIDTH), [table.logs.mean(axis=3) for table in tables])
        first = np.stack(np.unravel_index(np.argsort(-coarse.ravel())[:_FIRST_STARTS], coarse.shape), axis=1)
        low, step = tables[0].low, tables[0].step * np.array([1.0, 1.0, 1.0, 0.5])
        states = np.column_stack([low[:3] + first * tables[0].step[:3], np.full(len(first), np.mean(HALVES_M))])

        def value(landscape: Array, tried: Array) -> Array:
            return score(landscape, [table.log_frequencies(tried) for table in tables])

        return _LOADED.best(ring, states, step, value)[0]

    def _bare_series(self) -> list[Array]:
        """ln f over all tensions and a few ends, one array (tensions, ends, modes) a plane."""
        if self._bare is None:
            nodes = np.linspace(_TENSIONS[0], _TENSIONS[-1], _TENSION_NODES)
            tension, shift = np.meshgrid(nodes, _ENDS, indexing="ij")
            upper = np.clip(np.searchsorted(nodes, _TENSIONS), 1, _TENSION_NODES - 1)
            part = ((_TENSIONS - nodes[upper - 1]) / (nodes[1] - nodes[0]))[:, None, None]
            self._bare = []
            for table, (hub, nipple) in zip(self.tables, self.ends, strict=True):
                logs, _ = table.log_frequencies(tension.ravel(), hub + shift.ravel(), nipple + shift.ravel())
                logs = logs[:, :MODES].reshape(*tension.shape, MODES)
                self._bare.append((1 - part) * logs[upper - 1] + part * logs[upper])
        return self._bare

    def _series_at(self, states: Array) -> list[Array]:
        """ln f at states (..., ln T and how each plane's hub and nipple end differ from the side's)."""
        found = []
        flat = states.reshape(-1, states.shape[-1])
        for plane, (table, (hub, nipple)) in enumerate(zip(self.tables, self.ends, strict=True)):
            logs, _ = table.log_frequencies(flat[:, 0], hub + flat[:, 1 + 2 * plane], nipple + flat[:, 2 + 2 * plane])
            found.append(logs[:, :MODES].reshape(*states.shape[:-1], MODES))
        return found


@dataclass(frozen=True, slots=True)
class _Climb:
    """How a best state is looked for: rounds of trying around the best so far, ever closer and ever sharper."""

    widths: tuple[float, ...]
    reaches: tuple[float, ...]
    tries: tuple[int, ...]

    def best(
        self, ring: Salient, states: Array, step: Array, value: Callable[[Array, Array], Array]
    ) -> tuple[float, Array]:
        """The best of what is found around ``states`` (starts, unknowns), and its score at the sharpest width."""
        chance = np.random.default_rng(0)
        scores = np.zeros(len(states))
        for width, reach, tries in zip(self.widths, self.reaches, self.tries, strict=True):
            landscape = ring.landscape(width)
            shape = (len(states), tries, states.shape[1])
            tried = states[:, None] + reach * step * chance.uniform(-1, 1, shape)
            tried[:, 0] = states
            found = value(landscape, tried)
            at = np.argmax(found, axis=1)
            states, scores = (each[np.arange(len(states)), at] for each in (tried, found))
            kept = np.argsort(-scores)[: max(_KEPT, len(states) // 2)]
            states, scores = states[kept], scores[kept]
        return float(scores[0]), states[0]


_BARE = _Climb((0.0025, 0.0025, 0.0012, 0.0012), (1.0, 0.4, 0.3, 0.1), (60, 40, 60, 40))
_LOADED = _Climb((0.003, 0.003, 0.0012, 0.0012), (1.0, 0.4, 0.15, 0.05), (150, 80, 80, 60))
