"""The expected pitch against the exact frequencies of nominal spokes."""

import pytest
from wheel_texts import SHORT

from tensionear.wheel.expected_pitch import expected_pitch
from tensionear.wheel.wheelfile import parse_wheel


def test_a_nominal_spoke():
    """2.0 mm, 290 mm, 1000 N, E 200 GPa, 7900 kg/m3: 349.2609 Hz pinned, 382.3315 clamped (exact roots, recomputed)."""
    own = '[spokes.a]\nmaterial = "steel"\nyoungs_modulus_gpa = 200\nshape = "round"\ndiameter_mm = 2.0\n'
    text = SHORT.replace("steel-round-2.0", "a").replace("270", "290") + own
    found = expected_pitch(parse_wheel(text, "q").place(1), 1000.0)
    assert (found.hinged_hz, found.clamped_hz) == pytest.approx((349.2609, 382.3315), abs=1e-3)
    assert found.tension_n == 1000.0
