"""The bench of verdicts in small: goes on where it stopped, and what it calls is mostly so."""

from __future__ import annotations

from pathlib import Path

import pytest

from benchmarks import verdicts


def test_an_interrupted_run_goes_on_from_its_file(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    kept = tmp_path / "verdicts.csv"
    first = verdicts.judged(range(10), kept)
    drawn: list[int] = []
    case = verdicts.case
    monkeypatch.setattr(verdicts, "case", lambda seed: drawn.append(seed) or case(seed))
    again = verdicts.judged(range(12), kept)
    assert drawn == [10, 11]
    assert again[:10] == first
    assert "called within" in verdicts.table(again)


def test_what_is_called_is_mostly_so(tmp_path: Path) -> None:
    """Of 150 wheels: allowed are 5 % and two standard errors, as in the bench of 1,000."""
    cases = verdicts.judged(range(150), tmp_path / "verdicts.csv")
    for verdict, true in (("within", True), ("out", False)):
        called = [one for one in cases if one.verdict == verdict]
        wrong = sum(one.truly_within is not true for one in called)
        assert len(called) > 25
        assert wrong / len(called) < 0.05 + 2 * (0.05 * 0.95 / len(called)) ** 0.5
