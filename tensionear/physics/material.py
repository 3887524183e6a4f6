"""What a spoke is made of: density and stiffness, with how well each is known. Imports nothing of the package."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Material:
    """A spoke material at room temperature.

    Parameters
    ----------
    name : str
        Generic name (``steel``, ``titanium`` ...).
    density_kg_m3 : float
        Mass density, > 0.
    youngs_modulus_pa : float
        Modulus along the spoke, > 0.
    u_density_percent, u_modulus_percent : float
        Standard uncertainties (JCGM 100 type B), percent of the value, >= 0.
    """

    name: str
    density_kg_m3: float
    youngs_modulus_pa: float
    u_density_percent: float
    u_modulus_percent: float
