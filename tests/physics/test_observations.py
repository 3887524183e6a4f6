"""Lines of rings as one value a partial and spoke: who is which plane, and how repeats are averaged."""

from __future__ import annotations

import numpy as np
import pytest

from tensionear.physics.modes import MODES
from tensionear.physics.observations import partials_of
from tensionear.pitch.lines import Heard, Line

BLEND = 0.0004


def line(hz: float, mode: int | None, plane: int | None = 0, u_hz: float = 0.1, twin: bool = False) -> Line:
    return Line(hz, u_hz, 3.0, -20.0, plane, mode, twin)


def ring(*lines: Line) -> Heard:
    return Heard(lines, (), (None, None), 0.0, 0.0)  # type: ignore[arg-type]


def places(sd: np.ndarray) -> set[tuple[int, ...]]:
    """Spoke, row and mode index of what was heard."""
    return {tuple(int(each) for each in place) for place in np.argwhere(np.isfinite(sd))}


def test_one_line_of_a_round_spoke_may_be_either_plane() -> None:
    found = partials_of([[ring(line(400.0, 1), line(812.0, 2, u_hz=0.4))]], True, [6.9])
    assert places(found.sd) == {(0, 2, 0), (0, 2, 1)}
    assert np.exp(found.log_frequency[0, 2, :2]) == pytest.approx([400.0, 812.0])
    assert found.sd[0, 2, 0] == pytest.approx(np.hypot(0.1 / 400, BLEND))
    assert found.sd[0, 2, 1] == pytest.approx(np.hypot(0.4 / 812, BLEND))
    assert list(found.start_log_tension) == [6.9]
    assert found.log_frequency.shape == found.sd.shape == (1, 3, MODES)


def test_two_lines_of_a_round_spoke_are_its_planes_the_lower_first() -> None:
    found = partials_of([[ring(line(402.0, 1), line(400.0, 1, twin=True))]], True, [6.9])
    assert places(found.sd) == {(0, 0, 0), (0, 1, 0)}
    assert np.exp(found.log_frequency[0, :2, 0]) == pytest.approx([400.0, 402.0])
    assert found.sd[0, 0, 0] == pytest.approx(0.1 / 400)


def test_of_three_lines_the_outer_two_count() -> None:
    found = partials_of([[ring(line(402.0, 1), line(400.0, 1), line(401.0, 1))]], True, [6.9])
    assert np.exp(found.log_frequency[0, :2, 0]) == pytest.approx([400.0, 402.0])


def test_a_flat_spoke_has_its_planes_named_and_twins_left_out() -> None:
    found = partials_of([[ring(line(300.0, 1, 0), line(301.0, 1, 0, twin=True), line(420.0, 1, 1))]], False, [6.9])
    assert places(found.sd) == {(0, 0, 0), (0, 1, 0)}
    assert np.exp(found.log_frequency[0, :2, 0]) == pytest.approx([300.0, 420.0])
    assert found.sd[0, 0, 0] == pytest.approx(0.1 / 300)


@pytest.mark.parametrize("alike", [True, False])
def test_what_is_no_partial_is_not_used(alike: bool) -> None:
    strangers = ring(line(333.0, None, None), line(10_000.0, MODES + 1), line(500.0, 2, None))
    assert places(partials_of([[strangers]], alike, [6.9]).sd) == set()


def test_repeats_are_averaged_by_their_weight() -> None:
    """400.0 +- 0.1 and 400.2 +- 0.2: (4 x 400.0 + 400.2)/5, and less than either alone."""
    rings = [ring(line(400.0, 1, 0, 0.1)), ring(line(400.2, 1, 0, 0.2))]
    found = partials_of([rings], False, [6.9])
    assert np.exp(found.log_frequency[0, 0, 0]) == pytest.approx(400.04, abs=1e-3)
    assert found.sd[0, 0, 0] == pytest.approx(0.1 / np.sqrt(1.25) / 400, rel=0.01)


def test_repeats_that_disagree_are_worth_less() -> None:
    """400 and 402 Hz, both +- 0.1: spread by their own scatter, a Birge ratio of 14."""
    found = partials_of([[ring(line(400.0, 1)), ring(line(402.0, 1))]], False, [6.9])
    u = 0.1 / 401
    birge = np.log(402 / 400) / np.sqrt(2) / u
    assert found.sd[0, 0, 0] == pytest.approx(birge * u / np.sqrt(2), rel=0.01)


def test_repeats_keep_what_only_one_of_them_has() -> None:
    rings = [ring(line(400.0, 1, 0)), ring(line(400.0, 1, 0), line(820.0, 2, 1))]
    found = partials_of([rings, [ring(line(390.0, 3, 0))]], False, [6.9, 6.8])
    assert places(found.sd) == {(0, 0, 0), (0, 1, 1), (1, 0, 2)}
    assert list(found.start_log_tension) == [6.9, 6.8]
