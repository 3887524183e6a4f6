"""Whether a document from a file can be used as a calibration: its parts and their shapes. Pure; imports physics, records."""

from __future__ import annotations

import math
from collections.abc import Mapping
from datetime import date
from typing import Any

import numpy as np
from numpy.typing import NDArray

from tensionear.physics.believed import SHARED_ENDS
from tensionear.physics.modes import MODES

from .records import known_data

Array = NDArray[np.float64]

HEAD = ("how", "name", "date", "measured_by", "program", "note")
#: Nothing in a record is larger; further on arithmetic overflows.
_LARGEST = 1e15


def check_document(document: Mapping[str, Any]) -> None:
    """Hold a record's tables against what is made of them.

    Raises
    ------
    ValueError, KeyError, TypeError, AttributeError
        With what is wrong. Figures that are never read again, such as the residuals, are not looked at.
    """
    for key in HEAD:
        if not isinstance(document[key], str):
            raise TypeError(f"{key} is no text")
    date.fromisoformat(document["date"])
    _tables(document["data"], document["result"])
    match document["how"]:
        case "known":
            _tables(document["state"])
            for heard in document["data"]["heard"].values():
                _heard(heard)
            data = known_data(document)
            if not isinstance(data.wheel_text, str):
                raise TypeError("wheel_file is no text")
            for known in data.known.values():
                _positive(known.tension_n)
                _numbers(known.u_tension_n, known.u_own_n or 0.0)
            for group in document["result"].values():
                _group(group)
        case "hanging":
            data = document["data"]
            _positive(data["free_length_m"], data["u_length_m"], data["gravity_m_s2"])
            _numbers(data["u_gravity_m_s2"], data.get("mass_density_kg_m3", 0.0))
            for number in range(1, len(data["masses"]) + 1):
                row = data["masses"][str(number)]
                _positive(row["mass_kg"])
                _numbers(row["u_mass_kg"])
                _heard(row)
                if not isinstance(row["sound"], str):
                    raise TypeError("a sound is no text")
            if not isinstance(data["kind"], str):
                raise TypeError("kind is no text")
            _lot(document["result"])
        case "weighed":
            _lot(document["result"])
        case how:
            raise ValueError(f"how is {how[:20]!r}; known, hanging and weighed are what there is")


def _group(group: Mapping[str, Any]) -> None:
    """A group of a record of known tensions: its build, and what was learned of it."""
    _tables(group, group["build"], group["build"]["spoke"], group["learned"])
    _positive(group["build"]["free_length_mm"])
    sources = ["length", *group["build"]["spoke"]["sources"]]
    if group["sources"] != sources:
        raise ValueError("the sources of a group are not those of its spoke")
    weight, mean, covariance = (_array(group["learned"][key]) for key in ("weight", "mean", "covariance"))
    parts, size = len(weight), SHARED_ENDS + len(sources)
    if weight.ndim != 1 or mean.shape != (parts, size) or covariance.shape != (parts, size, size):
        raise ValueError("what a group learned is of another shape")
    if not parts or np.any(weight <= 0) or abs(float(weight.sum()) - 1) > 1e-3:
        raise ValueError("the weights of a group do not make one")
    for each in covariance:
        _definite(each)


def _lot(result: Mapping[str, Any]) -> None:
    """Mean and covariance of a lot's tolerances."""
    _tables(result["spoke"], result["tolerances"])
    mean, covariance = (_array(result["tolerances"][key]) for key in ("mean", "covariance"))
    size = len(result["spoke"]["sources"])
    if mean.shape != (size,) or covariance.shape != (size, size):
        raise ValueError("the tolerances of a lot are of another shape")
    _definite(covariance)


def _heard(row: Mapping[str, Any]) -> None:
    hertz, u = _array(row["partials_hz"]), _array(row["u_relative"])
    if hertz.shape != (3, MODES) or u.shape != (3, MODES) or np.any((u > 0) & (hertz <= 0)):
        raise ValueError("the partials of a spoke are of another shape, or not above 0")
    _positive(row["start_n"])


def _definite(covariance: Array) -> None:
    """A covariance has no direction without width, and is its own mirror image."""
    apart = np.abs(covariance - covariance.T).max()
    if apart > 1e-6 * np.abs(covariance).max() or float(np.linalg.eigvalsh(covariance).min()) <= 0:
        raise ValueError("a covariance is not positive definite")


def _array(given: Any) -> Array:
    found: Array = np.array(given, dtype=np.float64)
    if not np.all(np.abs(found) < _LARGEST):
        raise ValueError("a number is not finite, or too large")
    return found


def _numbers(*given: Any) -> None:
    for each in given:
        if type(each) not in (int, float) or not math.isfinite(each) or not 0 <= each < _LARGEST:
            raise ValueError(f"{str(each)[:20]!r} is no number from 0 on")


def _positive(*given: Any) -> None:
    _numbers(*given)
    if not all(each > 0 for each in given):
        raise ValueError("a number that must be above 0 is 0")


def _tables(*given: Any) -> None:
    for each in given:
        if not isinstance(each, Mapping):
            raise TypeError(f"{str(each)[:20]!r} is no table")
