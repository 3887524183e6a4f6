"""Spoke kinds: nominal data as a wheel file states them, and the true spoke drawn around them. Numpy only.

A wheel file says what is nominal and how sure it is (standard uncertainties); the truth is nominal x (1 + spread x one
normal draw), one draw a wheel, so that a solver told these spreads is told the truth about its own ignorance.
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace

import numpy as np

from benchmarks.simulator.beam import Beam, PointMass, Segment

U_LENGTH_MM = 0.5
SPREAD_PERCENT = {"diameter": 0.3, "width": 0.5, "thickness": 1.0, "density": 0.5, "modulus": 2.0}
"""Standard uncertainties of a spoke's nominal data, in percent, as ``u_..._percent`` of the wheel file."""

DENSITY_KG_M3 = {"steel": 7900.0, "titanium": 4430.0, "carbon": 1600.0}
MODULUS_GPA = {"steel": 195.0, "titanium": 113.8, "carbon": 145.0}
"""Drawn stainless wire 185..200 GPa, Ti-6Al-4V, unidirectional carbon fibre: typical handbook values."""


@dataclass(frozen=True, slots=True)
class Kind:
    """A kind of spoke: ``shape`` round, butted, oval or blade; sizes in mm, None where the shape has none."""

    name: str
    material: str
    shape: str
    diameter_mm: float | None = None
    middle_diameter_mm: float | None = None
    width_mm: float | None = None
    thickness_mm: float | None = None

    @property
    def flat(self) -> bool:
        """Whether the two bending planes differ by design."""
        return self.shape in ("oval", "blade")


KINDS = (
    Kind("steel-round-2.0", "steel", "round", 2.0),
    Kind("steel-round-1.8", "steel", "round", 1.8),
    Kind("steel-butted-2.0-1.8", "steel", "butted", 2.0, 1.8),
    Kind("steel-butted-2.0-1.5", "steel", "butted", 2.0, 1.5),
    Kind("steel-oval-2.3x1.0", "steel", "oval", 2.0, None, 2.3, 1.0),
    Kind("titanium-round-2.0", "titanium", "round", 2.0),
    Kind("carbon-blade-4.6x1.2", "carbon", "blade", None, None, 4.6, 1.2),
)


@dataclass(frozen=True, slots=True)
class Section:
    """Cross-section: area m2, second moments m4 for bending across the flat and across the edge."""

    area_m2: float
    flat_m4: float
    edge_m4: float


def round_section(diameter_m: float) -> Section:
    """A = pi d^2/4, I = pi d^4/64."""
    moment = np.pi * diameter_m**4 / 64
    return Section(np.pi * diameter_m**2 / 4, moment, moment)


def blade_section(width_m: float, thickness_m: float) -> Section:
    """Rectangle: I = w t^3/12 flat, t w^3/12 edge."""
    return Section(width_m * thickness_m, width_m * thickness_m**3 / 12, thickness_m * width_m**3 / 12)


def oval_section(width_m: float, thickness_m: float) -> Section:
    """Width over all, semicircular edges of radius r = t/2: a rectangle and two half-discs.

    A half-disc has pi r^4/8 - 8 r^4/(9 pi) about its own centroid, which lies 4 r/(3 pi) off its straight side.
    """
    straight, r = width_m - thickness_m, thickness_m / 2
    half_area = np.pi * r**2 / 2
    own = (np.pi / 8 - 8 / (9 * np.pi)) * r**4
    edge = thickness_m * straight**3 / 12 + 2 * (own + half_area * (straight / 2 + 4 * r / (3 * np.pi)) ** 2)
    flat = straight * thickness_m**3 / 12 + np.pi * thickness_m**4 / 64
    return Section(straight * thickness_m + 2 * half_area, flat, edge)


@dataclass(frozen=True, slots=True)
class Nominal:
    """What the wheel file says of a spoke: kind and, where thick ends differ, their lengths inside the free length."""

    kind: Kind
    head_mm: float = 0.0
    tail_mm: float = 0.0

    def file_keys(self) -> dict[str, str | float]:
        """The keys of ``[spokes.NAME]``, uncertainties included."""
        kind = self.kind
        keys: dict[str, str | float] = {"material": kind.material, "shape": kind.shape}
        keys["density_kg_m3"] = DENSITY_KG_M3[kind.material]
        keys["youngs_modulus_gpa"] = MODULUS_GPA[kind.material]
        if kind.shape == "round":
            keys["diameter_mm"] = float(kind.diameter_mm or 0)
        elif kind.diameter_mm is not None:
            keys["end_diameter_mm"] = kind.diameter_mm
            keys["head_mm"] = self.head_mm
            keys["tail_mm"] = self.tail_mm
        if kind.middle_diameter_mm is not None:
            keys["middle_diameter_mm"] = kind.middle_diameter_mm
        if kind.width_mm is not None and kind.thickness_mm is not None:
            keys["width_mm"] = kind.width_mm
            keys["thickness_mm"] = kind.thickness_mm
            keys["u_width_percent"] = SPREAD_PERCENT["width"]
            keys["u_thickness_percent"] = SPREAD_PERCENT["thickness"]
        if kind.diameter_mm is not None:
            keys["u_diameter_percent"] = SPREAD_PERCENT["diameter"]
        keys["u_density_percent"] = SPREAD_PERCENT["density"]
        keys["u_modulus_percent"] = SPREAD_PERCENT["modulus"]
        return keys


