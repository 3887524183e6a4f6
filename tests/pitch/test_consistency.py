"""Which fitted lines belong to the spoke: a plane's partials among a neighbour's, the other plane by the pattern of its split."""

from __future__ import annotations

import numpy as np
import pytest

from tensionear.catalogue import build_spoke, library_spoke
from tensionear.physics.beam import natural_frequencies
from tensionear.physics.expectation import LOG_TENSION, expect
from tensionear.physics.spoke import Spoke
from tensionear.pitch.consistency import belonging
from tensionear.pitch.lines import Line
from tensionear.pitch.series import Found

LENGTH_M = 0.282
ROUND = build_spoke("round", {"material": "steel", "shape": "round", "diameter_mm": 2.0})
BUTTED = library_spoke("steel-butted-2.0-1.5")


def partials(spoke: Spoke, tension_n: float, hub: float, nipple: float, modes: int = 8) -> np.ndarray:
    return np.array(natural_frequencies(spoke.stretches(LENGTH_M), tension_n, hub, nipple, "flat", modes))


def lines(frequency_hz: np.ndarray, level_db: float) -> list[Line]:
    """Lines known to 0.3 cents, decaying as a spoke's do, the higher ones softer."""
    return [
        Line(float(f), float(f) * 0.3 / 1731, 3.0 * (f / 400) ** 0.75, level_db - 3.0 * at, None, None, False)
        for at, f in enumerate(frequency_hz)
    ]


def named(spoke: Spoke, heard: list[Line], tension_n: float) -> list[Line]:
    expected = expect(spoke, LENGTH_M).grid
    state = int(np.argmin(np.abs(LOG_TENSION - np.log(tension_n))))
    series = Found(float(LOG_TENSION[state]), (expected.log_frequency[0][state, 6], None))
    return belonging(heard, np.ones(len(heard)), series, expected)


@pytest.mark.parametrize("spoke", [ROUND, BUTTED], ids=["round", "butted"])
@pytest.mark.parametrize("ends", [(8.0, 150.0), (60.0, 60.0), (150.0, 8.0)])
def test_a_plane_is_told_from_its_neighbours_ring(spoke: Spoke, ends: tuple[float, float]) -> None:
    """Started 5 % off in tension, with a like spoke 25 dB down and 6 % slacker ringing along."""
    own, other = partials(spoke, 900.0, *ends), partials(spoke, 846.0, 30.0, 30.0)
    found = named(spoke, lines(own, -10.0) + lines(other, -35.0), 945.0)
    assert [line.mode for line in found[:7]] == list(range(1, 8))
    assert all(line.mode is None for line in found[8:])


def test_the_other_plane_follows_the_pattern_of_its_split() -> None:
    """Two planes of one spoke, 13 cents apart at mode 1, and one line beside mode 3 that fits neither."""
    one, two = partials(ROUND, 900.0, 30.0, 30.0), partials(ROUND, 900.0, 42.0, 42.0)
    assert 5 < 1200 * np.log2(two[0] / one[0]) < 20
    stranger = lines(np.array([one[2] * 1.012]), -30.0)
    found = named(ROUND, lines(one, -10.0) + lines(two, -16.0) + stranger, 900.0)
    assert [line.mode for line in found[:16]] == [*range(1, 9), *range(1, 9)]
    assert found[16].mode is None


def test_a_piece_of_a_badly_split_band_is_left_out() -> None:
    """A line on the second partial's place that dies five times as fast as its fellows."""
    heard = lines(partials(ROUND, 900.0, 30.0, 30.0), -10.0)
    wild = heard[1]
    heard[1] = Line(wild.frequency_hz, wild.u_frequency_hz, 5 * wild.decay_rate, wild.level_db, None, None, False)
    found = named(ROUND, heard, 900.0)
    assert [line.mode for line in found] == [1, None, 3, 4, 5, 6, 7, 8]
