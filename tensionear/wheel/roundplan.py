"""In which order the spokes of a round are plucked. Imports errors only."""

from __future__ import annotations

from dataclasses import dataclass

from tensionear.errors import UsageError


@dataclass(frozen=True, slots=True)
class RoundPlan:
    """The spokes in the order they are expected, and the side of each (None where sides are not known).

    ``higher`` is the side that sings higher by the build of the wheel, ``R`` or ``L``; None where that is not plain.
    """

    spokes: tuple[int, ...]
    sides: tuple[str | None, ...]
    higher: str | None = None


def plan_round(
    spokes: int,
    sides: str | None,
    first: int,
    order: str,
    direction: str,
    missing: tuple[int, ...],
    higher: str | None = None,
) -> RoundPlan:
    """Plan a round.

    Parameters
    ----------
    spokes : int
        How many the wheel has.
    sides : str or None
        One letter a spoke, ``R`` or ``L``, from spoke 1 on; None where not known (spokes then alternate).
    first : int
        The spoke the round starts at.
    order : {"rim", "right-then-left", "left-then-right"}
    direction : {"cw", "ccw"}
    missing : tuple of int
        Spokes that were not plucked.
    higher : {"R", "L"} or None
        The side that sings higher by the build of the wheel, where that is plain.

    Raises
    ------
    UsageError
        If ``first`` or a missing spoke is no spoke of the wheel, or none is left.
    """
    for name, number in (("--first", first), *(("--missing", number) for number in missing)):
        if not 1 <= number <= spokes:
            raise UsageError(f"{name} {number} is no spoke of a wheel of {spokes}; give 1 to {spokes}")
    step = 1 if direction == "cw" else -1
    ring = [(first - 1 + step * turn) % spokes + 1 for turn in range(spokes)]
    letters = sides or ("RL" * spokes)[:spokes]
    if order != "rim":
        leading = "R" if order == "right-then-left" else "L"
        ring = [number for number in ring if letters[number - 1] == leading] + [
            number for number in ring if letters[number - 1] != leading
        ]
    ring = [number for number in ring if number not in missing]
    if not ring:
        raise UsageError(f"all {spokes} spokes are missing; leave out --missing for those that were plucked")
    return RoundPlan(tuple(ring), tuple(letters[number - 1] if sides else None for number in ring), higher)
