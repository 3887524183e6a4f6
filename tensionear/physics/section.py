"""Cross-sections of spokes and their area and second moments. Imports nothing of the package."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal

Shape = Literal["round", "blade", "oval"]
_STEP = 1e-3  # of a change, for derivatives


@dataclass(frozen=True, slots=True)
class Section:
    """A cross-section, uniform along its stretch.

    Parameters
    ----------
    shape : {"round", "blade", "oval"}
        Circle; rectangle; or rectangle with semicircular edges.
    width_m, thickness_m : float
        Over all, width >= thickness > 0; both are the diameter of a round section.

    Notes
    -----
    "Flat" is the soft bending plane (across the thickness), "edge" the stiff one (across the width).
    """

    shape: Shape
    width_m: float
    thickness_m: float

    @property
    def area_m2(self) -> float:
        """Area in m2: pi d^2/4, w t, or (w - t) t + pi t^2/4."""
        w, t = self.width_m, self.thickness_m
        if self.shape == "blade":
            return w * t
        return (w - t) * t + math.pi * t**2 / 4

    @property
    def flat_second_moment_m4(self) -> float:
        """Second moment for bending across the thickness, in m4: pi d^4/64, w t^3/12, or (w - t) t^3/12 + pi t^4/64."""
        w, t = self.width_m, self.thickness_m
        if self.shape == "blade":
            return w * t**3 / 12
        return (w - t) * t**3 / 12 + math.pi * t**4 / 64

    @property
    def edge_second_moment_m4(self) -> float:
        """Second moment for bending across the width, in m4 (parallel-axis theorem for the semicircular edges).

        A semicircle of radius r has its centroid 4r/3pi from the diameter and
        (pi/8 - 8/9pi) r^4 about its own centroid (tables of section properties).
        """
        w, t = self.width_m, self.thickness_m
        if self.shape == "blade":
            return t * w**3 / 12
        r, straight = t / 2, w - t
        centroid = 4 * r / (3 * math.pi)
        half = (math.pi / 8 - 8 / (9 * math.pi)) * r**4 + (math.pi * r**2 / 2) * (straight / 2 + centroid) ** 2
        return t * straight**3 / 12 + 2 * half

    def growth(self, width: float, thickness: float) -> tuple[float, float, float]:
        """Relative change of area, flat and edge second moment for small relative changes of width and thickness."""

        def logs(sign: float) -> list[float]:
            step = sign * _STEP
            other = Section(self.shape, self.width_m * (1 + step * width), self.thickness_m * (1 + step * thickness))
            return [
                math.log(each) for each in (other.area_m2, other.flat_second_moment_m4, other.edge_second_moment_m4)
            ]

        area, flat, edge = ((more - less) / (2 * _STEP) for more, less in zip(logs(1.0), logs(-1.0), strict=True))
        return area, flat, edge