@dataclass(frozen=True, slots=True)
class Batch:
    """The true spokes of one wheel: nominal data times these factors, the same for every spoke of the batch."""

    nominal: Nominal
    factors: dict[str, float] = field(default_factory=dict)

    def _sections(self) -> tuple[Section, Section]:
        """End and middle section, true sizes."""
        kind, scale = self.nominal.kind, self.factors
        end = round_section(1e-3 * (kind.diameter_mm or 0) * scale["diameter"])
        if kind.width_mm is not None and kind.thickness_mm is not None:
            width, thickness = 1e-3 * kind.width_mm * scale["width"], 1e-3 * kind.thickness_mm * scale["thickness"]
            shape = oval_section if kind.shape == "oval" else blade_section
            middle = shape(width, thickness)
        elif kind.middle_diameter_mm is not None:
            middle = round_section(1e-3 * kind.middle_diameter_mm * scale["diameter"])
        else:
            middle = end
        return end, middle

    def segments(self, length_m: float, plane: int) -> tuple[Segment, ...]:
        """Pieces from hub to nipple for bending plane 0 (flat) or 1 (edge) of a spoke of ``length_m``."""
        material = self.nominal.kind.material
        density = DENSITY_KG_M3[material] * self.factors["density"]
        modulus = 1e9 * MODULUS_GPA[material] * self.factors["modulus"]

        def piece(length: float, section: Section) -> Segment:
            moment = section.edge_m4 if plane else section.flat_m4
            return Segment(length, modulus * moment, density * section.area_m2)

        end, middle = self._sections()
        head, tail = self.nominal.head_mm * 1e-3, self.nominal.tail_mm * 1e-3
        if head + tail == 0:
            return (piece(length_m, middle),)
        return piece(head, end), piece(length_m - head - tail, middle), piece(tail, end)

    def axial_stiffness_n(self, length_m: float) -> float:
        """Mean EA in N: that of the pieces in series times the length."""
        material = self.nominal.kind.material
        modulus = 1e9 * MODULUS_GPA[material] * self.factors["modulus"]
        end, middle = self._sections()
        thick = (self.nominal.head_mm + self.nominal.tail_mm) * 1e-3
        return (
            modulus
            * length_m
            / (thick / end.area_m2 + (length_m - thick) / middle.area_m2 if thick else length_m / middle.area_m2)
        )


def draw_nominal(rng: np.random.Generator, kind: Kind) -> Nominal:
    """Thick ends of 15..40 mm for kinds that have them, stated to 0.5 mm."""
    if kind.diameter_mm is None or kind.shape == "round":
        return Nominal(kind)
    head, tail = (float(np.round(2 * rng.uniform(15, 40)) / 2) for _ in range(2))
    return Nominal(kind, head, tail)


def draw_batch(rng: np.random.Generator, nominal: Nominal) -> Batch:
    """One draw of the stated spreads."""
    return Batch(nominal, {key: 1 + 0.01 * spread * rng.normal() for key, spread in SPREAD_PERCENT.items()})


PLANES = 2
STIFFNESS_RANGE_N_M_RAD = (4.0, 200.0)
"""A loose elbow to a nearly clamped end."""
PLANE_SPLIT = 0.25


@dataclass(frozen=True, slots=True)
class Ends:
    """Rotational stiffness in N m/rad of hub and nipple, for (flat, edge) plane each."""

    hub: tuple[float, float]
    nipple: tuple[float, float]


def draw_side_ends(rng: np.random.Generator) -> Ends:
    """Ends common to a side: log-uniform base at hub and at nipple, split between the planes (lognormal 0.25)."""
    low, high = np.log(STIFFNESS_RANGE_N_M_RAD)
    both = [
        tuple(float(np.exp(base + PLANE_SPLIT * rng.normal())) for _ in range(PLANES))
        for base in rng.uniform(low, high, 2)
    ]
    return Ends((both[0][0], both[0][1]), (both[1][0], both[1][1]))


def scatter_ends(rng: np.random.Generator, side: Ends, spread: float) -> Ends:
    """Ends of one spoke: each of the four values off its side's by a lognormal ``spread``."""

    def one(pair: tuple[float, float]) -> tuple[float, float]:
        first, second = np.exp(spread * rng.normal(size=2))
        return pair[0] * float(first), pair[1] * float(second)

    return Ends(one(side.hub), one(side.nipple))


@dataclass(frozen=True, slots=True)
class TrueSpoke:
    """One real spoke under tension, bare or with ``masses`` on it."""

    batch: Batch
    length_m: float
    tension_n: float
    ends: Ends
    masses: tuple[PointMass, ...] = ()

    def beam(self, plane: int) -> Beam:
        """The beam of bending plane 0 (flat) or 1 (edge)."""
        segments = self.batch.segments(self.length_m, plane)
        return Beam(segments, self.tension_n, self.ends.hub[plane], self.ends.nipple[plane], self.masses)

    def with_tension(self, tension_n: float) -> TrueSpoke:
        """The same spoke at another tension."""
        return replace(self, tension_n=tension_n)
