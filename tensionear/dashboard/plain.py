"""A reading as plain lines for pipes and screen readers, one finished fact a line. Imports its siblings here only.

No drawing, no columns, no colour, no cursor movement; ASCII but for names the user gave; the words of the picture.
"""

from __future__ import annotations

from collections.abc import Iterator

from tensionear.reading import Finding, PluckReading, Reading, SpokeReading

from .sentence import alarms, names_of, to_do
from .states import SIDE_WORDS, STATE_WORDS, deviation, state_of, verdict_words, with_interval
from .table import notes_of, singles_out


def plain_lines(reading: Reading) -> Iterator[str]:
    """The lines of a reading, alarms first, what to do last."""
    for alarm in alarms(reading):
        yield f"ALARM: {alarm}"
    yield f"{reading.title}: {summary(reading)}."
    if reading.job in ("wheel", "evenness"):
        for side in reading.sides:
            yield f"{SIDE_WORDS[side].capitalize()}: {', '.join(side_facts(reading, side))}."
        for spoke in reading.spokes:
            yield _spoke_line(reading, spoke)
    else:
        for number, pluck in enumerate(reading.plucks, 1):
            yield _pluck_line(number, pluck, reading.units)
    yield from (f"Note: {text.rstrip('.')}." for text in notes(reading))
    yield f"To do: {to_do(reading)}"


def summary(reading: Reading) -> str:
    """What was read, and how it was judged."""
    used = sum(pluck.used for pluck in reading.plucks)
    found = f"{used} of {len(reading.plucks)} plucks used, {reading.duration_s:.1f} s of sound"
    return found if reading.verdict is None else f"{verdict_words(reading)}, {found}"


def side_facts(reading: Reading, side: str) -> tuple[str, ...]:
    """What is known of a side, the weightiest first: mean, spread, verdict, target."""
    there = reading.sides[side]
    target = reading.limits.target_n.get(side)
    facts = []
    if there.mean_n is not None:
        facts.append(f"mean {with_interval(there.mean_n, there.u_mean_n, reading.units)}")
    if there.spread_percent is not None:
        facts.append(f"spread +/- {there.spread_percent:.1f} %")
    if there.verdict is not None:
        facts.append(there.verdict)
    if target is not None:
        facts.append(f"target {target:.0f} {reading.units}")
    return tuple(facts) or ("not read",)


def notes(reading: Reading) -> tuple[str, ...]:
    """Findings and warnings, then the plucks of a round that were not used, each with what to change."""
    found = [_finding(reading, each) for each in reading.findings] + list(reading.warnings)
    if reading.job in ("wheel", "evenness"):
        for number, pluck in enumerate(reading.plucks, 1):
            if pluck.rejected is not None:
                advice = f"; {pluck.advice}" if pluck.advice else ""
                found.append(
                    f"pluck {number} at {pluck.onset_s:.2f} s not used: {pluck.rejected.replace('-', ' ')}{advice}"
                )
    return tuple(found)


def _finding(reading: Reading, finding: Finding) -> str:
    """A finding, the spokes that it singles out before it."""
    single = tuple(spoke.spoke for spoke in reading.spokes if singles_out(reading, finding, spoke))
    return f"{names_of(reading, single)}: {finding.text}" if single else finding.text


def _spoke_line(reading: Reading, spoke: SpokeReading) -> str:
    """One spoke."""
    parts = []
    if spoke.tension_n is not None:
        parts.append(with_interval(spoke.tension_n, spoke.u_tension_n, reading.units))
    if spoke.deviation_percent is not None:
        parts.append(f"{deviation(spoke)} % of the mean")
    parts.append(STATE_WORDS[state_of(spoke)])
    parts.extend(notes_of(reading, spoke))
    name = f"Spoke {spoke.spoke}" if spoke.label == str(spoke.spoke) else f"{spoke.label} (spoke {spoke.spoke})"
    return f"{name}: {', '.join(parts)}."


def _pluck_line(number: int, pluck: PluckReading, units: str) -> str:
    """One pluck on its own."""
    where = f"Pluck {number} at {pluck.onset_s:.2f} s"
    if pluck.rejected is not None:
        return f"{where}: not used, {pluck.rejected.replace('-', ' ')}; {pluck.advice or 'pluck again'}."
    parts = []
    if pluck.frequency_hz is not None:
        parts.append(with_interval(pluck.frequency_hz, pluck.u_frequency_hz, "Hz"))
    if pluck.tension_n is not None:
        parts.append(with_interval(pluck.tension_n, pluck.u_tension_n, units))
    return f"{where}: {', '.join(parts) if parts else 'nothing read'}."
