"""Single plucks: of one kind of spoke, or of anything (its pitch alone). Imports readings.plucks, physics, reading."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np

from tensionear.listening import Listened, Strike
from tensionear.physics.believed import EndsPrior
from tensionear.physics.expectation import LOG_TENSION, spoke_model
from tensionear.physics.inverse import GroupFit, Partials, fit_group
from tensionear.physics.observations import partials_of
from tensionear.physics.spoke import Spoke
from tensionear.pitch.lines import Heard
from tensionear.reading import BudgetLine, EndStiffness, Finding, Limits, Plane, PluckReading, Reading
from tensionear.wheel.budgets import Stated, budget_of
from tensionear.wheel.sidefit import ends_of

from .likeness import is_like
from .otherspoke import pluck_contradicted
from .plucks import ACCEPTED, common_findings, fault_of, listed, pluck_reading, reason_of, unread_pluck

_U_LENGTH_M = 0.5e-3
_COVERAGE = 1.959964
_FAINTEST = 0.01  # where nothing better was heard, the likeliest strike counts from this probability on
_TONE_PERSIST_DB, _TONE_NOVELTY_DB = -16.0, 5.0
_HEAR_BETTER = "pluck one spoke alone, 3 to 6 cm from the rim, in quiet, and check --kind and --length"
_NO_LIMITS = Limits(evenness_percent=5.0)


def read_singles(file: str, listened: Listened, spoke: Spoke, free_length_m: float) -> Reading:
    """Every pluck of a recording read on its own as this kind of spoke."""
    planes: tuple[Plane, Plane] = ("flat", "edge") if spoke.is_flat else ("both", "both")
    plucks: list[PluckReading] = []
    ends: tuple[EndStiffness, ...] = ()
    strikes = listed(listened)
    needed = min(ACCEPTED, max((strike.probability for strike in strikes), default=1.0))
    needed = max(needed, _FAINTEST)
    for strike in strikes:
        heard = strike.heard[0]
        reason = fault_of(strike) or (reason_of(strike) if strike.probability < needed else None)
        if reason is None and not heard.first_modes(0):
            reason = "weak"
        if reason is not None:
            plucks.append(unread_pluck(strike, reason))
            continue
        partials, fit = _fitted(heard, spoke, free_length_m)
        if not is_like(strike, heard, partials, fit):
            plucks.append(pluck_reading(strike, heard, planes, None, None, None))
            continue
        ends = ends_of(fit, spoke.is_flat)
        (value, u), budget = _tension(fit, heard, spoke, free_length_m)
        read = pluck_reading(strike, heard, planes, None, None, (value, u))
        plucks.append(replace(read, budget=budget))
    assumed = (
        f"each pluck is {spoke.name} of {1000 * free_length_m:.1f} mm free length (known to {1000 * _U_LENGTH_M:.1f} mm)",
        "nothing touches the spoke along its length",
        "the ends may be anything from nearly hinged to nearly clamped: that is in the +/-",
    )
    found = _reading(
        file, listened, strikes, tuple(plucks), "pluck", spoke.name, {"all": ends} if ends else {}, assumed
    )
    other = pluck_contradicted(strikes, spoke, free_length_m, _U_LENGTH_M)
    return replace(found, findings=(*other, *found.findings))


def read_tones(file: str, listened: Listened) -> Reading:
    """The pitch of every pluck of anything: no spoke, nothing turned away for its pitch, no tension."""
    strikes = tuple(strike for strike in listened.strikes if _rings(strike))
    plucks = []
    for strike in strikes:
        reason = fault_of(strike)
        if reason is None:
            plucks.append(pluck_reading(strike, strike.heard[0], ("both", "both"), None, None, None))
        else:
            plucks.append(unread_pluck(strike, reason))
    return _reading(file, listened, strikes, tuple(plucks), "tone", "pitch of single plucks", {}, ())


def _rings(strike: Strike) -> bool:
    """Whether an onset is followed by tones at all."""
    if not strike.heard[0].first_modes(0):
        return False
    return strike.probability > ACCEPTED or (
        strike.novelty_db > _TONE_NOVELTY_DB and strike.features.persist_db > _TONE_PERSIST_DB
    )


def _fitted(heard: Heard, spoke: Spoke, free_length_m: float) -> tuple[Partials, GroupFit]:
    """What was heard of one ring, and its fit by itself."""
    start = float(LOG_TENSION[heard.candidates[0].state_index])
    partials = partials_of([[heard]], not spoke.is_flat, [start])
    model = spoke_model(spoke, free_length_m, _U_LENGTH_M)
    return partials, fit_group((model,), np.zeros(1, np.intp), partials, EndsPrior())


def _tension(
    fit: GroupFit, heard: Heard, spoke: Spoke, free_length_m: float
) -> tuple[tuple[float, float], tuple[BudgetLine, ...]]:
    """Tension of a ring fitted by itself with half the 95 % interval over 1.96, and the budget of that."""
    low, high = fit.interval(0)
    mean, _, individual = fit.moments()
    value, u = math.exp(float(mean[0])), (math.exp(high) - math.exp(low)) / 2 / _COVERAGE
    own = min(value * float(individual[0]), u)
    stated = Stated(spoke, free_length_m, _U_LENGTH_M, (heard,), value, own, math.sqrt(u**2 - own**2))
    return (value, u), budget_of(fit, 0, stated)


def _reading(
    file: str,
    listened: Listened,
    strikes: tuple[Strike, ...],
    plucks: tuple[PluckReading, ...],
    job: str,
    title: str,
    ends: dict[str, tuple[EndStiffness, ...]],
    assumptions: tuple[str, ...],
) -> Reading:
    findings = common_findings(strikes)
    unlike = sum(pluck.used and pluck.tension_n is None for pluck in plucks)
    if job == "pluck" and unlike:
        told = f"{unlike} of {len(plucks)} plucks" if len(plucks) > 1 else "the pluck"
        text = f"{told} without a tension: too little of the sound is this spoke's; {_HEAR_BETTER}"
        findings.append(Finding("unlike-the-spoke", text))
    if not any(pluck.used for pluck in plucks):
        findings.append(Finding("no-pluck", "no pluck was heard that could be used: pluck again, near the microphone"))
    return Reading(
        file=file,
        job="tone" if job == "tone" else "pluck",
        title=title,
        duration_s=listened.duration_s,
        sample_rate_hz=listened.sample_rate_hz,
        warnings=listened.warnings,
        findings=tuple(findings),
        verdict=None,
        plucks=plucks,
        spokes=(),
        sides={},
        ends=ends,
        limits=_NO_LIMITS,
        assumptions=assumptions,
    )
