"""What was found of a lot of spokes: mass per length, bending stiffness, section, from hanging masses or a scale.

Pure; imports physics. It is told in the standardised tolerances of the kind (``Spoke.tolerances``), each 0 +/- 1 before, so
that a wheel built with the lot takes it over as it is.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from tensionear.physics.spoke import Spoke
from tensionear.physics.spokemodel import Array
from tensionear.physics.uncertainty import propagate


@dataclass(frozen=True, slots=True, eq=False)
class Lot:
    """A lot of spokes of one kind: mean (sources,) and covariance (sources, sources) of its standardised tolerances."""

    spoke: Spoke
    mean: Array
    covariance: Array


@dataclass(frozen=True, slots=True)
class Figure:
    """One figure of a lot: what it is, value and standard uncertainty in ``unit``, and what the kind's data alone say."""

    name: str
    unit: str
    value: float
    u: float
    tabled: float
    u_tabled: float


def figures_of(lot: Lot) -> tuple[Figure, ...]:
    """Mass per length and bending stiffness of the middle section, and its size, before and after."""
    spoke = lot.spoke
    rows = np.array([(each.linear_density, each.flat_stiffness, each.edge_stiffness) for each in spoke.tolerances()])
    middle = max(spoke.stretches(1.0), key=lambda piece: piece.length_m)
    wanted = [("mass per length", "g/m", 1e3 * middle.linear_density_kg_m, rows[:, 0])]
    if spoke.is_flat:
        wanted.append(("bending stiffness, flat", "N m2", middle.flat_stiffness_n_m2, rows[:, 1]))
        wanted.append(("bending stiffness, edge", "N m2", middle.edge_stiffness_n_m2, rows[:, 2]))
    else:
        wanted.append(("bending stiffness", "N m2", middle.flat_stiffness_n_m2, rows[:, 1]))
    for index, each in enumerate(spoke.tolerances()):
        size = {"diameter": spoke.middle.width_m, "width": spoke.middle.width_m, "thickness": spoke.middle.thickness_m}
        if each.source in size:
            percent = {
                "diameter": spoke.u_diameter_percent,
                "width": spoke.u_width_percent,
                "thickness": spoke.u_thickness_percent,
            }[each.source]
            wanted.append((each.source, "mm", 1e3 * size[each.source], np.eye(len(rows))[index] * percent / 100))
    found = []
    for name, unit, tabled, slope in wanted:
        change = float(slope @ lot.mean)
        u = math.sqrt(float(propagate(slope[None], lot.covariance)[0, 0]))
        value = tabled * (1 + change)
        found.append(Figure(name, unit, value, tabled * u, tabled, tabled * float(np.linalg.norm(slope))))
    return tuple(found)


def weighed_lot(spoke: Spoke, relative: float, u_relative: float, slopes: Sequence[float]) -> Lot:
    """A lot of which only the mass was found: ``relative`` to the kind's (0 is equal), with its uncertainty.

    ``slopes`` is what one standard deviation of each tolerance does to that mass.
    """
    slope = np.array(slopes)
    gain = slope / (float(slope @ slope) + u_relative**2)
    return Lot(spoke, gain * relative, np.eye(len(slope)) - np.outer(gain, slope))
