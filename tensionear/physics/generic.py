"""A spoke of which nothing is known, and any plucked thing: what to listen for without a description. Imports physics, pitch.

Spokes of usual length lie, once scaled to one mass per length, within a factor of three of a plain steel one's bending
stiffness (round carbon ones lie above); the scale itself (length, mass) drops out of a comparison between spokes of one kind.
"""

from __future__ import annotations

import math
from functools import lru_cache

import numpy as np

from tensionear.pitch.lines import Expectation
from tensionear.pitch.series import LEEWAY_STEP, series_grid

from .expectation import LOG_TENSION, leeway_of, log_ends, usual_stretch
from .modes import mode_table
from .spoke import Stretch
from .spokemodel import SpokeModel

LENGTH_M, MASS_KG_M, STIFFNESS_N_M2, AXIAL_N = 0.270, 0.014, 0.085, 5.0e5
_SPREAD = 0.45  # standard deviation of ln stiffness between kinds of spoke, at one mass per length
#: Shapes, as the middle's diameter in parts of the ends': drawn plain, and butted a little and much; stiffness of the middle
#: in parts of the plain spoke's. A step apart, the fifth partial is still met within half a percent.
_SHAPES = (1.0, 0.9, 0.76)
_VARIANTS = {
    1.0: (0.35, 0.45, 0.58, 0.75, 0.96, 1.23, 1.6, 2.1, 2.8),
    0.9: (0.5, 0.75, 1.1),
    0.76: (0.35, 0.5, 0.72),
}
_HEAD_M, _TAIL_M = 0.028, 0.022  # thick ends inside the free length, common practice, no source
_VARIANT_SD = 0.08  # of ln EI about a variant
_TONE_LOWEST_HZ, _TONE_HIGHEST_HZ, _TONE_STEP = 60.0, 2500.0, 0.004
_TONE_TENSIONS_N = 40.0 * 1.1 ** np.arange(46)  # of the generic spoke: xi of about 6..50
_TONE_END_SHARES = np.array([0.02, 0.5, 0.9])
_TONE_STRETCH = 0.002


def _stretches(shape: float, factor: float) -> tuple[Stretch, ...]:
    """A spoke of this shape, its middle's bending stiffness ``factor`` times the plain one's at the plain mass per length."""

    def piece(length_m: float, thicker: float) -> Stretch:
        stiffness = factor * STIFFNESS_N_M2 * thicker**4
        return Stretch(length_m, MASS_KG_M * thicker**2, stiffness, stiffness, AXIAL_N * thicker**2)

    if shape == 1.0:
        return (piece(LENGTH_M, 1.0),)
    ends = 1 / shape
    return piece(_HEAD_M, ends), piece(LENGTH_M - _HEAD_M - _TAIL_M, 1.0), piece(_TAIL_M, ends)


@lru_cache(maxsize=1)
def generic_models() -> tuple[SpokeModel, ...]:
    """Models of an unknown spoke, one a shape: stiffness wide open, scale fixed; tensions mean nothing but to one another."""
    return tuple(_model(shape, float(np.median(_VARIANTS[shape]))) for shape in _SHAPES)


def _model(shape: float, factor: float) -> SpokeModel:
    table = mode_table(_stretches(shape, factor), "flat")
    return SpokeModel((table, table), np.array([[0.0, 0.0, _SPREAD, _SPREAD]]), ("kind of spoke",))


@lru_cache(maxsize=1)
def expect_any_spoke() -> Expectation:
    """What to listen for in an unknown spoke."""
    kinds = [(shape, factor) for shape in _SHAPES for factor in _VARIANTS[shape]]
    tables = [mode_table(_stretches(*kind), "flat") for kind in kinds]
    logs = np.concatenate([table.over_grid(LOG_TENSION, log_ends(table)) for table in tables], axis=1)
    leeway = np.concatenate([leeway_of(table, _VARIANT_SD) for table in tables], axis=1)
    stretch = usual_stretch(AXIAL_N, LENGTH_M)
    return Expectation(series_grid(("both", "both"), (logs, logs), (leeway, leeway), LOG_TENSION), stretch)


@lru_cache(maxsize=1)
def expect_any_tone() -> Expectation:
    """What to listen for in anything plucked: first modes of 60..2500 Hz, overtones from a plain string's to a stiff beam's."""
    table = mode_table(_stretches(1.0, 1.0), "flat")
    ends = np.log(table.middle_stiffness_n_m * _TONE_END_SHARES / (1 - _TONE_END_SHARES))
    beams = table.over_grid(np.log(_TONE_TENSIONS_N), ends)
    shapes = (beams - beams[:, :, :1]).reshape(-1, beams.shape[2])
    string = np.log(np.arange(1, beams.shape[2] + 1))
    shapes = np.concatenate([string[None], shapes])
    between = (np.gradient(beams - beams[:, :, :1], axis=0) / 2).reshape(-1, beams.shape[2])
    leeway = np.concatenate([np.zeros((1, len(string))), between])[None, :, None, :]
    first = np.arange(math.log(_TONE_LOWEST_HZ), math.log(_TONE_HIGHEST_HZ), _TONE_STEP)
    logs = first[:, None, None] + shapes
    leeway = np.repeat(leeway, len(first[::LEEWAY_STEP]), axis=0)
    grid = series_grid(("both", "both"), (logs, logs), (leeway, leeway), first)
    return Expectation(grid, np.full(len(first), _TONE_STRETCH), still=True)
