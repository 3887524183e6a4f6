"""What the log keeps, as frozen values. Imports reading, options and fitting."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import asdict, dataclass, field
from typing import Any

from tensionear.options import RoundOptions
from tensionear.reading import PluckReading, Reading
from tensionear.texts import json_from

from .fitting import made


@dataclass(frozen=True, slots=True)
class Asked:
    """What was plucked and how: all that is needed, beside the sound, to read it again.

    Parameters
    ----------
    wheel_text : str or None
        The text of the wheel file.
    kind : str or None
        Name of a library spoke, with ``free_length_m``, where no wheel is known.
    free_length_m : float or None
    spokes : int or None
        The number of spokes where only that is known.
    first : int
        The spoke the round starts at.
    options : RoundOptions
    """

    wheel_text: str | None = None
    kind: str | None = None
    free_length_m: float | None = None
    spokes: int | None = None
    first: int = 1
    options: RoundOptions = field(default_factory=RoundOptions)

    def to_dict(self) -> dict[str, Any]:
        """The JSON form, without the wheel's text, which has a place of its own."""
        options = {name: getattr(self.options, name) for name in RoundOptions.__dataclass_fields__}
        options["assign"] = {str(pluck): spoke for pluck, spoke in self.options.assign.items()}
        return {
            "kind": self.kind,
            "free_length_m": self.free_length_m,
            "spokes": self.spokes,
            "first": self.first,
            "options": options,
        }


def asked_from(document: Mapping[str, Any], wheel_text: str | None) -> Asked:
    """The opposite of `Asked.to_dict`."""
    told = dict(document.get("options", {}))
    told["assign"] = {int(pluck): spoke for pluck, spoke in told.get("assign", {}).items()}
    for name in ("missing", "skip"):
        told[name] = tuple(told.get(name, ()))
    known = {name: told[name] for name in RoundOptions.__dataclass_fields__ if name in told}
    asked = {name: document.get(name) for name in ("kind", "free_length_m", "spokes")}
    options = made(RoundOptions, known)
    return made(Asked, {**asked, "wheel_text": wheel_text, "first": document.get("first", 1), "options": options})


@dataclass(frozen=True, slots=True)
class State:
    """How the wheel stood when it was plucked; None is not stated. A reading is of the wheel in this state."""

    tyre: str | None = None
    pressure_kpa: float | None = None
    temperature_c: float | None = None

    def to_dict(self) -> dict[str, Any]:
        """The JSON form."""
        return asdict(self)


def state_from(document: Mapping[str, Any]) -> State:
    """The opposite of `State.to_dict`."""
    return made(State, {name: document.get(name) for name in State.__dataclass_fields__})


def table_from(text: str) -> Mapping[str, Any]:
    """The JSON object that a column holds; ValueError or TypeError if it holds none."""
    found = json_from(text)
    if not isinstance(found, Mapping):
        raise TypeError(f"{text[:40]!r} is no table")
    return found


@dataclass(frozen=True, slots=True)
class RoundRow:
    """One line of the log. ``finished`` is None for a round that is not; times are UTC, ISO 8601."""

    id: int
    uid: str
    title: str
    started: str
    finished: str | None
    job: str | None
    verdict: str | None
    plucks: int
    note: str


@dataclass(frozen=True, slots=True)
class KeptPluck:
    """One pluck of a round that was kept as it was plucked; ``sound`` is a path under the folder of sounds."""

    number: int
    reading: PluckReading
    sound: str | None


@dataclass(frozen=True, slots=True)
class KeptRound:
    """One round of the log with all that was kept of it.

    ``reading`` is None while it is unfinished; ``program`` and ``model`` are the versions that read it; ``sound`` is a path
    under the folder of sounds; ``sheet`` holds the other readings of the sitting as JSON.
    """

    row: RoundRow
    asked: Asked
    state: State
    reading: Reading | None
    plucks: tuple[KeptPluck, ...]
    program: str
    model: str
    sound: str | None
    sheet: Mapping[str, Any]
