"""A round on disk: what was kept is there whatever happened to the last line, and is found again."""

from __future__ import annotations

import os
from datetime import UTC, datetime
from pathlib import Path

import numpy as np
import pytest

from tensionear.capture.plucks import Pluck
from tensionear.errors import UsageError
from tensionear.live.events import Value
from tensionear.live.journal import About, Journal, latest_unfinished, load, new_folder
from tensionear.live.keeping import KeptPluck
from tests.live.stand import heard

ABOUT = About("a wheel", 6, "desk", 2)


def kept(onset_s: float, spoke: int, seed: int = 0) -> KeptPluck:
    samples = 0.3 * np.random.default_rng(seed).uniform(-1, 1, 4000).astype(np.float32)
    pluck = Pluck(onset_s, samples, 0.16, 16_000.0, 20.0, 10.0, False, False, False)
    return KeptPluck(onset_s, spoke, Value(400.0, 1000.0, 9.0), pluck)


def test_what_was_kept_is_read_back_with_its_sound(tmp_path: Path) -> None:
    journal = Journal(tmp_path / "one", ABOUT, True)
    journal.accept((kept(1.0, 1), kept(2.0, 1, 1)))
    journal.note(1, "bent")
    found = load(tmp_path / "one")
    assert found is not None
    assert (found.about, found.notes, found.ended) == (ABOUT, ((1, "bent"),), False)
    assert [(each.onset_s, each.spoke, each.value) for each in found.plucks] == [
        (1.0, 1, Value(400.0, 1000.0, 9.0)),
        (2.0, 1, Value(400.0, 1000.0, 9.0)),
    ]
    assert np.abs(found.plucks[0].pluck.samples - kept(1.0, 1).pluck.samples).max() < 2e-7


def test_the_longer_ring_replaces_the_shorter_and_a_redone_spoke_is_withdrawn(tmp_path: Path) -> None:
    journal = Journal(tmp_path / "one", ABOUT, False)
    journal.accept((kept(1.0, 1), kept(2.0, 2)))
    journal.accept((kept(1.0, 1, 3),))
    journal.withdraw(2)
    found = load(tmp_path / "one")
    assert found is not None
    assert [each.onset_s for each in found.plucks] == [1.0]


@pytest.mark.parametrize("cut", [1, 20, 100])
def test_a_line_cut_off_by_a_kill_does_not_count_and_the_next_one_does(tmp_path: Path, cut: int) -> None:
    journal = Journal(tmp_path / "one", ABOUT, False)
    journal.accept((kept(1.0, 1),))
    journal.accept((kept(2.0, 2),))
    path = tmp_path / "one" / "journal.jsonl"
    path.write_bytes(path.read_bytes()[:-cut])
    found = load(tmp_path / "one")
    assert found is not None
    assert [each.onset_s for each in found.plucks] == [1.0]
    Journal(tmp_path / "one", ABOUT, False).accept((kept(3.0, 3),))
    found = load(tmp_path / "one")
    assert found is not None
    assert [each.onset_s for each in found.plucks] == [1.0, 3.0]


def test_a_line_that_could_not_be_written_whole_is_taken_back(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    journal = Journal(tmp_path / "one", ABOUT, False)
    journal.accept((kept(1.0, 1),))

    def full(handle: int) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(os, "fsync", full)
    with pytest.raises(OSError, match="No space"):
        journal.accept((kept(2.0, 2),))
    monkeypatch.undo()
    found = load(tmp_path / "one")
    assert found is not None
    assert [each.onset_s for each in found.plucks] == [1.0]


def test_the_last_unfinished_round_of_this_wheel_is_found(tmp_path: Path) -> None:
    for hour, title in ((8, "a wheel"), (9, "a wheel"), (10, "another")):
        folder = new_folder(tmp_path, title, datetime(2030, 1, 1, hour, tzinfo=UTC))
        Journal(folder, About(title, 6, "desk", 2), False)
    assert "T09" in latest_unfinished(tmp_path, "a wheel", 6).name
    Journal(latest_unfinished(tmp_path, "a wheel", 6), ABOUT, False).close(heard().session.read())
    assert "T08" in latest_unfinished(tmp_path, "a wheel", 6).name
    with pytest.raises(UsageError, match="no unfinished round of a wheel with 28 spokes"):
        latest_unfinished(tmp_path, "a wheel", 28)
