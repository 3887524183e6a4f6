"""The package's beam in numbers without units: length, mass and bending stiffness one, tension xi^2."""

import numpy as np

from tensionear.physics.beam import natural_frequencies
from tensionear.physics.spoke import Stretch

PINNED, CLAMPED = 0.0, 1e9
UNIT = Stretch(1.0, 1.0, 1.0, 1.0, 1.0)


def squared_wave_numbers(xi: float, hub: float, nipple: float, count: int) -> np.ndarray:
    """omega L^2 sqrt(mu / EI) of the first modes."""
    return 2 * np.pi * natural_frequencies([UNIT], xi**2, hub, nipple, "flat", count)


def ratios_to_string(xi: float, hub: float, nipple: float, count: int) -> np.ndarray:
    """Om_n = f_n / f0 with the first mode of the ideal string, f0 = sqrt(T / mu) / 2L."""
    return squared_wave_numbers(xi, hub, nipple, count) / (np.pi * xi)


def cents(frequency: float, reference: float) -> float:
    """The interval from the reference up to the frequency."""
    return 1200 * float(np.log2(frequency / reference))
