"""Strikes as they are reported: which count, why others do not, and the one thing to change. Imports listening, reading."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from tensionear.listening import Listened, Strike
from tensionear.pitch.kind import what_else
from tensionear.pitch.lines import Heard, Line
from tensionear.reading import Finding, Partial, Plane, PluckReading

ACCEPTED = 0.5
_LISTED, _LISTED_NOVELTY_DB = 0.03, 12.0
_SHORTEST_RING_S = 0.09

#: What to change at the next try, by the reason a strike does not count.
ADVICE: Mapping[str, str] = {
    "knock": "a tool or the rim was knocked: keep tools off the wheel and pluck only the spoke",
    "voice": "a voice or something moving was heard: record while nobody speaks",
    "weak": "no spoke's partials stand out: pluck a little harder, or bring the microphone nearer",
    "noise": "nothing but noise: record in a quieter place",
    "clipped": "too loud for the microphone: move it away or pluck more softly",
    "gated": "a noise gate cut the ring off: turn voice processing off in the recorder",
    "short": "the ring was cut short: let each spoke ring for half a second",
    "skipped": "left out as asked",
    "unplaced": "it belongs to no spoke of the round: say with --assign which it is",
}


def listed(listened: Listened) -> tuple[Strike, ...]:
    """The strikes worth telling of: likely plucks, and what was loud enough to be taken for one."""
    return tuple(
        strike for strike in listened.strikes if strike.probability >= _LISTED or strike.novelty_db > _LISTED_NOVELTY_DB
    )


def fault_of(strike: Strike) -> str | None:
    """Why a strike cannot be used whatever it was, or None."""
    if strike.clipped_ring:
        return "clipped"
    if strike.ring_s < _SHORTEST_RING_S:
        return "gated" if strike.gated else "short"
    return None


def reason_of(strike: Strike) -> str:
    """What a strike was that is no pluck."""
    return what_else(strike.features, strike.novelty_db)


def common_findings(strikes: Sequence[Strike]) -> list[Finding]:
    """Findings about the recording as such."""
    found = []
    clipped = [strike for strike in strikes if strike.clipped]
    if clipped:
        lost = sum(strike.clipped_ring for strike in clipped)
        kept = "used, since the ring after it is clean" if not lost else f"{lost} of them into the ring and not used"
        found.append(Finding("clipped", f"{_plucks(len(clipped))} too loud for the microphone: {kept}"))
    gated = [strike for strike in strikes if strike.gated and strike.probability > ACCEPTED]
    if gated:
        text = f"a noise gate cuts the ring of {_plucks(len(gated))}: turn voice processing off and record again"
        found.append(Finding("gated", text))
    return found


def _plucks(count: int) -> str:
    return f"{count} pluck" if count == 1 else f"{count} plucks"


def first_modes(heard: Heard, alike: bool) -> tuple[Line | None, Line | None]:
    """The first mode that is reported - of the flat plane, or the stronger of a round spoke - and that of the edge plane."""
    main = heard.first_modes(0)
    edge = () if alike else heard.first_modes(1)
    return (main[0] if main else None), (edge[0] if edge else None)


def partials_of(heard: Heard, planes: Sequence[Plane]) -> tuple[Partial, ...]:
    """The named lines of a ring, by plane and mode; levels relative to the strongest."""
    named = [line for line in heard.lines if line.mode is not None and line.plane is not None]
    loudest = max((line.level_db for line in named), default=0.0)
    return tuple(
        Partial(
            line.mode or 0,
            planes[line.plane or 0],
            line.frequency_hz,
            line.u_frequency_hz,
            1 / line.decay_rate,
            line.level_db - loudest,
        )
        for line in sorted(named, key=lambda line: (line.plane or 0, line.mode or 0, -line.energy_db))
    )


def unread_pluck(strike: Strike, reason: str) -> PluckReading:
    """A strike that does not count."""
    return PluckReading(strike.onset_s, None, None, False, reason, ADVICE[reason], None, None, None, None, None)


def pluck_reading(
    strike: Strike,
    heard: Heard,
    planes: tuple[Plane, Plane],
    spoke: int | None,
    side: str | None,
    tension: tuple[float, float] | None,
) -> PluckReading:
    """A strike that counts, with the tension (N) and its standard uncertainty where known."""
    main, edge = first_modes(heard, planes[0] == planes[1])
    return PluckReading(
        strike.onset_s,
        spoke,
        side,
        True,
        None,
        None,
        main.frequency_hz if main else None,
        main.u_frequency_hz if main else None,
        edge.frequency_hz if edge else None,
        tension[0] if tension else None,
        tension[1] if tension else None,
        partials_of(heard, planes),
    )
