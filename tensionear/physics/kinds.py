"""Which kind of spoke a wheel has of which nothing is known: families of kinds, the likeliest by ear. Imports physics, pitch.

The scale of a spoke (length, mass) drops out of a comparison between spokes of one kind, so a kind is a shape and one number:
the bending stiffness of its middle at one mass per length. A round of plucks tells it well, since all spokes must agree.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import lru_cache

import numpy as np

from tensionear.pitch.lines import Expectation
from tensionear.pitch.series import SeriesGrid, coarse_salience, scores, series_grid
from tensionear.pitch.spectrum import Array, Peaks

from .beam import BendingPlane
from .expectation import LOG_TENSION, leeway_of, log_ends, usual_stretch
from .generic import AXIAL_N, LENGTH_M, MASS_KG_M, STIFFNESS_N_M2
from .modes import MODES, EvenTable, ModeTable, even_table, mode_table
from .section import Section
from .spoke import Stretch
from .spokemodel import SpokeModel

_HEAD_M, _TAIL_M = 0.028, 0.022  # thick ends inside the free length, common practice, no source
_STEP = 1.2  # between kinds, of the stiffness
_STIFFNESS_SD, _RATIO_SD = 0.10, 0.15  # of ln EI about a kind, and of ln of the planes' ratio
_FIT_SD = 0.25
_SHAPE_SD = 0.0025  # of ln f of the overtones: what a shape between those here, or other thick ends, make of them
_WIDER, _FINER = (-1.0, -0.5, 0.0, 0.5, 1.0), (-0.5, -0.25, 0.0, 0.25, 0.5)  # of a step
_ENDS = (0.65, 1.0, 1.35)
_PLAUSIBLE = 1.05  # times a round kind's score: a flat one has a plane more to meet peaks with, by chance too
_REFINED, _EDGE = 3, 1 / 3  # shapes of either sort; what the edge plane counts then
_HEARD, _COARSER = 12, 2  # plucks that a kind is told by, and how many states of the grid are one for that


@dataclass(frozen=True, slots=True)
class _Shape:
    """A middle section, the thick ends' if there are any, and the stiffnesses it is met with."""

    middle: Section
    ends: Section | None
    lowest: float
    steps: int


def _round(middle_mm: float, end_mm: float, lowest: float, steps: int) -> _Shape:
    middle, ends = (Section("round", size / 1000, size / 1000) for size in (middle_mm, end_mm))
    return _Shape(middle, None if middle_mm == end_mm else ends, lowest, steps)


def _flat(width_mm: float, thickness_mm: float) -> _Shape:
    """Rolled from round wire, with ends of that."""
    return _Shape(Section("oval", width_mm / 1000, thickness_mm / 1000), Section("round", 0.002, 0.002), 0.16, 8)


def _blade(width_mm: float, thickness_mm: float) -> _Shape:
    """Moulded, the same from end to end."""
    return _Shape(Section("blade", width_mm / 1000, thickness_mm / 1000), None, 0.7, 9)


#: Sections as the catalogue of spokes has them, each for its neighbours too.
_SHAPES = {
    "round": _round(2.0, 2.0, 0.35, 12),
    "butted a little": _round(1.8, 2.0, 0.45, 6),
    "butted": _round(1.52, 2.0, 0.30, 6),
    "flat 2:1": _flat(2.2, 1.2),
    "flat 2.3:1": _flat(2.3, 1.0),
    "flat 3:1": _flat(2.8, 0.9),
    "blade 2:1": _blade(2.4, 1.2),
    "blade 3:1": _blade(3.4, 1.2),
    "blade 4:1": _blade(4.6, 1.2),
}


@dataclass(frozen=True, slots=True)
class Kind:
    """A kind of spoke: the name of its shape, the flat bending stiffness of its middle in parts of a plain steel one's, and
    the length of its thick ends in parts of usual ones'."""

    shape: str
    stiffness: float
    ends: float = 1.0

    @property
    def flat(self) -> bool:
        """Whether its bending planes sound differently."""
        return _SHAPES[self.shape].middle.shape != "round"


