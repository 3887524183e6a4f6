"""The log: what was kept comes back as it was, pluck by pluck or at once, and nothing else."""

from __future__ import annotations

import dataclasses
import sqlite3
from pathlib import Path

import numpy as np
import pytest

from tensionear.capture.recording import Recording
from tensionear.errors import LogError
from tensionear.options import RoundOptions
from tensionear.records.log import Log
from tensionear.records.search import Search
from tensionear.records.values import Asked, State
from tests.dashboard.invented import evenness, pluck, wheel

ASKED = Asked(wheel_text="name = 'x'", first=3, options=RoundOptions(missing=(4,), assign={12: 7}, skip=(2,)))


@pytest.fixture
def log(tmp_path: Path) -> Log:
    return Log(tmp_path / "deep" / "rounds.sqlite")


def tone(frames: int = 4800) -> Recording:
    return Recording(0.3 * np.sin(np.arange(frames) / 7.0), 48000.0, "tone")


def test_a_round_comes_back_as_it_was_kept(log: Log) -> None:
    reading = wheel({9: 690.0, 5: None}, rejected=(pluck(None, None, "clipped"),))
    number = log.save(reading, ASKED, tone(), State("inflated", 400.0), "before the tour")
    kept = log.load(number)
    assert kept.reading == reading
    assert kept.asked == ASKED
    assert kept.state == State("inflated", 400.0)
    assert (kept.row.note, kept.row.verdict, kept.row.plucks) == ("before the tour", "out", 35)
    assert kept.program
    assert len(kept.model) == 12
    assert kept.sound is not None
    assert log.sound_path(kept.sound).suffix == ".flac"


def test_a_kept_array_is_the_same_to_24_bits(log: Log) -> None:
    import soundfile

    kept = log.load(log.save(wheel(), ASKED, tone()))
    assert kept.sound is not None
    samples, rate = soundfile.read(log.sound_path(kept.sound))
    assert rate == 48000
    assert np.max(np.abs(samples - tone().samples)) <= 2.0**-22
    loud = log.load(log.save(wheel(), ASKED, Recording(6.0 * tone().samples.astype(np.float32), 48000.0)))
    assert loud.sound is not None
    samples, _ = soundfile.read(log.sound_path(loud.sound), dtype="float32")
    assert np.array_equal(samples, 6.0 * tone().samples.astype(np.float32))


@pytest.mark.parametrize(("subtype", "suffix"), [("PCM_16", ".flac"), ("PCM_24", ".flac"), ("FLOAT", ".wav")])
def test_a_kept_file_loses_nothing(log: Log, tmp_path: Path, subtype: str, suffix: str) -> None:
    import soundfile

    there = tmp_path / "round.wav"
    soundfile.write(there, np.random.default_rng(1).uniform(-1, 1, (9000, 2)), 44100, subtype=subtype)
    kept = log.load(log.save(wheel(), ASKED, there))
    assert kept.sound is not None
    path = log.sound_path(kept.sound)
    assert path.suffix == suffix
    assert np.array_equal(soundfile.read(path)[0], soundfile.read(there)[0])


def test_a_round_kept_pluck_by_pluck_is_resumed_and_finished(log: Log) -> None:
    opened = log.open_round(ASKED, "Mill Lane tricycle, rear")
    assert [opened.append(pluck(number), tone()) for number in (1, 2, 3)] == [1, 2, 3]
    opened.take_back(2)
    assert opened.append(pluck(2)) == 4
    (row,) = log.unfinished()
    assert (row.id, row.plucks, row.verdict) == (opened.id, 3, None)
    resumed = log.resume(row.id)
    assert [(each.number, each.reading.spoke) for each in resumed.plucks] == [(1, 1), (3, 3), (4, 2)]
    assert all(each.sound is None or log.sound_path(each.sound).is_file() for each in resumed.plucks)
    resumed.finish(wheel())
    assert log.unfinished() == ()
    assert log.load(row.id).reading == wheel()
    with pytest.raises(LogError, match="was finished"):
        log.resume(row.id)
    with pytest.raises(LogError, match="was finished"):
        opened.append(pluck(1), tone())
    with pytest.raises(LogError, match="was finished"):
        opened.take_back(1)
    assert len(list(log.sound_path(row.uid).iterdir())) == 3  # the one taken back too


