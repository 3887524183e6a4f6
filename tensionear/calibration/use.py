"""A wheel given what the calibrations say of its build and its spokes. Imports the store, physics and the wheel."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from types import MappingProxyType
from typing import Any

import numpy as np

from tensionear.errors import InputError
from tensionear.physics.believed import EndsPrior, SharedPrior, flat_prior
from tensionear.physics.known import Carried, carry, inform
from tensionear.reading import Finding
from tensionear.wheel.model import GroupKey, Wheel
from tensionear.wheel.sidefit import groups_of

from .builds import build_table, same_build
from .records import learned_from
from .store import Record, find, latest

#: What a wheel file says to be read without any calibration.
NONE = "none"
#: How far a calibration holds for the next wheel of a build: judgement, no source.
CARRIED = Carried()


def calibrated(wheel: Wheel) -> Wheel:
    """The wheel with what its calibrations say: those its file names, or else the one found for its build.

    A record that is named but missing or of another kind of spoke is told as a finding, never an error: the wheel can be read
    without it.
    """
    if NONE in wheel.calibration:
        return wheel
    if wheel.calibration:
        records, told = _named(wheel.calibration)
    else:
        found, broken = latest()
        records, told = (
            [each for each in found if each.document["how"] == "known"],
            [_unreadable(each) for each in broken],
        )
    learned: dict[GroupKey, SharedPrior] = {}
    used: dict[str, list[str]] = {}
    for key in groups_of(wheel.places):
        prior, names = _of_group(wheel, key, records)
        if prior is not None:
            learned[key] = prior
        for name in names:
            used.setdefault(name, []).append(key[0])
    told += [_used(name, sides) for name, sides in used.items()]
    if wheel.calibration:
        told += [_unused(record) for record in records if record.in_words not in used]
    return replace(wheel, learned=MappingProxyType(learned), calibrated=tuple(told))


def _of_group(wheel: Wheel, key: GroupKey, records: Sequence[Record]) -> tuple[SharedPrior | None, list[str]]:
    """What the records say of one group, and which did."""
    build = build_table(wheel, key)
    tied = [(record, table) for record in records if (table := _group_in(record, build)) is not None]
    prior, names = None, []
    if tied:
        record, table = max(tied, key=lambda one: (one[0].document["date"], one[0].version))
        prior, names = carry(learned_from(table), CARRIED), [record.in_words]
    for record in records:
        result = record.document["result"]
        if record.document["how"] == "known" or result.get("spoke") != build["spoke"]:
            continue
        mean, covariance = (np.array(result["tolerances"][each]) for each in ("mean", "covariance"))
        prior = inform(prior or flat_prior(EndsPrior(), len(mean) + 1), *_with_length(mean, covariance))
        names.append(record.in_words)
    return prior, names


def _group_in(record: Record, build: Mapping[str, Any]) -> Mapping[str, Any] | None:
    """The group of a record that is of this build."""
    if record.document["how"] != "known":
        return None
    groups = record.document["result"].values()
    return next((table for table in groups if same_build(table["build"], build)), None)


def _with_length(mean: np.ndarray, covariance: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Tolerances of a lot with the wheel's length, of which it says nothing, put before them."""
    size = len(mean) + 1
    wider = np.eye(size)
    wider[1:, 1:] = covariance
    return np.concatenate([[0.0], mean]), wider


def _named(names: Sequence[str]) -> tuple[list[Record], list[Finding]]:
    """The records a wheel file names."""
    records, told = [], []
    for name in names:
        try:
            records.append(find(name))
        except InputError as error:
            told.append(Finding("calibration-missing", f"read without the calibration its wheel file names: {error}"))
    return records, told


def _used(name: str, sides: Sequence[str]) -> Finding:
    where = " and ".join(dict.fromkeys(sides))
    text = f"calibration {name} was used for the {where} side; --no-calibration leaves it out"
    return Finding("calibrated", text, (), "note")


def _unused(record: Record) -> Finding:
    text = f"calibration {record.in_words} is of another build or kind of spoke than this wheel and was not used"
    return Finding("calibration-unlike", text)


def _unreadable(text: str) -> Finding:
    return Finding("calibration-unreadable", text)
