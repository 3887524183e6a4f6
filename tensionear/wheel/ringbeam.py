"""The rim as an elastic ring under hoop compression, in Fourier series round the wheel. Pure; imports numpy only.

Symbols, all in m and rad, theta clockwise from the valve hole seen from the right: w radial (+ outward), v tangential
(+ with theta), u lateral (+ to the right), phi twist about the tangent (+ moves the right edge outward); a prime is
d/dtheta; R is the radius of the ring's axis.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

Floats = npt.NDArray[np.float64]

#: Harmonics kept. What is left out is 1/3 (n0/n)^3 of a spoke's own give, n0 = (k R^4 / EI)^(1/4) = 6..9: below 0.05 %.
HARMONICS = 96
#: Harmonics 0 and 1 hold the rigid motions, which the ring alone does not resist.
RIGID = 1


@dataclass(frozen=True, slots=True)
class RingSection:
    """Stiffnesses of a rim: axial (N), radial bending, lateral bending and torsion (N m2)."""

    ea_n: float
    ei_radial_n_m2: float
    ei_lateral_n_m2: float
    gj_n_m2: float


@dataclass(frozen=True, slots=True, eq=False)
class Terms:
    """Stiffness of the ring by harmonic, (harmonics,) each, for w, u and phi as cos n theta and v as sin n theta.

    ``radial`` w w, ``cross`` w v, ``along`` v v; ``side`` u u, ``coupled`` u phi, ``twist`` phi phi. For w, u and phi
    as sines and v as a cosine they are the same with ``cross`` reversed.
    """

    radial: Floats
    cross: Floats
    along: Floats
    side: Floats
    coupled: Floats
    twist: Floats


def ring_terms(section: RingSection, radius_m: float, compression_n: float, orders: Floats) -> Terms:
    """Stiffness of a ring under hoop compression (N, + compressed) for these harmonics (whole numbers >= 0).

    Notes
    -----
    Elastic energy R/2 int [EA e^2 + EI_r k_r^2 + EI_l k_l^2 + GJ t^2] dtheta of a thin curved beam (Love, A Treatise on
    the Mathematical Theory of Elasticity, ch. XXI; from memory) with extension e = (w + v')/R, bending in the plane
    k_r = (w'' + w)/R^2, bending out of it k_l = phi/R - u''/R^2 and torsion t = phi'/R + u'/R^2. All four vanish for
    a rigid motion. Where nothing loads the twist, k_l and t give the classical
    n^2 (n^2 - 1)^2 EI_l GJ / (EI_l + n^2 GJ) pi/R^3.

    The compression works along the second-order shortening of the axis, ((w' - v)^2 + u'^2) / 2R^2 (Green's strain of
    the axis). With forces that point at the centre this gives the known buckling load of a ring,
    (n^2 - 1)^2 / (n^2 - 2) EI/R^3, 4.5 for n = 2 (Timoshenko and Gere, Theory of Elastic Stability; from memory).
    """
    r, n, n2 = radius_m, orders, orders**2
    ea, bend_r, bend_l, torsion = section.ea_n, section.ei_radial_n_m2, section.ei_lateral_n_m2, section.gj_n_m2
    turn = np.where(orders == 0, 2 * np.pi, np.pi)
    return Terms(
        radial=turn * (ea / r + bend_r / r**3 * (n2 - 1) ** 2 - compression_n / r * n2),
        cross=turn * n * (ea - compression_n) / r,
        along=turn * (ea / r * n2 - compression_n / r),
        side=turn * ((bend_l * n2**2 + torsion * n2) / r**3 - compression_n / r * n2),
        coupled=turn * (bend_l + torsion) / r**2 * n2,
        twist=turn * (bend_l + torsion * n2) / r,
    )


@dataclass(frozen=True, slots=True, eq=False)
class Give:
    """What the ring gives at its places under unit forces at its places, but for rigid motions; (places, places) each.

    Named by what moves and what is loaded: ``w`` radial, ``v`` tangential, ``u`` lateral, ``phi`` twist (loaded by a
    couple), ``s`` the slope u' (loaded by what works on it).
    """

    ww: Floats
    wv: Floats
    vv: Floats
    uu: Floats
    u_phi: Floats
    phi_phi: Floats
    us: Floats
    phi_s: Floats
    ss: Floats


def give(section: RingSection, radius_m: float, compression_n: float, angles_rad: Floats) -> Give:
    """The give of the ring in its harmonics 2 to `HARMONICS` between places at these angles (places,), m/N.

    Each harmonic is two pairs of equations, (w, v) and (u, phi), inverted as they stand.
    """
    orders = np.arange(RIGID + 1, HARMONICS + 1, dtype=np.float64)
    terms = ring_terms(section, radius_m, compression_n, orders)
    flat = terms.radial * terms.along - terms.cross**2
    out = terms.side * terms.twist - terms.coupled**2
    cosines, sines = np.cos(np.outer(angles_rad, orders)), np.sin(np.outer(angles_rad, orders))

    def even(size: Floats) -> Floats:
        """Sum of size cos n (theta_i - theta_j)."""
        found: Floats = (cosines * size) @ cosines.T + (sines * size) @ sines.T
        return found

    def odd(size: Floats) -> Floats:
        """Sum of size sin n (theta_i - theta_j)."""
        found: Floats = (sines * size) @ cosines.T - (cosines * size) @ sines.T
        return found

    u_phi, phi_phi = -terms.coupled / out, terms.side / out
    return Give(
        ww=even(terms.along / flat),
        wv=odd(terms.cross / flat),
        vv=even(terms.radial / flat),
        uu=even(terms.twist / out),
        u_phi=even(u_phi),
        phi_phi=even(phi_phi),
        us=odd(orders * terms.twist / out),
        phi_s=odd(orders * u_phi),
        ss=even(orders**2 * terms.twist / out),
    )


@dataclass(frozen=True, slots=True, eq=False)
class Rigid:
    """The ring's harmonics 0 and 1 as 12 coefficients: their stiffness (12, 12), and the fields at the places,
    (places, 12) each; ``slope`` is u'."""

    stiffness: Floats
    radial: Floats
    tangential: Floats
    lateral: Floats
    twist: Floats
    slope: Floats


def rigid(section: RingSection, radius_m: float, compression_n: float, angles_rad: Floats) -> Rigid:
    """Harmonics 0 and 1 of the ring; the coefficients are 1, cos, sin of w, v, u and phi in turn."""
    terms = ring_terms(section, radius_m, compression_n, np.array([0.0, 1.0, 1.0]))
    stiffness = np.zeros((12, 12))
    for start, size in ((0, terms.radial), (3, terms.along), (6, terms.side), (9, terms.twist)):
        stiffness[range(start, start + 3), range(start, start + 3)] = size
    stiffness[range(6, 9), range(9, 12)] = stiffness[range(9, 12), range(6, 9)] = terms.coupled
    stiffness[1, 5] = stiffness[5, 1] = terms.cross[1]  # w cos with v sin
    stiffness[2, 4] = stiffness[4, 2] = -terms.cross[1]  # w sin with v cos
    one, cosine, sine = np.ones_like(angles_rad), np.cos(angles_rad), np.sin(angles_rad)
    values, slopes = np.column_stack([one, cosine, sine]), np.column_stack([0 * one, -sine, cosine])

    def part(which: int, of: Floats) -> Floats:
        found = np.zeros((len(angles_rad), 12))
        found[:, 3 * which : 3 * which + 3] = of
        return found

    return Rigid(stiffness, part(0, values), part(1, values), part(2, values), part(3, values), part(2, slopes))
