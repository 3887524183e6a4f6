"""What a spoke's reading means in one word, and the words for it. Imports reading and rounding only."""

from __future__ import annotations

from typing import Literal

from tensionear.physics.rounding import rounded
from tensionear.reading import Reading, SpokeReading, Verdict

State = Literal["within", "high", "low", "undecided", "unjudged", "unread", "left_out"]

#: Half the central 95 % interval over the standard uncertainty.
COVERAGE = 1.96
#: No deviation is shown finer than a tenth of a percent: length and mass of a spoke are not known better.
FINEST_PERCENT = 0.3

STATE_WORDS: dict[State, str] = {
    "within": "within",
    "high": "too tight",
    "low": "too slack",
    "undecided": "undecided",
    "unjudged": "not judged",
    "unread": "not read",
    "left_out": "left out",
}
VERDICT_WORDS: dict[Verdict, str] = {
    "within": "within its limits",
    "out": "out of its limits",
    "undecided": "undecided",
}
SIDE_WORDS = {
    "right": "right side",
    "left": "left side",
    "higher": "higher group",
    "lower": "lower group",
    "all": "all spokes",
}


def verdict_words(reading: Reading) -> str:
    """The verdict on the whole wheel in words; empty where there is none."""
    if reading.verdict is None:
        return ""
    if reading.job == "evenness":
        return {"within": "even", "out": "not even", "undecided": "undecided"}[reading.verdict]
    return VERDICT_WORDS[reading.verdict]


def state_of(spoke: SpokeReading) -> State:
    """The state of a spoke; one that is out is ``high`` or ``low`` by the sign of its deviation."""
    if spoke.leave_out is not None:
        return "left_out"
    if spoke.tension_n is None and spoke.deviation_percent is None:
        return "unread"
    if spoke.verdict is None:
        return "unjudged"
    if spoke.verdict == "out":
        return "high" if (spoke.deviation_percent or 0.0) > 0 else "low"
    return spoke.verdict


def with_interval(value: float | None, standard: float | None, unit: str) -> str:
    """A value with its 95 % interval, rounded together: ``1043 +/- 30 N``; a dash where there is none."""
    number, half = pair(value, standard)
    if not number:
        return "-"
    return f"{number} +/- {half} {unit}" if half else f"{number} {unit}"


def pair(value: float | None, standard: float | None) -> tuple[str, str]:
    """A value and half its 95 % interval, rounded together; empty where unknown."""
    if value is None:
        return "", ""
    if not standard:
        return f"{value:.0f}", ""
    return rounded(value, COVERAGE * standard)


def deviation(spoke: SpokeReading) -> str:
    """The deviation from the side's mean with its sign, rounded by its uncertainty: ``+4.2``; empty where unknown."""
    if spoke.deviation_percent is None:
        return ""
    number, _ = rounded(spoke.deviation_percent, max(COVERAGE * (spoke.u_deviation_percent or 0.0), FINEST_PERCENT))
    return number if number.startswith("-") or not float(number) else f"+{number}"


def side_mean(reading: Reading, side: str) -> float | None:
    """The side's mean in N, if tensions are known."""
    found = reading.sides.get(side)
    return None if found is None else found.mean_n


def of_spokes(reading: Reading, state: State) -> tuple[SpokeReading, ...]:
    """The spokes in this state, the farthest from the mean first."""
    found = [spoke for spoke in reading.spokes if state_of(spoke) == state]
    return tuple(sorted(found, key=lambda spoke: -abs(spoke.deviation_percent or 0.0)))
