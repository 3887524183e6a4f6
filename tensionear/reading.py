"""What a recording was read as: plucks, spokes, sides and the verdict, and their JSON form. Imports nothing of the package."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, field, fields
from typing import Any, Literal

FORMAT = "tensionear.read/1"
#: Of fields that are no part of the JSON form.
_UNWRITTEN: Mapping[str, bool] = {"written": False}

How = Literal["found", "assumed", "calibrated"]
Verdict = Literal["within", "out", "undecided"]
#: Units of force that people can be shown; the numbers of a reading are newtons.
Units = Literal["N", "kgf", "daN", "lbf"]
Plane = Literal["flat", "edge", "both"]
#: What was asked of the recording: a wheel file, one kind of spoke, a count only, or the pitch of one pluck.
Job = Literal["wheel", "pluck", "evenness", "tone"]


#: How much a finding weighs, worst first: unsafe, out of a limit, in doubt or to be looked at, for information.
Severity = Literal["danger", "fault", "caution", "note"]


@dataclass(frozen=True, slots=True)
class Finding:
    """Something the reader of the result should know or do; the codes are listed in ``docs/findings.md``."""

    code: str
    text: str
    spokes: tuple[int, ...] = ()
    severity: Severity = "caution"


@dataclass(frozen=True, slots=True)
class Partial:
    """One partial of a ring at vanishing swing: ``mode`` counts from 1, level is relative to the strongest."""

    mode: int
    plane: Plane
    frequency_hz: float
    u_frequency_hz: float
    decay_s: float
    level_db: float


@dataclass(frozen=True, slots=True)
class BudgetLine:
    """One source of a tension's uncertainty.

    ``value`` with standard uncertainty ``u`` in ``unit``, None where a source has no single value; ``sensitivity_n`` is newtons a
    unit; ``contribution_n`` is their product in N. ``own``: it differs from spoke to spoke; else all spokes of a side share it.
    """

    source: str
    unit: str
    value: float | None
    u: float | None
    sensitivity_n: float | None
    contribution_n: float
    own: bool


@dataclass(frozen=True, slots=True)
class PluckReading:
    """What was made of one pluck. ``spoke`` is None where unassigned; ``rejected`` is a code with ``advice`` beside it."""

    onset_s: float
    spoke: int | None
    side: str | None
    used: bool
    rejected: str | None
    advice: str | None
    frequency_hz: float | None
    u_frequency_hz: float | None
    edge_frequency_hz: float | None
    tension_n: float | None
    u_tension_n: float | None
    partials: tuple[Partial, ...] = ()
    budget: tuple[BudgetLine, ...] = field(default=(), metadata=_UNWRITTEN)


@dataclass(frozen=True, slots=True)
class SpokeReading:
    """One spoke of the wheel; ``tension_n`` is None where it was not read or only evenness is known.

    ``deviation_percent`` is from its side's mean. ``doubt`` says in words what is uncertain about which spoke it is.
    ``leave_out`` is the reason the wheel file gives for not judging this spoke.
    """

    spoke: int
    label: str
    side: str
    tension_n: float | None
    u_tension_n: float | None
    interval_95_n: tuple[float, float] | None
    u_individual_n: float | None
    u_common_n: float | None
    deviation_percent: float | None
    u_deviation_percent: float | None
    verdict: Verdict | None
    doubt: str | None = None
    leave_out: str | None = None
    budget: tuple[BudgetLine, ...] = field(default=(), metadata=_UNWRITTEN)


@dataclass(frozen=True, slots=True)
class SideReading:
    """One side (or pitch group): ``spread_percent`` is half the range of the deviations."""

    mean_n: float | None
    u_mean_n: float | None
    spread_percent: float | None
    verdict: Verdict | None


@dataclass(frozen=True, slots=True)
class EndStiffness:
    """Rotational stiffness of one end in one bending plane, N m/rad, with its 95 % interval; ``how`` it is known."""

    end: Literal["hub", "nipple"]
    plane: Plane
    n_m_per_rad: float
    interval_95: tuple[float, float]
    how: How


@dataclass(frozen=True, slots=True)
class Limits:
    """The limits this reading was held against; None where the wheel file states none."""

    evenness_percent: float
    max_tension_n: float | None = None
    floor_n: float | None = None
    target_n: Mapping[str, float | None] = field(default_factory=dict)
    level_percent: float | None = None


@dataclass(frozen=True, slots=True)
class Reading:
    """A recording, read. ``sides`` and ``ends`` are keyed ``right``, ``left``, or ``higher``, ``lower``, ``all``.

    ``units`` is what people are to be shown; the numbers here are newtons all the same.
    ``probability_within`` is that of every limited quantity being within together; ``sheet`` holds the other readings
    of the sitting, as they are written to a sheet file.
    """

    file: str
    job: Job
    title: str
    duration_s: float
    sample_rate_hz: float
    warnings: tuple[str, ...]
    findings: tuple[Finding, ...]
    verdict: Verdict | None
    plucks: tuple[PluckReading, ...]
    spokes: tuple[SpokeReading, ...]
    sides: Mapping[str, SideReading]
    ends: Mapping[str, tuple[EndStiffness, ...]]
    limits: Limits
    assumptions: tuple[str, ...] = ()
    units: Units = "N"
    probability_within: float | None = None
    sheet: Mapping[str, Any] | None = None

    def to_dict(self) -> dict[str, Any]:
        """The JSON form, one recording, with ``format``: plain numbers, never NaN; unknown is None."""
        return {"format": FORMAT, **self.to_member()}

    def to_member(self) -> dict[str, Any]:
        """The JSON form as one member of ``recordings``."""
        found = plain_form(self)
        assert isinstance(found, dict)
        return found


def plain_form(value: Any) -> Any:
    """Frozen values, tuples and mappings as JSON types; a non-finite number becomes None."""
    if isinstance(value, float):
        return float(value) if math.isfinite(value) else None
    if isinstance(value, (str, int, bool)) or value is None:
        return value
    if isinstance(value, Mapping):
        return {key: plain_form(item) for key, item in value.items()}
    if isinstance(value, (tuple, list)):
        return [plain_form(item) for item in value]
    written = (each.name for each in fields(value) if each.metadata.get("written", True))
    return {name: plain_form(getattr(value, name)) for name in written}
