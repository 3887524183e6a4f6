"""Readings back from their JSON form, also from one written by another version. Imports reading and fitting only.

Keys that this version does not know are passed over, those it misses get their default: the log keeps the text as it was.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any, TypeVar

from tensionear.reading import (
    EndStiffness,
    Finding,
    Limits,
    Partial,
    PluckReading,
    Reading,
    SideReading,
    SpokeReading,
)

from .fitting import made

Made = TypeVar("Made")


def reading_from(document: Mapping[str, Any]) -> Reading:
    """The reading of ``Reading.to_dict()``; KeyError, TypeError or ValueError if it is none."""
    changed = {
        "warnings": tuple(document["warnings"]),
        "findings": tuple(_made(Finding, each, {"spokes": tuple(each["spokes"])}) for each in document["findings"]),
        "plucks": tuple(pluck_from(each) for each in document["plucks"]),
        "spokes": tuple(
            _made(SpokeReading, each, {"interval_95_n": _interval(each["interval_95_n"])})
            for each in document["spokes"]
        ),
        "sides": {side: _made(SideReading, each, {}) for side, each in document["sides"].items()},
        "ends": {side: tuple(_end(each) for each in ends) for side, ends in document["ends"].items()},
        "limits": _made(Limits, document["limits"], {}),
        "assumptions": tuple(document.get("assumptions", ())),
    }
    return _made(Reading, document, changed)


def pluck_from(document: Mapping[str, Any]) -> PluckReading:
    """One pluck of it."""
    partials = tuple(_made(Partial, each, {}) for each in document.get("partials", ()))
    return _made(PluckReading, document, {"partials": partials})


def _end(document: Mapping[str, Any]) -> EndStiffness:
    return _made(EndStiffness, document, {"interval_95": _interval(document["interval_95"])})


def _interval(given: Any) -> tuple[float, float] | None:
    if given is None:
        return None
    low, high = given
    return low, high


def _made(kind: type[Made], document: Mapping[str, Any], changed: Mapping[str, Any]) -> Made:
    """A value of this kind from the keys of a document that are its fields, some of them given anew."""
    fields: Mapping[str, Any] = kind.__dataclass_fields__  # type: ignore[attr-defined]
    return made(kind, {**{name: document[name] for name in fields if name in document}, **changed})