#: Kinds of the first look, and how far others may be from them (of ln EI).
_FIRST_LOOK = (
    *(Kind("round", each) for each in (0.5, 0.65, 0.85, 1.1, 1.45, 1.9)),
    Kind("butted", 0.38),
    Kind("butted", 0.6),
)
_FIRST_SD = 0.15


@lru_cache(maxsize=1)
def expect_some_spokes() -> Expectation:
    """What to listen for at first: enough kinds for any spoke to be near one of them."""
    tables = [_tables(kind)[0] for kind in _FIRST_LOOK]
    logs = np.concatenate([table.over_grid(LOG_TENSION, log_ends(table))[:, ::2] for table in tables], axis=1)
    leeway = np.concatenate([leeway_of(table, _FIRST_SD)[:, ::2] for table in tables], axis=1)
    grid = series_grid(("both", "both"), (logs, logs), (leeway, leeway), LOG_TENSION)
    return Expectation(grid, usual_stretch(AXIAL_N, LENGTH_M))


def expect_kind(kind: Kind) -> Expectation:
    """What to listen for in a spoke of this kind."""
    tables = _tables(kind)
    logs = [table.over_grid(LOG_TENSION, log_ends(table)) for table in tables]
    leeway = [leeway_of(table, sd) for table, sd in zip(tables, (_STIFFNESS_SD, _RATIO_SD), strict=False)]
    planes = ("flat", "edge") if kind.flat else ("both", "both")
    grid = series_grid(planes, (logs[0], logs[-1]), (leeway[0], leeway[-1]), LOG_TENSION)
    return Expectation(grid, usual_stretch(AXIAL_N, LENGTH_M))


def model_of_kind(kind: Kind) -> SpokeModel:
    """The model the joint fit takes; tensions mean nothing but to one another."""
    tables = _tables(kind)
    rows, sources = [(0.0, 0.0, _FIT_SD, _FIT_SD)], ["kind of spoke"]
    if kind.flat:
        rows, sources = [*rows, (0.0, 0.0, 0.0, _RATIO_SD)], [*sources, "ratio of the planes"]
    return SpokeModel((tables[0], tables[-1]), np.array(rows), tuple(sources), _shape_bends(kind.flat))


def _shape_bends(flat: bool) -> Array:
    """What is not known of a shape: each overtone by itself, of either plane of a flat spoke."""
    own = np.zeros((MODES - 1, MODES))
    own[:, 1:] = _SHAPE_SD * np.eye(MODES - 1)
    if not flat:
        return np.stack([own, own], axis=1)
    none = np.zeros_like(own)
    return np.concatenate([np.stack([own, none], axis=1), np.stack([none, own], axis=1)])


def likeliest_kinds(plucks: Sequence[Sequence[Peaks]]) -> tuple[Kind, Kind | None]:
    """The round kind that explains the peaks of a round of plucks best, and the flat one if there may be a second plane.

    Parameters
    ----------
    plucks : sequence of sequence of Peaks
        The spectra of each pluck, the clearest first; at least one pluck.
    """
    heard = [coarse_salience(peaks) for peaks in plucks[:_HEARD]]
    by_shape = {name: _best([kind for kind in _bank() if kind.shape == name], heard) for name in _SHAPES}
    found = {}
    for flat in (False, True):
        ranked = sorted((each for each in by_shape.values() if each[1].flat == flat), key=lambda each: -each[0])
        found[flat] = max((_refined(kind, heard) for _, kind in ranked[:_REFINED]), key=lambda each: each[0])
    plausible = found[True][0] > _PLAUSIBLE * found[False][0]
    return found[False][1], found[True][1] if plausible else None


