"""A round in the log as it grows: what was said to be accepted is there, and is taken up again."""

from __future__ import annotations

import re
from pathlib import Path

import numpy as np
import pytest

from tensionear.capture.plucks import Pluck
from tensionear.errors import LogError, UsageError
from tensionear.live.events import Value
from tensionear.live.keeping import KeptPluck, LogKeeper, latest_unfinished, restored
from tensionear.live.rereading import read_plucks_again
from tensionear.records.log import Log
from tensionear.records.rereading import with_wheel
from tensionear.records.values import Asked
from tests.live.stand import drawn, heard, pieces, session_of


def kept(onset_s: float, spoke: int, seed: int = 0) -> KeptPluck:
    samples = 0.3 * np.random.default_rng(seed).uniform(-1, 1, 4000).astype(np.float32)
    pluck = Pluck(onset_s, samples, 0.16, 16_000.0, 20.0, False, False, False)
    return KeptPluck(onset_s, spoke, Value(400.0, 1000.0, 9.0), pluck)


def keeper_in(log: Log, with_sound: bool = True) -> LogKeeper:
    return LogKeeper(lambda: log.open_round(Asked(spokes=6), "a wheel"), lambda spoke: f"R{spoke}", with_sound, None)


def test_a_round_without_an_accepted_pluck_is_not_in_the_log(tmp_path: Path) -> None:
    log = Log(tmp_path / "log.sqlite")
    keeper_in(log)
    assert log.unfinished() == ()
    with pytest.raises(UsageError, match="no unfinished round of a wheel"):
        latest_unfinished(log, "a wheel")


def test_what_was_kept_is_read_back_with_its_sound(tmp_path: Path) -> None:
    log = Log(tmp_path / "log.sqlite")
    keeper = keeper_in(log)
    keeper.accept((kept(1.0, 1), kept(2.0, 1, 1)))
    keeper.note(1, "bent")
    keeper.note(1, "and nicked")
    opened = latest_unfinished(log, "a wheel")
    found = restored(opened)
    assert [(each.onset_s, each.spoke, each.value) for each in found] == [
        (1.0, 1, Value(400.0, 1000.0, 9.0)),
        (2.0, 1, Value(400.0, 1000.0, 9.0)),
    ]
    assert found[0].sound is not None
    assert np.abs(found[0].sound.samples - kept(1.0, 1).pluck.samples).max() < 2e-7
    assert log.load(opened.id).row.note == "R1: bent\nR1: and nicked"


def test_the_longer_ring_replaces_the_shorter_and_a_redone_spoke_is_taken_back(tmp_path: Path) -> None:
    log = Log(tmp_path / "log.sqlite")
    keeper = keeper_in(log, with_sound=False)
    keeper.accept((kept(1.0, 1), kept(2.0, 2)))
    keeper.accept((kept(1.0, 1, 3),))
    keeper.withdraw(2)
    opened = latest_unfinished(log, "a wheel")
    assert [each.onset_s for each in restored(opened)] == [1.0]
    assert len(opened.plucks) == 1
    assert restored(opened)[0].sound is None


def test_going_on_knows_what_to_replace_and_a_finished_round_is_not_gone_on_with(tmp_path: Path) -> None:
    log = Log(tmp_path / "log.sqlite")
    keeper_in(log, with_sound=False).accept((kept(1.0, 1),))
    opened = latest_unfinished(log, "a wheel")
    again = LogKeeper(lambda: opened, lambda spoke: f"R{spoke}", False, None)
    again.accept((kept(1.0, 1), kept(5.0, 2)))
    assert [each.onset_s for each in restored(opened)] == [1.0, 5.0]
    again.close(heard().session.read())
    with pytest.raises(UsageError):
        latest_unfinished(log, "a wheel")


def test_a_log_that_cannot_be_written_is_an_error_of_ours(tmp_path: Path) -> None:
    (tmp_path / "file").write_text("in the way")
    with pytest.raises(LogError):
        keeper_in(Log(tmp_path / "file" / "log.sqlite")).accept((kept(1.0, 1),))


def test_a_round_is_read_again_from_its_plucks_with_a_corrected_wheel(tmp_path: Path) -> None:
    log = Log(tmp_path / "log.sqlite")
    text = drawn().wheel_toml
    asked = Asked(wheel_text=text)
    keeper = LogKeeper(lambda: log.open_round(asked, "stand"), lambda spoke: f"R{spoke}", True, None)
    session = session_of(drawn(), [], keeper)
    for piece in pieces(drawn()):
        session.push(piece)
    session.finish()
    reading = session.read()
    session.close(reading)
    (row,) = log.rounds()
    kept = log.load(row.id)
    assert kept.sound is None
    again = read_plucks_again(log, kept, asked)
    assert again.warnings == ()
    assert any(finding.code == "lap-closed" for finding in again.findings)
    before = {spoke.spoke: spoke.tension_n for spoke in reading.spokes}
    for spoke in again.spokes:
        assert spoke.tension_n == pytest.approx(before[spoke.spoke], rel=0.01)
    length_mm = float(re.findall(r"free_length_mm = ([\d.]+)", text)[0])
    longer = re.sub(r"free_length_mm = [\d.]+", f"free_length_mm = {length_mm + 6}", text)
    corrected = read_plucks_again(log, kept, with_wheel(asked, longer, row.id))
    for spoke in corrected.spokes:
        assert spoke.tension_n == pytest.approx((before[spoke.spoke] or 0.0) * (1 + 6 / length_mm) ** 1.9, rel=0.02)
    first = next(each for each in kept.plucks if each.reading.spoke == 1)
    path = log.sound_path(first.sound or "")
    path.write_bytes(b"other")
    with pytest.raises(LogError, match="was changed since it was kept"):
        read_plucks_again(log, kept, asked)
    path.unlink()
    (warning,) = read_plucks_again(log, kept, asked).warnings
    assert warning.endswith("is left out: its sound is gone")


def test_without_sound_or_with_another_wheel_nothing_is_read_again(tmp_path: Path) -> None:
    log = Log(tmp_path / "log.sqlite")
    keeper_in(log, with_sound=False).accept((kept(1.0, 1),))
    (row,) = log.rounds()
    with pytest.raises(LogError, match="without sound"):
        read_plucks_again(log, log.load(row.id), Asked(spokes=6))
    with pytest.raises(UsageError, match="has 4 spokes, round 1 is of 6"):
        with_wheel(Asked(spokes=6), drawn().wheel_toml, 1)
