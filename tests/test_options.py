"""What is said about a round must not contradict itself."""

from __future__ import annotations

import pytest

from tensionear.errors import UsageError
from tensionear.options import RoundOptions


@pytest.mark.parametrize(
    ("options", "message"),
    [
        ({"missing": (0,)}, "spoke or pluck 0 does not exist"),
        ({"skip": (-1,)}, "spoke or pluck -1 does not exist"),
        ({"assign": {1: 0}}, "spoke or pluck 0 does not exist"),
        ({"assign": {4: 7}, "skip": (4,)}, "pluck 4 is both skipped and assigned to spoke 7"),
        ({"assign": {4: 7}, "missing": (7,)}, "spoke 7 is both missing and assigned pluck 4"),
    ],
)
def test_contradictions(options: dict[str, object], message: str) -> None:
    with pytest.raises(UsageError, match=message):
        RoundOptions(**options)  # type: ignore[arg-type]


def test_nothing_said() -> None:
    assert RoundOptions() == RoundOptions("rim", "cw", (), {}, (), None)