def test_numbers_of_plucks_taken_back_are_not_given_again(log: Log) -> None:
    opened = log.open_round(ASKED, "x")
    opened.append(pluck(1))
    opened.take_back(1)
    assert opened.append(pluck(1)) == 2
    with pytest.raises(LogError, match="no pluck 1 to take back"):
        opened.take_back(1)


def test_rounds_are_searched(log: Log) -> None:
    log.save(wheel(), ASKED)
    log.save(wheel({9: 690.0}, title="100% of a Handcart"), ASKED)
    log.save(evenness(judge=False), Asked(spokes=28))
    assert [row.id for row in log.rounds()] == [3, 2, 1]
    assert [row.id for row in log.rounds(Search(wheel="mill  LANE"))] == [1]
    assert [row.id for row in log.rounds(Search(wheel="0%"))] == [2]
    assert [row.id for row in log.rounds(Search(verdict="out"))] == [2]
    assert [row.id for row in log.rounds(Search(verdict="none"))] == [3]
    today = log.rounds()[0].started[:10]
    assert len(log.rounds(Search(since=today, until=today))) == 3
    assert log.rounds(Search(since="2999-01-01")) == ()
    assert log.rounds(Search(until="1999-12-31")) == ()
    assert [row.id for row in log.rounds(Search(limit=1))] == [3]
    assert log.count(Search(limit=1)) == 3


def test_what_is_forgotten_is_gone_from_the_disk(log: Log) -> None:
    reading = dataclasses.replace(wheel(), title="Sesquipedalian wheel")
    number = log.save(reading, ASKED, tone(), note="Floccinaucinihilipilification")
    uid = log.load(number).row.uid
    assert log.forget(number).title == "Sesquipedalian wheel"
    assert log.rounds() == ()
    assert not log.sound_path(uid).exists()
    left = log.path.read_bytes()
    assert b"Sesquipedalian" not in left
    assert b"Floccinauci" not in left
    with pytest.raises(LogError, match=f"round {number} is not in"):
        log.forget(number)


def test_a_number_is_not_given_twice(log: Log) -> None:
    log.forget(log.save(wheel(), ASKED))
    assert log.save(wheel(), ASKED) == 2


def test_a_backup_is_a_log(log: Log, tmp_path: Path) -> None:
    log.save(wheel(), ASKED)
    log.backup(tmp_path / "copy.sqlite")
    assert Log(tmp_path / "copy.sqlite").load(1).reading == wheel()
    with pytest.raises(LogError, match="exists; name a file that does not"):
        log.backup(tmp_path / "copy.sqlite")


def test_what_is_no_log_is_told(tmp_path: Path) -> None:
    with pytest.raises(LogError, match="no such log; keep a first round"):
        Log(tmp_path / "none.sqlite").rounds()
    assert Log(tmp_path / "none.sqlite").unfinished() == ()
    other = tmp_path / "other.sqlite"
    connection = sqlite3.connect(other)
    connection.execute("CREATE TABLE recipes (name TEXT)")
    connection.close()
    with pytest.raises(LogError, match="no log of rounds"):
        Log(other).save(wheel(), ASKED)
    text = tmp_path / "text.sqlite"
    text.write_text("no database at all, but a text of some length " * 40)
    with pytest.raises(LogError, match="damaged or no log"):
        Log(text).rounds()
    with pytest.raises(LogError, match="damaged or no log"):
        Log(text).save(wheel(), ASKED)


def test_a_log_of_a_later_version_is_left_alone(log: Log) -> None:
    log.save(wheel(), ASKED)
    connection = sqlite3.connect(log.path)
    connection.execute("PRAGMA user_version = 99")
    connection.close()
    before = log.path.read_bytes()
    with pytest.raises(LogError, match="version 99; this program knows versions up to"):
        log.save(wheel(), ASKED)
    assert log.path.read_bytes() == before


def test_a_sound_that_cannot_be_kept_leaves_no_round(log: Log, tmp_path: Path) -> None:
    log.save(wheel(), ASKED)
    with pytest.raises(LogError, match="sound could not be kept"):
        log.save(wheel(), ASKED, tmp_path / "missing.wav")
    assert len(log.rounds()) == 1
    assert not list(log.path.parent.rglob("*.part"))
