"""How accepted plucks are kept, whatever keeps them. Imports capture and events."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Protocol

from tensionear.capture.plucks import Pluck
from tensionear.reading import Reading

from .events import Value


@dataclass(frozen=True, slots=True, eq=False)
class KeptPluck:
    """An accepted pluck: when, whose, what it said, and its sound as it was heard."""

    onset_s: float
    spoke: int
    value: Value
    pluck: Pluck


class Keeper(Protocol):
    """Keeps a round as it grows. When a method returns, what it was given is on disk; OSError if it cannot be."""

    def accept(self, plucks: tuple[KeptPluck, ...]) -> None:
        """Keep these plucks of one spoke; one already kept (by onset) is replaced, since its whole ring is now known."""
        ...

    def withdraw(self, spoke: int) -> None:
        """What was kept of this spoke no longer counts."""
        ...

    def note(self, spoke: int, text: str) -> None:
        """Keep a note."""
        ...

    def close(self, reading: Reading) -> None:
        """The round is over and was read so."""
        ...


class KeepsNothing:
    """For a file that is played: it is kept already."""

    def accept(self, plucks: tuple[KeptPluck, ...]) -> None:
        """Nothing."""

    def withdraw(self, spoke: int) -> None:
        """Nothing."""

    def note(self, spoke: int, text: str) -> None:
        """Nothing."""

    def close(self, reading: Reading) -> None:
        """Nothing."""
