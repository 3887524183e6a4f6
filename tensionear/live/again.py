"""A recording heard again from its start, up to where its round was kept. Pure; imports ear, keeping and events.

What still rings of the plucks before is then heard as it was the first time, so that a round gone on with reads as one that
was never broken off. A microphone cannot be heard again: there only the kept sounds are.
"""

from __future__ import annotations

from dataclasses import dataclass

from .ear import SAME_S
from .keeping import Restored


@dataclass(frozen=True, slots=True, eq=False)
class HeardBefore:
    """What was kept of a recording up to ``until_s``."""

    kept: tuple[Restored, ...] = ()
    until_s: float = 0.0

    def covers(self, onset_s: float) -> bool:
        """Whether this was heard before: nothing is told of it again."""
        return onset_s < self.until_s

    def pluck_at(self, onset_s: float) -> Restored | None:
        """The pluck that was kept there; None if there was none."""
        return next((each for each in self.kept if abs(each.onset_s - onset_s) < SAME_S), None)
