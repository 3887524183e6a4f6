"""Single plucks: of one kind of spoke, or of anything (its pitch alone). Imports readings.plucks, physics, reading."""

from __future__ import annotations

import math

import numpy as np

from tensionear.listening import Listened, Strike
from tensionear.physics.expectation import LOG_TENSION, spoke_model
from tensionear.physics.group import EndsPrior
from tensionear.physics.inverse import fit_group
from tensionear.physics.observations import partials_of
from tensionear.physics.spoke import Spoke
from tensionear.pitch.lines import Heard
from tensionear.reading import EndStiffness, Finding, Limits, Plane, PluckReading, Reading
from tensionear.wheel.sidefit import ends_of

from .plucks import ACCEPTED, common_findings, fault_of, listed, pluck_reading, reason_of, unread_pluck

_U_LENGTH_M = 0.5e-3
_COVERAGE = 1.959964
_FAINTEST = 0.01  # where nothing better was heard, the likeliest strike counts from this probability on
_TONE_PERSIST_DB, _TONE_NOVELTY_DB = -16.0, 5.0
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
        value, u, ends = _tension(heard, spoke, free_length_m)
        plucks.append(pluck_reading(strike, heard, planes, None, None, (value, u)))
    assumed = (
        f"each pluck is {spoke.name} of {1000 * free_length_m:.1f} mm free length (known to {1000 * _U_LENGTH_M:.1f} mm)",
        "nothing touches the spoke along its length",
        "the ends may be anything from nearly hinged to nearly clamped: that is in the +/-",
    )
    return _reading(file, listened, strikes, tuple(plucks), "pluck", spoke.name, {"all": ends} if ends else {}, assumed)


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


def _tension(heard: Heard, spoke: Spoke, free_length_m: float) -> tuple[float, float, tuple[EndStiffness, ...]]:
    """Tension of one ring by itself, half the 95 % interval over 1.96, and what its ends are like."""
    start = float(LOG_TENSION[heard.candidates[0].state_index])
    model = spoke_model(spoke, free_length_m, _U_LENGTH_M)
    fit = fit_group((model,), np.zeros(1, np.intp), partials_of([[heard]], not spoke.is_flat, [start]), EndsPrior())
    low, high = fit.interval(0)
    mean, _, _ = fit.moments()
    u = (math.exp(high) - math.exp(low)) / 2 / _COVERAGE
    return math.exp(float(mean[0])), u, ends_of(fit, spoke.is_flat)


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
