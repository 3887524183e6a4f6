"""Readings back from their JSON form, also from one written by another version. Imports reading only.

Keys that this version does not know are passed over, those it misses get their default: the log keeps the text as it was.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

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


def reading_from(document: Mapping[str, Any]) -> Reading:
    """The reading of ``Reading.to_dict()``; KeyError, TypeError or ValueError if it is none."""
    return Reading(
        **{
            **_known(Reading, document),
            "warnings": tuple(document["warnings"]),
            "findings": tuple(
                Finding(**{**_known(Finding, each), "spokes": tuple(each["spokes"])}) for each in document["findings"]
            ),
            "plucks": tuple(pluck_from(each) for each in document["plucks"]),
            "spokes": tuple(_spoke(each) for each in document["spokes"]),
            "sides": {side: SideReading(**_known(SideReading, each)) for side, each in document["sides"].items()},
            "ends": {side: tuple(_end(each) for each in ends) for side, ends in document["ends"].items()},
            "limits": Limits(**_known(Limits, document["limits"])),
            "assumptions": tuple(document.get("assumptions", ())),
        }
    )


def pluck_from(document: Mapping[str, Any]) -> PluckReading:
    """One pluck of it."""
    partials = tuple(Partial(**_known(Partial, each)) for each in document.get("partials", ()))
    return PluckReading(**{**_known(PluckReading, document), "partials": partials})


def _spoke(document: Mapping[str, Any]) -> SpokeReading:
    return SpokeReading(**{**_known(SpokeReading, document), "interval_95_n": _interval(document["interval_95_n"])})


def _end(document: Mapping[str, Any]) -> EndStiffness:
    return EndStiffness(**{**_known(EndStiffness, document), "interval_95": _interval(document["interval_95"])})


def _interval(given: Any) -> Any:
    return None if given is None else (given[0], given[1])


def _known(kind: Any, document: Mapping[str, Any]) -> dict[str, Any]:
    """The keys of a document that are fields of this kind of value."""
    return {name: document[name] for name in kind.__dataclass_fields__ if name in document}