def _best(kinds: Sequence[Kind], heard: Sequence[Array], edge: float = 1.0) -> tuple[float, Kind]:
    """The kind that explains the plucks best, after its score; ``edge`` is what the second plane counts, 0..1."""

    def score(kind: Kind, planes: int) -> float:
        return float(np.mean([scores(each, _coarse(kind, planes)).max() for each in heard]))

    scored = [(edge * score(kind, 2) + (1 - edge) * (score(kind, 1) if edge < 1 else 0.0), kind) for kind in kinds]
    return max(scored, key=lambda each: each[0])


def _refined(kind: Kind, heard: Sequence[Array]) -> tuple[float, Kind]:
    """The best of its neighbours between the kinds of the bank: by stiffness, and by the length of thick ends if it has any.

    Here the edge plane counts for little: it meets more by chance, its ends being free of the flat plane's.
    """
    found = kind
    if _SHAPES[kind.shape].ends is not None:
        tried = ((part, length) for part in _WIDER for length in _ENDS)
        wider = [replace(kind, stiffness=kind.stiffness * _STEP**part, ends=length) for part, length in tried]
        found = _best(wider, heard, _EDGE)[1]
    finer = [replace(found, stiffness=found.stiffness * _STEP**part) for part in _FINER]
    return _best([_best(finer, heard, _EDGE)[1]], heard)


@lru_cache(maxsize=1)
def _bank() -> tuple[Kind, ...]:
    """The kinds that are tried first."""
    steps = ((name, shape.lowest * _STEP**step) for name, shape in _SHAPES.items() for step in range(shape.steps))
    return tuple(Kind(name, stiffness) for name, stiffness in steps)


@lru_cache(maxsize=256)
def _coarse(kind: Kind, planes: int) -> SeriesGrid:
    """A grid of every other state. By similarity a spoke e^e times as stiff has ln f(T, k) = v(ln T - e, ln k - e) + e / 2."""
    states, stiffer = LOG_TENSION[::_COARSER], math.log(kind.stiffness)
    logs = []
    for table in _even_tables(replace(kind, stiffness=1.0)):
        tension = np.clip(states - stiffer, *table.log_tension_range)
        logs.append(table.over_grid(tension, log_ends(table)) + stiffer / 2)
    nothing = np.zeros((0, 0, 0, MODES))
    first, second = logs[0], logs[0] if planes == 1 else logs[-1]
    return series_grid(("flat", "edge"), (first, second), (nothing, nothing), states)


@lru_cache(maxsize=64)
def _tables(kind: Kind) -> tuple[ModeTable, ...]:
    """A table for each bending plane that sounds differently."""
    stretches = _stretches(_SHAPES[kind.shape], kind)
    return tuple(mode_table(stretches, plane) for plane in _planes(kind))


@lru_cache(maxsize=64)
def _even_tables(kind: Kind) -> tuple[EvenTable, ...]:
    stretches = _stretches(_SHAPES[kind.shape], kind)
    return tuple(even_table(stretches, plane) for plane in _planes(kind))


def _planes(kind: Kind) -> tuple[BendingPlane, ...]:
    return ("flat", "edge") if kind.flat else ("flat",)


def _stretches(shape: _Shape, kind: Kind) -> tuple[Stretch, ...]:
    """From hub to nipple, with the mass per length of the middle and its flat stiffness given."""
    density = MASS_KG_M / shape.middle.area_m2
    modulus = kind.stiffness * STIFFNESS_N_M2 / shape.middle.flat_second_moment_m4

    def piece(length_m: float, section: Section) -> Stretch:
        flat, edge = modulus * section.flat_second_moment_m4, modulus * section.edge_second_moment_m4
        axial = AXIAL_N * section.area_m2 / shape.middle.area_m2
        return Stretch(length_m, density * section.area_m2, flat, edge, axial)

    if shape.ends is None:
        return (piece(LENGTH_M, shape.middle),)
    head_m, tail_m = _HEAD_M * kind.ends, _TAIL_M * kind.ends
    return piece(head_m, shape.ends), piece(LENGTH_M - head_m - tail_m, shape.middle), piece(tail_m, shape.ends)
