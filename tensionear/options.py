"""What the user says about a recorded round: the order, what is missing, what a pluck is. Imports errors only."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from types import MappingProxyType
from typing import Literal

from .errors import UsageError

Order = Literal["rim", "right-then-left", "left-then-right"]
Direction = Literal["cw", "ccw"]
Crossing = Literal["apart", "touching", "pinched", "tied"]


@dataclass(frozen=True, slots=True)
class RoundOptions:
    """How a round was plucked.

    Parameters
    ----------
    order : {"rim", "right-then-left", "left-then-right"}
        Spoke after spoke along the rim, or one whole side before the other.
    direction : {"cw", "ccw"}
        Clockwise or counter-clockwise, seen from the right.
    missing : tuple of int
        Spokes (from 1) that were not plucked.
    assign : mapping of int to int
        Pluck (from 1, in order of time) to the spoke (from 1) that it is, whatever the rhythm says.
    skip : tuple of int
        Plucks (from 1) that are none of the spokes.
    crossing : {"apart", "touching", "pinched", "tied"} or None
        How spokes meet where they cross; None is what the wheel file says, else unknown.

    Raises
    ------
    UsageError
        If a number is below 1, or a pluck is both skipped and assigned, or a spoke both missing and assigned.
    """

    order: Order = "rim"
    direction: Direction = "cw"
    missing: tuple[int, ...] = ()
    assign: Mapping[int, int] = field(default_factory=lambda: MappingProxyType({}))
    skip: tuple[int, ...] = ()
    crossing: Crossing | None = None

    def __post_init__(self) -> None:
        """Refuse what contradicts itself."""
        for number in (*self.missing, *self.skip, *self.assign, *self.assign.values()):
            if number < 1:
                raise UsageError(f"spoke or pluck {number} does not exist: both are counted from 1; correct the number")
        for pluck, spoke in self.assign.items():
            if pluck in self.skip:
                raise UsageError(f"pluck {pluck} is both skipped and assigned to spoke {spoke}; keep one of the two")
            if spoke in self.missing:
                raise UsageError(f"spoke {spoke} is both missing and assigned pluck {pluck}; keep one of the two")
