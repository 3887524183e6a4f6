"""Whether a value from outside is of the type that a field of a value class states. Imports nothing of the package."""

from __future__ import annotations

import math
import types
from collections.abc import Mapping
from typing import Any, Literal, TypeVar, Union, get_args, get_origin, get_type_hints

Made = TypeVar("Made")

#: No whole number of a reading, and no float of one, is as large; further on arithmetic overflows.
_LARGEST_INT, _LARGEST = 1 << 53, 1e12


def made(kind: type[Made], values: Mapping[str, Any]) -> Made:
    """A value class made from values by field; ValueError if one is not of its field's type.

    A float that was not finite when it was kept stands as null and passes.
    """
    hints = _hints_of(kind)
    for name, value in values.items():
        if not fits(value, hints[name]) and not (value is None and hints[name] is float):
            raise ValueError(f"{name} of a {kind.__name__} cannot be {str(value)[:60]!r}")
    return kind(**values)


_HINTS: dict[Any, dict[str, Any]] = {}


def _hints_of(kind: type[Any]) -> dict[str, Any]:
    """Types of the fields, found out once."""
    if kind not in _HINTS:
        _HINTS[kind] = get_type_hints(kind)
    return _HINTS[kind]


def fits(value: Any, hint: Any) -> bool:
    """Tell whether a value is of a type: numbers, texts, literals, value classes, tuples and mappings of these.

    A number must be finite and of a size that sounds and wheels have; a whole number passes for a float.
    """
    origin, inner = get_origin(hint), get_args(hint)
    if origin in (Union, types.UnionType):
        return any(fits(value, each) for each in inner)
    if origin is Literal:
        return isinstance(value, str) and value in inner
    if origin is tuple:
        kinds = inner[:1] * len(value) if isinstance(value, tuple) and inner[1:] == (...,) else inner
        return isinstance(value, tuple) and len(value) == len(kinds) and all(map(fits, value, kinds))
    if origin is Mapping:
        return isinstance(value, Mapping) and all(fits(k, inner[0]) and fits(v, inner[1]) for k, v in value.items())
    return _plainly(value, hint)


def _plainly(value: Any, hint: Any) -> bool:
    """`fits` for what has no parts."""
    if hint is Any:
        return True
    if hint is float:
        return type(value) in (int, float) and math.isfinite(value) and abs(value) < _LARGEST
    if hint is int:
        return type(value) is int and abs(value) < _LARGEST_INT
    return value is None if hint is type(None) else isinstance(value, hint)
