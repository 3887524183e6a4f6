"""A spoke as a beam: material, sections along its length, and how well they are known. Imports material and section only."""

from __future__ import annotations

from dataclasses import dataclass

from .material import Material
from .section import Section


@dataclass(frozen=True, slots=True)
class Stretch:
    """A uniform piece of a spoke, from the hub towards the nipple (SI units in the names)."""

    length_m: float
    linear_density_kg_m: float
    flat_stiffness_n_m2: float
    edge_stiffness_n_m2: float
    axial_stiffness_n: float


@dataclass(frozen=True, slots=True)
class Tolerance:
    """One independent source of uncertainty of a spoke's making, and what one standard deviation of it does.

    ``linear_density``, ``flat_stiffness`` and ``edge_stiffness`` are relative changes (1 = 100 %) of the middle section;
    ``ends`` are the same three of the thick ends, None where these change alike.
    """

    source: str
    linear_density: float
    flat_stiffness: float
    edge_stiffness: float
    ends: tuple[float, float, float] | None = None

    @property
    def ends_beyond(self) -> tuple[float, float, float]:
        """By how much more than the middle the thick ends change: mass per length, flat and edge stiffness."""
        if self.ends is None:
            return 0.0, 0.0, 0.0
        return (
            self.ends[0] - self.linear_density,
            self.ends[1] - self.flat_stiffness,
            self.ends[2] - self.edge_stiffness,
        )


@dataclass(frozen=True, slots=True)
class Spoke:
    """A kind of spoke.

    Parameters
    ----------
    name : str
        Library id or the name under ``[spokes.NAME]``.
    material : Material
    middle, ends : Section
        The middle section and that of the thick ends (the same for a plain spoke).
    head_m, tail_m : float
        Length of the thick end inside the free length, from the hub and from the nipple, >= 0.
    u_diameter_percent, u_width_percent, u_thickness_percent : float
        Standard uncertainties of the section (diameter for round, the other two for flat).
    weighed_kg, whole_length_m, u_weighed_kg : float or None
        Mass of the whole spoke, its whole length, and the standard uncertainty of the mass; None if not weighed.
    max_tension_n : float or None
        The maker's limit, if stated.
    """

    name: str
    material: Material
    middle: Section
    ends: Section
    head_m: float
    tail_m: float
    u_diameter_percent: float = 0.3
    u_width_percent: float = 0.5
    u_thickness_percent: float = 1.0
    weighed_kg: float | None = None
    whole_length_m: float | None = None
    u_weighed_kg: float = 0.0
    max_tension_n: float | None = None

    @property
    def is_flat(self) -> bool:
        """True if the two bending planes differ (blade or oval middle)."""
        return self.middle.shape != "round"

    @property
    def has_other_ends(self) -> bool:
        """Whether a flat middle has thick ends inside the free length, made by themselves."""
        return self.is_flat and self.ends != self.middle and self.head_m + self.tail_m > 0

    @property
    def density_kg_m3(self) -> float:
        """Density in kg/m3, scaled to the weighed mass where there is one."""
        if self.weighed_kg is None or self.whole_length_m is None:
            return self.material.density_kg_m3
        return self.weighed_kg / sum(self._volumes_m3(self.whole_length_m))

    def _volumes_m3(self, whole_length_m: float) -> tuple[float, float]:
        """Volume of the thick ends and of the middle."""
        thick = self.head_m + self.tail_m
        return self.ends.area_m2 * thick, self.middle.area_m2 * (whole_length_m - thick)

    def stretches(self, free_length_m: float) -> tuple[Stretch, ...]:
        """The uniform pieces of a spoke of this free length (m), hub first; pieces of no length are left out."""
        pieces: tuple[tuple[float, Section], ...] = (
            (self.head_m, self.ends),
            (free_length_m - self.head_m - self.tail_m, self.middle),
            (self.tail_m, self.ends),
        )
        if self.ends == self.middle:
            pieces = ((free_length_m, self.middle),)
        density, modulus = self.density_kg_m3, self.material.youngs_modulus_pa
        return tuple(
            Stretch(
                length,
                density * section.area_m2,
                modulus * section.flat_second_moment_m4,
                modulus * section.edge_second_moment_m4,
                modulus * section.area_m2,
            )
            for length, section in pieces
            if length > 0
        )

    def end_pieces(self) -> tuple[int, ...]:
        """Which of ``stretches`` are thick ends, from either end."""
        if self.ends == self.middle:
            return ()
        return tuple(at for at, length_m in ((0, self.head_m), (-1, self.tail_m)) if length_m > 0)

    def tolerances(self) -> tuple[Tolerance, ...]:
        """The independent sources of uncertainty of mass per length and bending stiffness (JCGM 100 type B).

        A weighed spoke's mass per length does not depend on its section or tabled density: only the mass counts. Where a flat
        middle has round ends, a larger share of that mass in the one is a smaller one in the other.
        """
        weighed = self.weighed_kg is not None
        found = [Tolerance("modulus", 0.0, *(2 * (self.material.u_modulus_percent / 100,)))]
        if weighed:
            found.append(Tolerance("weighed mass", self.u_weighed_kg / (self.weighed_kg or 1.0), 0.0, 0.0))
        else:
            found.append(Tolerance("density", self.material.u_density_percent / 100, 0.0, 0.0))
        u_d = self.u_diameter_percent / 100
        if not self.is_flat:
            return *found, Tolerance("diameter", 0.0 if weighed else 2 * u_d, 4 * u_d, 4 * u_d)
        sizes = {"width": (self.u_width_percent / 100, 0.0), "thickness": (0.0, self.u_thickness_percent / 100)}
        in_ends, in_middle = self._shares() if weighed else (0.0, 0.0)
        for source, by in sizes.items():
            area, flat, edge = self.middle.growth(*by)
            ends = (-area * in_middle, 0.0, 0.0) if self.has_other_ends else None
            found.append(Tolerance(source, area * (1 - in_middle), flat, edge, ends))
        if self.has_other_ends:
            found.append(
                Tolerance("end diameter", -2 * u_d * in_ends, 0.0, 0.0, (2 * u_d * (1 - in_ends), 4 * u_d, 4 * u_d))
            )
        return tuple(found)

    def _shares(self) -> tuple[float, float]:
        """Of a weighed spoke's volume in its thick ends and in its middle."""
        thick, thin = self._volumes_m3(self.whole_length_m or 0.0) if self.has_other_ends else (0.0, 1.0)
        return thick / (thick + thin), thin / (thick + thin)
