"""Which kind an unknown spoke is: told by the peaks of a few plucks, and then as good as known."""

from __future__ import annotations

import math

import numpy as np
import pytest

from tensionear.catalogue import library_spoke
from tensionear.physics.beam import natural_frequencies
from tensionear.physics.believed import EndsPrior
from tensionear.physics.inverse import Partials, fit_group
from tensionear.physics.kinds import Kind, expect_kind, likeliest_kinds, model_of_kind
from tensionear.physics.modes import MODES
from tensionear.pitch.spectrum import Peaks

LENGTH_M, ENDS_N_M = 0.281, (35.0, 20.0)
#: The kind's own units: EI of the middle at 14 g/m and 270 mm, in parts of 0.085 N m2.
UNIT = 0.085 / 0.014 / 0.270**4


def partials(name: str, tension_n: float, plane: str, modes: int) -> np.ndarray:
    pieces = library_spoke(name).stretches(LENGTH_M)
    hub, nipple = ENDS_N_M
    return natural_frequencies(pieces, tension_n, hub, nipple, plane, modes)  # type: ignore[arg-type]


def plucks(name: str, flat: bool) -> list[tuple[Peaks, Peaks]]:
    """Eight plucks as peaks of exact partials, each a few dB over the last, with a stranger's line in each."""
    found = []
    for tension_n in np.linspace(700.0, 1100.0, 8):
        hz = [partials(name, float(tension_n), "flat", 8)]
        if flat:
            hz.append(partials(name, float(tension_n), "edge", 6))
        frequency = np.concatenate([*hz, [1.37 * hz[0][1]]])
        frequency = frequency[frequency < 6900]
        height = np.linspace(40.0, 15.0, len(frequency))
        peaks = Peaks(frequency, height, height - 60)
        found.append((peaks, peaks))
    return found


def stiffness_of(name: str) -> float:
    pieces = library_spoke(name).stretches(LENGTH_M)
    middle = pieces[len(pieces) // 2]
    return middle.flat_stiffness_n_m2 / middle.linear_density_kg_m / LENGTH_M**4 / UNIT


@pytest.mark.parametrize("name", ["steel-round-2.0", "steel-round-1.8", "titanium-round-2.0", "steel-butted-2.0-1.5"])
def test_a_round_kind_is_told_to_a_tenth_of_its_stiffness(name: str) -> None:
    kind, _ = likeliest_kinds(plucks(name, flat=False))
    assert not kind.flat
    assert (kind.shape == "butted") == ("butted" in name)
    assert kind.stiffness == pytest.approx(stiffness_of(name), rel=0.1)


@pytest.mark.parametrize("name", ["steel-oval-2.3x1.0", "carbon-blade-4.6x1.2"])
def test_a_flat_kind_is_told_by_both_its_planes(name: str) -> None:
    _, kind = likeliest_kinds(plucks(name, flat=True))
    assert kind is not None
    assert kind.flat
    assert kind.shape == ("flat 2.3:1" if "oval" in name else "blade 4:1")
    assert kind.stiffness == pytest.approx(stiffness_of(name), rel=0.1)


def test_planes_of_a_flat_kind_are_listened_for_apart() -> None:
    grid = expect_kind(Kind("flat 2.3:1", 0.3)).grid
    assert grid.planes == ("flat", "edge")
    assert (grid.log_frequency[1] > grid.log_frequency[0]).all()
    assert expect_kind(Kind("round", 1.0)).grid.alike


def relative_tensions(name: str, kind: Kind) -> tuple[np.ndarray, np.ndarray]:
    """Read and true deviations of nine spokes from 10 % less to 10 % more, their flat partials exact to a cent."""
    tension_n = 900.0 * np.linspace(0.9, 1.1, 9)
    values, sd = np.zeros((9, 3, MODES)), np.full((9, 3, MODES), np.inf)
    for row, each in enumerate(tension_n):
        values[row, 0, :7] = np.log(partials(name, float(each), "flat", 7))
    sd[:, 0, :7] = 0.0001
    heard = Partials(values, sd, np.full(9, math.log(700.0)))
    fit = fit_group((model_of_kind(kind),), np.zeros(9, np.intp), heard, EndsPrior())
    return fit.deviations(np.arange(9), np.arange(9))[0], tension_n / tension_n.mean() - 1


@pytest.mark.parametrize(("kind", "within"), [(Kind("butted", 0.60), 0.001), (Kind("butted", 0.60, 1.35), 0.002)])
def test_a_shape_between_the_kinds_gives_the_same_relation_of_tensions(kind: Kind, within: float) -> None:
    """A spoke butted to 1.6 mm taken for one butted to 1.52, the second with far longer ends: each overtone is off, but alike.

    Without that leeway of the overtones these are three and six times as far off.
    """
    found, true = relative_tensions("steel-butted-2.0-1.6", kind)
    assert np.abs(found - true).max() < within
