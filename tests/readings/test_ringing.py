"""A spoke whose ring dies at once among spokes that ring is named, whatever it reads."""

from __future__ import annotations

import dataclasses

from tensionear.reading import PluckReading
from tensionear.readings.ringing import dull_rings
from tests.dashboard.invented import pluck


def lasting(spoke: int, decay_s: float) -> PluckReading:
    made = pluck(spoke)
    return dataclasses.replace(
        made, partials=tuple(dataclasses.replace(each, decay_s=decay_s / each.mode) for each in made.partials)
    )


def test_one_that_dies_at_once_is_named() -> None:
    usual = [lasting(number, 0.4 + 0.02 * number) for number in range(1, 13)]
    assert dull_rings(usual) == []
    dull = [*usual[:4], lasting(5, 0.05), *usual[5:]]
    (found,) = dull_rings(dull)
    assert (found.code, found.spokes, found.severity) == ("buzzing", (5,), "caution")
    assert dull_rings([*dull, lasting(5, 0.5)]) == []  # another pluck of it rang
    assert dull_rings(dull[:7]) == []  # too few to know what is usual
