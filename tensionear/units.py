"""In which unit of force people are shown tensions: one setting for all views; inside, and in JSON and CSV, all is newtons.

Imports reading and errors.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import replace

from .errors import UsageError
from .reading import BudgetLine, Limits, PluckReading, Reading, SideReading, SpokeReading, Units

#: Newtons in one of each: standard gravity 9.80665 m/s2 (3rd CGPM, 1901) and the international pound 0.45359237 kg
#: (agreement of 1959), as in the SI Brochure, 9th edition, and NIST SP 811, appendix B.
NEWTONS: Mapping[Units, float] = {"N": 1.0, "kgf": 9.80665, "daN": 10.0, "lbf": 0.45359237 * 9.80665}
#: The environment variable that sets the unit, whatever a wheel file says.
VARIABLE = "TENSIONEAR_UNITS"
#: Newtons in a sentence of ours, with their uncertainty; torques (N m) are none.
_IN_WORDS = re.compile(r"(\d+(?:\.\d+)?)((?: \+/- | to )\d+(?:\.\d+)?)? N\b(?! m)")


def chosen_units(stated: Units, environment: Mapping[str, str]) -> Units:
    """The unit to show: the environment's, else the one stated.

    Raises
    ------
    UsageError
        If the environment names no unit.
    """
    given = environment.get(VARIABLE, "").strip()
    if not given:
        return stated
    for unit in NEWTONS:
        if unit.casefold() == given.casefold():
            return unit
    raise UsageError(f"{VARIABLE} is {given!r}; allowed: {', '.join(NEWTONS)}; set it to one of them or unset it")


def in_units(reading: Reading, units: Units) -> Reading:
    """The reading as people are shown it: every number named ``_n`` is in ``units`` then, and so are the findings' words."""
    if units == "N":
        return replace(reading, units=units)
    newtons = NEWTONS[units]
    limits = reading.limits
    return replace(
        reading,
        units=units,
        findings=tuple(replace(each, text=in_words(each.text, units)) for each in reading.findings),
        warnings=tuple(in_words(text, units) for text in reading.warnings),
        assumptions=tuple(in_words(text, units) for text in reading.assumptions),
        plucks=tuple(_pluck(each, newtons) for each in reading.plucks),
        spokes=tuple(_spoke(each, newtons) for each in reading.spokes),
        sides={side: _side(each, newtons) for side, each in reading.sides.items()},
        limits=Limits(
            limits.evenness_percent,
            _in(limits.max_tension_n, newtons),
            _in(limits.floor_n, newtons),
            {side: _in(target, newtons) for side, target in limits.target_n.items()},
        ),
    )


def in_words(text: str, units: Units) -> str:
    """A sentence with its newtons in another unit."""

    def told(found: re.Match[str]) -> str:
        value = float(found[1]) / NEWTONS[units]
        if not found[2]:
            return f"{value:.{1 if value < 10 else 0}f} {units}"
        joint, number = found[2].rsplit(" ", 1)
        other = float(number) / NEWTONS[units]
        digits = 1 if other < 1 and "+/-" in joint else 0  # an uncertainty is never told as none
        return f"{value:.{digits}f}{joint} {other:.{digits}f} {units}"

    return text if units == "N" else _IN_WORDS.sub(told, text)


def _spoke(spoke: SpokeReading, newtons: float) -> SpokeReading:
    low_high = spoke.interval_95_n
    return replace(
        spoke,
        tension_n=_in(spoke.tension_n, newtons),
        u_tension_n=_in(spoke.u_tension_n, newtons),
        interval_95_n=None if low_high is None else (low_high[0] / newtons, low_high[1] / newtons),
        u_individual_n=_in(spoke.u_individual_n, newtons),
        u_common_n=_in(spoke.u_common_n, newtons),
        budget=_budget(spoke.budget, newtons),
    )


def _pluck(pluck: PluckReading, newtons: float) -> PluckReading:
    return replace(
        pluck,
        tension_n=_in(pluck.tension_n, newtons),
        u_tension_n=_in(pluck.u_tension_n, newtons),
        budget=_budget(pluck.budget, newtons),
    )


def _budget(lines: tuple[BudgetLine, ...], newtons: float) -> tuple[BudgetLine, ...]:
    return tuple(
        replace(line, sensitivity_n=_in(line.sensitivity_n, newtons), contribution_n=line.contribution_n / newtons)
        for line in lines
    )


def _side(side: SideReading, newtons: float) -> SideReading:
    return replace(side, mean_n=_in(side.mean_n, newtons), u_mean_n=_in(side.u_mean_n, newtons))


def _in(value: float | None, newtons: float) -> float | None:
    return None if value is None else value / newtons
