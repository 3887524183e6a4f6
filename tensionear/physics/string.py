"""The ideal string: what a reading without bending stiffness would give, to compare with. Imports nothing of the rest.

A spoke is no string: read as one, a clamped 2.0 mm steel spoke at 1 kN comes out 22 % too tight.
"""

from __future__ import annotations


def ideal_string_frequency_hz(tension_n: float, length_m: float, linear_density_kg_m: float, mode: int = 1) -> float:
    """Frequency of one mode of a string without stiffness, f = (n / 2L) sqrt(T / mu).

    Parameters
    ----------
    tension_n : float
        T, >= 0.
    length_m : float
        L, free length between fixed ends, > 0.
    linear_density_kg_m : float
        mu, > 0.
    mode : int
        n, >= 1.

    Returns
    -------
    float
        In Hz.

    Raises
    ------
    ValueError
        If an argument is out of its range.
    """
    _check(length_m, linear_density_kg_m, mode)
    if not tension_n >= 0:
        raise ValueError(f"tension {tension_n} N: must be 0 N or more")
    return float(mode / (2 * length_m) * (tension_n / linear_density_kg_m) ** 0.5)


def ideal_string_tension_n(frequency_hz: float, length_m: float, linear_density_kg_m: float, mode: int = 1) -> float:
    """Tension at which a string without stiffness has this frequency, T = mu (2 L f / n)^2.

    Parameters
    ----------
    frequency_hz : float
        f of the mode, >= 0.
    length_m, linear_density_kg_m, mode
        As in `ideal_string_frequency_hz`.

    Returns
    -------
    float
        In N.

    Raises
    ------
    ValueError
        If an argument is out of its range.
    """
    _check(length_m, linear_density_kg_m, mode)
    if not frequency_hz >= 0:
        raise ValueError(f"frequency {frequency_hz} Hz: must be 0 Hz or more")
    return linear_density_kg_m * (2 * length_m * frequency_hz / mode) ** 2


def _check(length_m: float, linear_density_kg_m: float, mode: int) -> None:
    if not (length_m > 0 and linear_density_kg_m > 0 and mode >= 1):
        raise ValueError(
            f"length {length_m} m, linear density {linear_density_kg_m} kg/m, mode {mode}: "
            "length and density must be above 0, modes count from 1"
        )
