"""The uncertainty budget of one tension: from which source how many newtons. Imports physics, pitch, reading.

Every line is a share of the variance that the joint fit itself states (``physics.shares``), so that the squares of the
contributions add up to the stated u: those of the spoke alone to its individual, the others to its common part. An interval
that is skewed is not 1.96 standard deviations wide on either side; the common lines are scaled to what it states.
k is in N m/rad; the ``value`` of what is heard is how many partials, or spokes.
"""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass

from tensionear.physics.believed import SHARED_ENDS
from tensionear.physics.inverse import GroupFit
from tensionear.physics.shares import FIRST_MODE, OTHER, OVERTONES, OWN_ENDS
from tensionear.physics.spoke import Spoke
from tensionear.pitch.lines import Heard
from tensionear.reading import BudgetLine

_MM, _GPA, _G = 1e-3, 1e9, 1e-3


@dataclass(frozen=True, slots=True)
class Stated:
    """What a budget is drawn up for: the spoke as stated and as heard, its tension, and the parts of the tension's u (N).

    ``u_naming_n`` is the part of ``u_own_n`` for not knowing surely which pluck is the spoke's own.
    """

    spoke: Spoke
    free_length_m: float
    u_length_m: float
    heard: tuple[Heard, ...]
    tension_n: float
    u_own_n: float
    u_common_n: float
    u_naming_n: float = 0.0


@dataclass(frozen=True, slots=True)
class _Source:
    """A line before its newtons are known: value and standard uncertainty in a unit, and its variance in ln T."""

    text: str
    unit: str
    value: float | None
    u: float | None
    variance: float


def budget_of(fit: GroupFit, index: int, stated: Stated) -> tuple[BudgetLine, ...]:
    """The budget of the spoke of this index in a group: its own lines first, of either part the largest first."""
    own = _lines(_own(fit, index, stated), stated.u_own_n, own=True)
    common = _learned(fit, index) if fit.learned else _believed(fit, index, stated)
    return (*own, *_lines([*common, _sound(fit, index)], stated.u_common_n, own=False))


def _lines(sources: Iterable[_Source], u_n: float, own: bool) -> list[BudgetLine]:
    """Sources in newtons, the squares adding up to ``u_n``; those of nothing are left out."""
    kept = [each for each in sources if each.variance > 0]
    total = math.fsum(each.variance for each in kept)
    found = []
    for each in sorted(kept, key=lambda source: -source.variance):
        newtons = u_n * math.sqrt(each.variance / total)
        slope = newtons / each.u if each.u else None
        found.append(BudgetLine(each.text, each.unit, each.value, each.u, slope, newtons, own))
    return found


def _own(fit: GroupFit, index: int, stated: Stated) -> list[_Source]:
    """What differs from spoke to spoke."""
    share = fit.weight @ fit.own_share[:, index]
    first = [line for heard in stated.heard for line in heard.first_modes(0)[:1]]
    best = min(first, key=lambda line: line.u_frequency_hz, default=None)
    pitch_hz = None if best is None else best.frequency_hz
    u_pitch_hz = None if best is None else best.u_frequency_hz / math.sqrt(len(first))
    overtones = sum(line.mode is not None and line.mode > 1 for heard in stated.heard for line in heard.lines)
    return [
        _Source("first mode heard", "Hz", pitch_hz, u_pitch_hz, float(share[FIRST_MODE])),
        _Source("overtones heard", "", float(overtones), None, float(share[OVERTONES])),
        _Source("own ends unlike the others'", "ln k", 0.0, fit.prior.spoke_sd, float(share[OWN_ENDS])),
        _Source("plane of a line heard alone", "", None, None, float(share[OTHER])),
        _Source("which pluck is its own", "", None, None, (stated.u_naming_n / stated.tension_n) ** 2),
    ]


def _believed(fit: GroupFit, index: int, stated: Stated) -> list[_Source]:
    """What a side shares, as it was believed before listening: the ends, then the values stated with a tolerance."""
    share = fit.weight @ fit.common_share[:, index]
    middle = math.log(math.sqrt(fit.prior.lowest * fit.prior.highest))
    width = math.log(fit.prior.highest / fit.prior.lowest) / math.sqrt(12)
    ends = float(share[:2].sum()) + _between(fit, index)
    found = [
        _Source("stiffness of both ends", "ln k", middle, width, ends),
        _Source("ends unlike between planes", "ln k", 0.0, fit.prior.plane_sd, float(share[2:SHARED_ENDS].sum())),
    ]
    sizes = _sizes(stated)
    for source, variance in zip(fit.sources, share[SHARED_ENDS:-1], strict=True):
        unit, value, u = sizes.get(source, ("", 0.0, 1.0))
        found.append(_Source(source, unit, value, u, float(variance)))
    return found


def _learned(fit: GroupFit, index: int) -> list[_Source]:
    """What a side shares, where a calibration told it."""
    share = fit.weight @ fit.common_share[:, index]
    return [_Source("ends and making, calibrated", "", None, None, float(share[:-1].sum()) + _between(fit, index))]


def _sound(fit: GroupFit, index: int) -> _Source:
    """What the shared unknowns have from the sound."""
    heard = float(fit.weight @ fit.common_share[:, index, -1])
    spokes = fit.log_tension.shape[1]
    return _Source("sound of spokes fitted", "", float(spokes), None, heard)


def _between(fit: GroupFit, index: int) -> float:
    """Variance of ln T between ends that explain the sound about as well."""
    middle = fit.log_tension[:, index]
    return float(fit.weight @ (middle - fit.weight @ middle) ** 2)


def _sizes(stated: Stated) -> dict[str, tuple[str, float, float]]:
    """Unit, value and standard uncertainty of what is stated with a tolerance, by the name of its source."""
    spoke, material = stated.spoke, stated.spoke.material
    found = {"length": ("mm", stated.free_length_m / _MM, stated.u_length_m / _MM)}
    relative = {
        "modulus": ("GPa", material.youngs_modulus_pa / _GPA, material.u_modulus_percent),
        "density": ("kg/m3", spoke.density_kg_m3, material.u_density_percent),
        "diameter": ("mm", spoke.middle.width_m / _MM, spoke.u_diameter_percent),
        "width": ("mm", spoke.middle.width_m / _MM, spoke.u_width_percent),
        "thickness": ("mm", spoke.middle.thickness_m / _MM, spoke.u_thickness_percent),
    }
    found |= {name: (unit, value, value * percent / 100) for name, (unit, value, percent) in relative.items()}
    if spoke.weighed_kg is not None:
        found["weighed mass"] = ("g", spoke.weighed_kg / _G, spoke.u_weighed_kg / _G)
    return found
