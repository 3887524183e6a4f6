"""What stands out of a ring, and how a series is scored by it."""

from __future__ import annotations

import numpy as np
import pytest

from tensionear.pitch.lines import Heard, Line
from tensionear.pitch.salience import WIDTH, salient, score
from tensionear.pitch.spectrum import Peaks

HARMONIC = np.log(200.0 * np.arange(1, 11))


def peaks(*each: tuple[float, float, float]) -> Peaks:
    """Frequency, height, level."""
    hz, height, level = np.array(each, dtype=float).reshape(-1, 3).T
    return Peaks(hz, height, level)


def ring(*each: tuple[float, float, float], lines: tuple[Line, ...] = ()) -> Heard:
    return Heard(lines, (), (peaks(*each), peaks()), 0.0, 0.0)


def test_loud_and_new_peaks_weigh_most() -> None:
    seen = salient(ring((200, 40, -10), (400, 40, -25), (600, 5, -10), (800, 0, -10), (1000, 40, -45)))
    assert np.exp(seen.log_frequency) == pytest.approx([200, 400, 600])
    assert seen.weight == pytest.approx([1.0, 0.5, 0.25])
    assert seen.total == pytest.approx(1.75)


def test_a_fitted_line_tells_its_peak_better() -> None:
    good = Line(200.4, 0.02, 3.0, -10.0, None, None, False)
    poor = Line(401.0, 2.0, 3.0, -10.0, None, None, False)
    seen = salient(ring((200, 40, -10), (400, 40, -10), lines=(good, poor)))
    assert np.exp(seen.log_frequency) == pytest.approx([200.4, 400.0])
    assert seen.u[0] < seen.u[1]


def test_what_lies_on_a_series_is_explained() -> None:
    seen = salient(ring((200, 40, -10), (400, 40, -10), (470, 40, -10), (601.0, 40, -10)))
    assert seen.explained([HARMONIC]) == pytest.approx(
        (2 + np.exp(-0.5 * (1 / 600 / np.hypot(8e-4, WIDTH)) ** 2)) / 4, abs=0.01
    )
    assert seen.explained([HARMONIC, np.log(np.array([470.0]))]) > 0.87
    assert salient(ring()).explained([HARMONIC]) == 1.0


def test_a_series_pays_for_low_partials_that_are_not_there() -> None:
    seen = salient(ring((200, 40, -10), (400, 40, -10), (600, 40, -10)))
    landscape = seen.landscape(WIDTH)
    right, octave_low, wrong = (float(score(landscape, [HARMONIC + shift])) for shift in (0.0, -np.log(2), 0.1))
    assert right > octave_low > wrong
    assert right == pytest.approx(3 - 0.14 - 0.10 - 0.04, abs=0.05)
    both = score(landscape, [np.stack([HARMONIC, HARMONIC + 0.1]), np.stack([HARMONIC, HARMONIC])])
    assert both[0] == pytest.approx(right + 3, abs=0.05)
