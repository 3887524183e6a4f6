"""How a wheel answers to turned nipples: the rim as a ring on prestressed spokes. Pure; imports ringbeam and the wheel."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from tensionear.catalogue import RimClass
from tensionear.errors import InputError
from tensionear.wheel.model import Place, Wheel
from tensionear.wheel.ringbeam import Floats, RingSection, give, rigid


@dataclass(frozen=True, slots=True, eq=False)
class Skeleton:
    """What of a wheel carries load; arrays have one row a spoke, in rim order.

    Parameters
    ----------
    radius_m : float
        Of the circle of nipple seats, taken as the rim's axis.
    seat_offset_m : float
        Of the nipple seats from the rim's middle plane, + to the right.
    section : RingSection
    angles_rad : (spokes,)
        Of the seats.
    directions : (spokes, 3)
        Unit vectors from hub to seat: radial, tangential, lateral part.
    lengths_m : (spokes,)
        From hub hole to nipple seat.
    stiffness_n_m : (spokes,)
        Of each spoke along itself, > 0.
    pitch_m : float
        Of the nipples' thread.
    u_stiffness : (spokes,)
        Standard uncertainties of the spokes' stiffness as shares of it; all are off together, being of one wire.
    """

    radius_m: float
    seat_offset_m: float
    section: RingSection
    angles_rad: Floats
    directions: Floats
    lengths_m: Floats
    stiffness_n_m: Floats
    pitch_m: float
    u_stiffness: Floats


@dataclass(frozen=True, slots=True, eq=False)
class Influence:
    """What one turn of each nipple does; row: where, column: which nipple is tightened by one turn.

    ``tension_n`` (spokes, spokes); ``lateral_m`` and ``radial_m`` (spokes, spokes) of the rim at each spoke;
    ``dish_m`` (spokes,), the mean of the lateral columns.
    """

    tension_n: Floats
    lateral_m: Floats
    radial_m: Floats
    dish_m: Floats

    def stacked(self) -> Floats:
        """All rows but the dish's, which follows from the lateral ones: tension, lateral, radial; (3 spokes, spokes)."""
        return np.vstack([self.tension_n, self.lateral_m, self.radial_m])


def ring_section(stiffness: RimClass) -> RingSection:
    """The stiffnesses of a rim class as a section."""
    return RingSection(stiffness.ea_n, stiffness.ei_radial_n_m2, stiffness.ei_lateral_n_m2, stiffness.gj_n_m2)


def skeleton_of(wheel: Wheel, stiffness: RimClass) -> Skeleton:
    """What carries load in a described wheel, with a rim of this class; InputError if its geometry is not stated."""
    lines = [place.line for place in wheel.places if place.line is not None]
    if len(lines) < wheel.spokes or wheel.rim.seat_diameter_m is None:
        raise InputError(_missing(wheel))
    angles = np.array([2 * np.pi * (place.number - 0.5) / wheel.spokes for place in wheel.places])
    vectors = np.array([np.subtract(line.seat_m, line.hub_m) for line in lines])
    outward = vectors[:, 1] * np.sin(angles) + vectors[:, 2] * np.cos(angles)
    along = vectors[:, 1] * np.cos(angles) - vectors[:, 2] * np.sin(angles)
    lengths = np.linalg.norm(vectors, axis=1)
    return Skeleton(
        radius_m=wheel.rim.seat_diameter_m / 2,
        seat_offset_m=wheel.rim.seat_offset_m,
        section=ring_section(stiffness),
        angles_rad=angles,
        directions=np.column_stack([outward, along, vectors[:, 0]]) / lengths[:, None],
        lengths_m=lengths,
        stiffness_n_m=np.array([axial_stiffness_n_m(place) for place in wheel.places]),
        pitch_m=wheel.nipple.pitch_m,
        u_stiffness=np.array([place.spoke.material.u_modulus_percent / 100 for place in wheel.places]),
    )


def axial_stiffness_n_m(place: Place) -> float:
    """Stiffness of a spoke along itself, N/m: its stretches in series; the nipple and the hub end count as rigid."""
    return 1 / sum(piece.length_m / piece.axial_stiffness_n for piece in place.spoke.stretches(place.free_length_m))


def scaled(skeleton: Skeleton, log_factors: Floats) -> Skeleton:
    """The same wheel with its rim's EA, EI radial, EI lateral and GJ times exp(``log_factors``), (4,)."""
    one = skeleton.section
    stated = np.array([one.ea_n, one.ei_radial_n_m2, one.ei_lateral_n_m2, one.gj_n_m2])
    return replace(skeleton, section=RingSection(*(float(each) for each in stated * np.exp(log_factors))))


def with_wire(skeleton: Skeleton, sigmas: float) -> Skeleton:
    """The same wheel with its spokes stiffer by so many of their standard uncertainties."""
    return replace(skeleton, stiffness_n_m=skeleton.stiffness_n_m * np.exp(sigmas * skeleton.u_stiffness))


def hoop_compression_n(skeleton: Skeleton, tensions_n: Floats) -> float:
    """Compression of the rim under its spokes, N: sum of their radial pulls / 2 pi (half a ring at rest)."""
    return float(skeleton.directions[:, 0] @ tensions_n) / (2 * np.pi)


@dataclass(frozen=True, slots=True, eq=False)
class Moved:
    """How the wheel moves under some loads, (spokes, loads) each, in m: its nipple seats outward, along the rim (with
    the angle) and to the right; and the rim's axis at the spokes, outward and to the right."""

    seats: tuple[Floats, Floats, Floats]
    radial: Floats
    lateral: Floats


