"""Spokes that ring far shorter than their fellows: something touches them or buzzes. Imports reading only."""

from __future__ import annotations

import statistics
from collections.abc import Sequence

from tensionear.reading import Finding, PluckReading

#: A ring that lasts less than this share of the usual one; simulated rounds stay above 0.3. Judgement, no source.
DULL = 0.2
_FEWEST = 8  # spokes that tell what is usual
_LOW_MODES = 3


def dull_rings(plucks: Sequence[PluckReading]) -> list[Finding]:
    """Spokes none of whose plucks rang: the longest decay of the first three modes is far below what is usual."""
    longest: dict[int, float] = {}
    for pluck in plucks:
        decays = [partial.decay_s for partial in pluck.partials if partial.mode <= _LOW_MODES]
        if pluck.used and pluck.spoke is not None and decays:
            longest[pluck.spoke] = max(longest.get(pluck.spoke, 0.0), *decays)
    if len(longest) < _FEWEST:
        return []
    usual = statistics.median(longest.values())
    dull = tuple(spoke for spoke, decay_s in sorted(longest.items()) if decay_s < DULL * usual)
    if not dull:
        return []
    text = "rings far shorter than the others: something touches it or buzzes there; find it before turning anything"
    return [Finding("buzzing", text, dull)]
