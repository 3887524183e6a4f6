"""Overtones of one spoke held against another: what contradicts, what is named instead, what cannot be told."""

from __future__ import annotations

import math

import numpy as np
import pytest

from tensionear.catalogue import library_spoke
from tensionear.physics.beam import natural_frequencies
from tensionear.pitch.salience import Salient
from tensionear.wheel.otherspoke import contradiction

LENGTH_M, U_LENGTH_M = 0.262, 0.0005
TENSIONS_N = (620.0, 700.0, 815.0, 905.0, 990.0)


def rings(name: str, length_m: float = LENGTH_M) -> list[Salient]:
    """The partials of a side of such spokes, exact, those of both planes where these differ."""
    spoke = library_spoke(name)
    found = []
    for tension_n in TENSIONS_N:
        planes = ("flat", "edge") if spoke.is_flat else ("flat",)
        pieces = spoke.stretches(length_m)
        hz = np.concatenate([natural_frequencies(pieces, tension_n, 15.0, 45.0, plane, 8) for plane in planes])
        found.append(Salient(np.log(hz), np.full(len(hz), 3e-4), np.linspace(1.0, 0.4, len(hz))))
    return found


@pytest.mark.parametrize(
    "name", ["steel-round-2.0", "steel-butted-2.0-1.5", "steel-oval-2.3x1.0", "carbon-blade-4.6x1.2"]
)
def test_the_right_spoke_is_not_contradicted(name: str) -> None:
    assert contradiction(rings(name), library_spoke(name), [LENGTH_M], U_LENGTH_M) is None


def test_a_thinner_spoke_is_named_with_what_explains_it_too() -> None:
    found = contradiction(rings("steel-round-1.8"), library_spoke("steel-round-2.0"), [LENGTH_M], U_LENGTH_M)
    assert found is not None
    assert found.kind_id == "steel-round-1.8"
    assert found.resized.log_size == pytest.approx(math.log(0.9), abs=0.03)
    assert found.catalogued.explained > found.stated.explained + 0.2
    assert found.odds > 6


def test_a_flat_spoke_is_not_a_round_one_nor_the_other_way_round() -> None:
    flat, plain = "steel-oval-2.3x1.0", "steel-round-2.0"
    found = contradiction(rings(flat), library_spoke(plain), [LENGTH_M], U_LENGTH_M)
    assert found is not None
    assert library_spoke(found.kind_id).is_flat
    found = contradiction(rings(plain), library_spoke(flat), [LENGTH_M], U_LENGTH_M)
    assert found is not None
    assert found.kind_id == plain


def test_a_wrong_length_is_as_a_wrong_size() -> None:
    stated = library_spoke("steel-round-2.0")
    found = contradiction(rings("steel-round-2.0", 1.06 * LENGTH_M), stated, [LENGTH_M], U_LENGTH_M)
    assert found is not None
    assert math.exp(-found.resized.log_size / 2) == pytest.approx(1.06, abs=0.015)
    assert contradiction(rings("steel-round-2.0", 1.005 * LENGTH_M), stated, [LENGTH_M], U_LENGTH_M) is None
    unsure = contradiction(rings("steel-round-2.0", 1.06 * LENGTH_M), stated, [LENGTH_M], 0.04 * LENGTH_M)
    assert unsure is None


@pytest.mark.parametrize("other", ["titanium-round-2.0", "aluminium-round-2.0"])
def test_materials_of_one_stiffness_per_weight_cannot_be_told(other: str) -> None:
    assert contradiction(rings("steel-round-2.0"), library_spoke(other), [LENGTH_M], U_LENGTH_M) is None


def test_nothing_heard_contradicts_nothing() -> None:
    assert contradiction([], library_spoke("steel-round-2.0"), [LENGTH_M], U_LENGTH_M) is None