def moved_by(skeleton: Skeleton, tensions_n: Floats, loads_n: Floats) -> Moved:
    """How rim and spokes move together at this state of tension, the hub held.

    Parameters
    ----------
    skeleton : Skeleton
    tensions_n : (spokes,)
    loads_n : (3 spokes, loads)
        Forces on the nipple seats: outward, along the rim and to the right, stacked.

    Notes
    -----
    Each spoke resists along itself by its own stiffness K and across by T/L (a bar turns against its tension); with
    that, never without, goes the geometric stiffness of the rim under the hoop compression these tensions make.
    Together a rigid rotation of rim and hub costs nothing, the spokes' pull on the hub following it. A seat off the
    rim's middle plane moves outward as the rim twists and along it as the rim slopes sideways. With the ring's give F
    but for rigid motions, its rigid part (maps M, stiffness k) and the spokes' stiffness S, seats under loads f move
    by d = F (f - S d) + M q with k q = M' (f - S d).
    """
    compression, count = hoop_compression_n(skeleton, tensions_n), len(tensions_n)
    ring = give(skeleton.section, skeleton.radius_m, compression, skeleton.angles_rad)
    low = rigid(skeleton.section, skeleton.radius_m, compression, skeleton.angles_rad)
    off, lean = skeleton.seat_offset_m, skeleton.seat_offset_m / skeleton.radius_m
    out, along, side = low.radial + off * low.twist, low.tangential - lean * low.slope, low.lateral
    crossed, leaning = ring.wv - off * lean * ring.phi_s, lean * ring.us
    own = np.vstack(
        [
            np.hstack([ring.ww + off**2 * ring.phi_phi, crossed, off * ring.u_phi]),
            np.hstack([crossed.T, ring.vv + lean**2 * ring.ss, leaning]),
            np.hstack([off * ring.u_phi, leaning.T, ring.uu]),
        ]
    )
    maps, spokes = np.vstack([out, along, side]), spoke_stiffness_n_m(skeleton, tensions_n)
    held = np.vstack([own, maps.T])
    whole = np.einsum("mai,iab->mbi", held.reshape(-1, 3, count), spokes).reshape(-1, 3 * count)
    whole = np.hstack([whole, np.vstack([-maps, low.stiffness])])
    whole[: 3 * count, : 3 * count] += np.eye(3 * count)
    found = np.linalg.solve(whole, np.einsum("mi,ij->mj", held, loads_n))
    seats, motion = found[: 3 * count], found[3 * count :]
    on_rim = loads_n - np.einsum("iab,bim->aim", spokes, seats.reshape(3, count, -1)).reshape(loads_n.shape)
    return Moved(
        (seats[:count], seats[count : 2 * count], seats[2 * count :]),
        np.hstack([ring.ww, ring.wv]) @ on_rim[: 2 * count] + low.radial @ motion,
        np.hstack([off * ring.u_phi, -leaning, ring.uu]) @ on_rim + low.lateral @ motion,
    )


def spoke_stiffness_n_m(skeleton: Skeleton, tensions_n: Floats) -> Floats:
    """Stiffness of each spoke against its seat's movement, (spokes, 3, 3): K along it, T/L across."""
    along = skeleton.directions[:, :, None] * skeleton.directions[:, None, :]
    across = (tensions_n / skeleton.lengths_m)[:, None, None]
    found: Floats = skeleton.stiffness_n_m[:, None, None] * along + across * (np.eye(3) - along)
    return found


def influence(skeleton: Skeleton, tensions_n: Floats) -> Influence:
    """What a turn of each nipple does to tensions, lateral and radial position and dish at this state of tension.

    Parameters
    ----------
    skeleton : Skeleton
    tensions_n : (spokes,)
        Tensions the geometric stiffness is taken at; half-way between before and after is best.

    Notes
    -----
    A nipple turned by n shortens its spoke by d = n pitch and pulls its seat with K d along the spoke; tensions change
    by K (d + b) where the seats' movement stretches the spokes by b. The tension part is symmetric, and each of its
    columns is a set of forces in equilibrium with the unchanged tensions in their changed directions.
    """
    gain = skeleton.stiffness_n_m * skeleton.pitch_m
    pulls = np.vstack([np.diag(-gain * skeleton.directions[:, axis]) for axis in range(3)])
    moved = moved_by(skeleton, tensions_n, pulls)
    stretch = sum(skeleton.directions[:, [axis]] * seat for axis, seat in enumerate(moved.seats))
    change = np.diag(gain) + skeleton.stiffness_n_m[:, None] * stretch
    return Influence(change, moved.lateral, moved.radial, moved.lateral.mean(axis=0))


def check_stable(skeleton: Skeleton, tensions_n: Floats) -> None:
    """InputError if a rim this soft would buckle under these tensions: some push would move the seats against itself."""
    seats = np.vstack(moved_by(skeleton, tensions_n, np.eye(3 * len(tensions_n))).seats)
    try:
        np.linalg.cholesky((seats + seats.T) / 2)
    except np.linalg.LinAlgError:
        raise InputError(
            f"a rim this soft would buckle under {np.mean(tensions_n):.0f} N a spoke; check [rim] stiffness "
            "and the tensions"
        ) from None


def _missing(wheel: Wheel) -> str:
    """Which keys the wheel file lacks for its spokes to be placed in space."""
    missing = ["[rim] seat_diameter_mm"] if wheel.rim.seat_diameter_m is None else []
    for side in wheel.sides.values():
        stated = {
            "hub_circle_diameter_mm": side.hub_circle_diameter_m,
            "flange_offset_mm": side.flange_offset_m,
            "crosses": side.crosses,
        }
        missing += [f"[{side.side}] {key}" for key, value in stated.items() if value is None]
    return (
        f"{wheel.name}: turns cannot be planned without knowing where the spokes run; "
        f"add {', '.join(missing)} to the wheel file"
    )
