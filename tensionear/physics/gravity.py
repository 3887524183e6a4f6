"""Weight of a hanging mass: local gravity and the buoyancy of air. Imports nothing of the package.

Gravity on the ellipsoid: Somigliana's closed formula with the constants of GRS 80 (H. Moritz, Geodetic Reference System 1980,
Bulletin Geodesique 54, 1980, 395; the constants from memory), lowered with height by the free-air gradient.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

#: GRS 80: normal gravity at the equator in m/s2, Somigliana's k, the square of the first eccentricity.
EQUATOR_M_S2, SOMIGLIANA, ECCENTRICITY_2 = 9.7803267715, 0.001931851353, 0.00669438002290
#: Free-air gradient, 1/s2; standard gravity (3rd CGPM, 1901), m/s2.
FREE_AIR_S2, STANDARD_M_S2 = 3.086e-6, 9.80665
#: True gravity is off the ellipsoid's by some 50 mGal (from memory); without a latitude it is one of all latitudes'.
_U_ANOMALY_M_S2 = 5e-4
_U_ANYWHERE_M_S2 = (9.8321863685 - EQUATOR_M_S2) / math.sqrt(12)  # rectangular: JCGM 100:2008, 4.3.7
#: Density of air at room temperature and of the mass, kg/m3; a mass is anything from concrete to lead.
AIR_KG_M3, MASS_KG_M3, _LIGHTEST_KG_M3 = 1.2, 7900.0, 2000.0


@dataclass(frozen=True, slots=True)
class Gravity:
    """Local gravity and its standard uncertainty, m/s2."""

    m_s2: float
    u_m_s2: float


def gravity(latitude_deg: float | None, height_m: float = 0.0) -> Gravity:
    """Gravity at a latitude (-90..90 degrees) and height over the sea (m); standard gravity if the latitude is not known."""
    if latitude_deg is None:
        return Gravity(STANDARD_M_S2, _U_ANYWHERE_M_S2)
    square = math.sin(math.radians(latitude_deg)) ** 2
    on_ellipsoid = EQUATOR_M_S2 * (1 + SOMIGLIANA * square) / math.sqrt(1 - ECCENTRICITY_2 * square)
    return Gravity(on_ellipsoid - FREE_AIR_S2 * height_m, _U_ANOMALY_M_S2)


def buoyancy(density_kg_m3: float | None) -> tuple[float, float]:
    """Share of its weight that air takes off a mass, and the standard uncertainty of that (density in kg/m3, None: iron)."""
    if density_kg_m3 is not None:
        return AIR_KG_M3 / density_kg_m3, 0.1 * AIR_KG_M3 / density_kg_m3
    share = AIR_KG_M3 / MASS_KG_M3
    return share, (AIR_KG_M3 / _LIGHTEST_KG_M3 - share) / math.sqrt(12)
