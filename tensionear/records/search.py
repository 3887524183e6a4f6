"""Which rounds of the log are asked for, as a condition in SQL. Imports the schema only."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from .schema import key_of


@dataclass(frozen=True, slots=True)
class Search:
    """Which rounds are asked for; None and empty ask for all.

    ``wheel`` is part of the wheel's name, ``note`` of the note, whatever their case; ``since`` and ``until`` are days
    (``2026-11-25``, both counted in, UTC); ``limit`` the most rounds, the latest first.
    """

    wheel: str = ""
    since: str | None = None
    until: str | None = None
    verdict: str | None = None
    limit: int | None = None
    note: str = ""

    def where(self) -> tuple[str, list[Any]]:
        """The condition in SQL and its values."""
        terms: list[tuple[str, Any]] = []
        if self.wheel:
            terms.append(("instr(title_key, ?) > 0", key_of(self.wheel)))
        if self.note:
            terms.append(("instr(note_key, ?) > 0", key_of(self.note)))
        if self.since:
            terms.append(("started >= ?", self.since))
        if self.until:
            terms.append(("started < ?", f"{self.until}U"))  # after every time of that day
        if self.verdict == "none":
            terms.append(("verdict IS NULL AND 1 = ?", 1))
        elif self.verdict:
            terms.append(("verdict = ?", self.verdict))
        return " AND ".join(term for term, _ in terms) or "1", [value for _, value in terms]
