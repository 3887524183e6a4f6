"""Whether a recording's plucks contradict the spoke it is read as, and how that is said. Imports listening, wheel, reading."""

from __future__ import annotations

import math
from collections.abc import Collection, Mapping, Sequence

import numpy as np

from tensionear.listening import Strike
from tensionear.physics.spoke import Spoke
from tensionear.pitch.salience import salient
from tensionear.reading import Finding
from tensionear.wheel.foreign import Look
from tensionear.wheel.model import Wheel
from tensionear.wheel.otherspoke import ENOUGH, Contradiction, contradiction

#: An onset after which so much is new (dB), and so much of it persists, rings; what it was named does not count.
_RINGS_NOVELTY_DB, _RINGS_PERSIST_DB = 6.0, -16.0
_FITS = 0.68  # median share of the rings that a read wheel's spokes explain: with so much nothing is to be asked
_MOSTLY = 0.5  # of the spokes must have been looked at for that


def wheel_contradicted(
    strikes: Sequence[Strike], wheel: Wheel, looks: Mapping[int, Look], whole: Collection[int]
) -> list[Finding]:
    """Whether a round's plucks contradict the one kind of spoke that its wheel is said to have.

    ``whole`` are the numbers of the spokes that sound by their whole length. A wheel of several kinds is not asked.
    """
    kinds = {place.spoke for place in wheel.places}
    if len(kinds) > 1 or len(whole) < len(wheel.places):
        return []
    explained = [look.explained for look in looks.values()]
    if len(explained) > _MOSTLY * len(wheel.places) and float(np.median(explained)) > _FITS:
        return []
    if sum(_rings(strike) for strike in strikes) < ENOUGH:
        return []
    lengths = [place.free_length_m for place in wheel.places]
    found = contradicted(strikes, wheel.places[0].spoke, lengths, max(place.u_length_m for place in wheel.places))
    return [] if found is None else [_finding(found, wheel.places[0].spoke, float(np.median(lengths)))]


def pluck_contradicted(
    strikes: Sequence[Strike], spoke: Spoke, free_length_m: float, u_length_m: float
) -> list[Finding]:
    """Whether single plucks contradict the kind of spoke that they are said to be of."""
    found = contradicted(strikes, spoke, [free_length_m], u_length_m)
    return [] if found is None else [_finding(found, spoke, free_length_m)]


def contradicted(
    strikes: Sequence[Strike], spoke: Spoke, free_lengths_m: Sequence[float], u_length_m: float
) -> Contradiction | None:
    """As ``contradiction``, of all onsets that ring, the loudest first."""
    ringing = sorted(filter(_rings, strikes), key=lambda strike: -strike.level_db)
    return contradiction([salient(strike.heard[0]) for strike in ringing], spoke, free_lengths_m, u_length_m)


def _rings(strike: Strike) -> bool:
    return strike.novelty_db > _RINGS_NOVELTY_DB and strike.features.persist_db > _RINGS_PERSIST_DB


def _finding(found: Contradiction, spoke: Spoke, free_length_m: float) -> Finding:
    """What is said of it."""
    stated = f"{spoke.name} of {1000 * free_length_m:.0f} mm"
    other_mm = 1000 * free_length_m * math.exp(-found.resized.log_size / 2)
    text = (
        f"the overtones contradict {stated}, which explains {100 * found.stated.explained:.0f} % of what rings: "
        f"{found.kind_id} explains {100 * found.catalogued.explained:.0f} %, the stated kind at about {other_mm:.0f} mm "
        f"{100 * found.resized.explained:.0f} % (likelihood of the better one to the stated, 1e{found.odds:.0f} to 1); "
        "see which is true, state it, and read again"
    )
    return Finding("other-spoke", text, (), "fault")
