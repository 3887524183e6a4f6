"""What a batch came to: counts, and the few failures that are told by name. Pure; imports values."""

from __future__ import annotations

from dataclasses import dataclass, field

from .values import Row

#: Failures told by name at the end; the result has them all.
MOST_TOLD = 12


@dataclass(slots=True)
class Tally:
    """Counts of rows; ``kept`` were there already. Superseded attempts are counted as such and no other way."""

    rows: int = 0
    within: int = 0
    out: int = 0
    undecided: int = 0
    unjudged: int = 0
    unreadable: int = 0
    superseded: int = 0
    sound_s: float = 0.0
    failures: list[tuple[str, str]] = field(default_factory=list)

    def count(self, row: Row) -> None:
        """Count a row."""
        self.rows += 1
        self.sound_s += row.duration_s or 0.0
        if row.superseded_by:
            self.superseded += 1
        elif row.status == "failed":
            self.unreadable += 1
            if len(self.failures) < MOST_TOLD:
                self.failures.append((row.file, row.reason))
        elif row.verdict is None:
            self.unjudged += 1
        elif row.verdict == "within":
            self.within += 1
        elif row.verdict == "out":
            self.out += 1
        else:
            self.undecided += 1

    @property
    def all_within(self) -> bool:
        """Whether every file that counts was read and its wheel is within its limits."""
        return self.within + self.superseded == self.rows

    @property
    def none_read(self) -> bool:
        """Whether there were files and not one of them could be read."""
        return self.rows > 0 and self.unreadable == self.rows

    def told(self) -> str:
        """The counts in words."""
        parts = [f"within {self.within}", f"out {self.out}", f"undecided {self.undecided}"]
        parts += [f"no verdict {self.unjudged}"] if self.unjudged else []
        parts += [f"unreadable {self.unreadable}"]
        parts += [f"superseded {self.superseded}"] if self.superseded else []
        return ", ".join(parts)


def word_of(row: Row) -> str:
    """What a lamp or a label shows of a row: ``within``, ``out``, ``undecided``, ``no-verdict`` or ``unreadable``."""
    if row.status == "failed":
        return "unreadable"
    return row.verdict or "no-verdict"
