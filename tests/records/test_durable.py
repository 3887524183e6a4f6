"""The log under kills, several writers, full and read-only disks, damage and age: nothing that was accepted is lost."""

from __future__ import annotations

import json
import os
import shutil
import sqlite3
import subprocess
from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pytest

from benchmarks.log_kills import kill_once, write_at_once
from tensionear.capture.recording import Recording
from tensionear.data import data_file
from tensionear.errors import LogError
from tensionear.reading import Reading
from tensionear.records.log import Log
from tensionear.records.lookover import look_over
from tensionear.records.rescue import rescue
from tensionear.records.schema import STEPS, VERSION
from tensionear.records.search import Search
from tensionear.records.values import Asked
from tests.dashboard.invented import evenness, pluck, wheel

OLD = Path(__file__).parent / "old"
SOUND = Recording(0.1 * np.random.default_rng(2).standard_normal(8000), 16000.0)


def test_four_writers_at_once_lose_nothing(tmp_path: Path) -> None:
    assert write_at_once(tmp_path / "rounds.sqlite", 4, 50) == []


def test_kills_lose_nothing_that_was_accepted(tmp_path: Path) -> None:
    for seed in range(20):
        assert kill_once(tmp_path / "rounds.sqlite", seed) == []


def test_what_is_lost_would_be_seen(tmp_path: Path) -> None:
    """The check of the two tests above: a round that was said to be kept and is not."""
    from benchmarks.log_kills import lost

    log = Log(tmp_path / "rounds.sqlite")
    log.save(wheel(), Asked(), note="a 0")
    opened = log.open_round(Asked(), "x", note="a 1")
    opened.append(pluck(1))
    assert lost(log, ["round 1 a 0", "pluck 2 1"]) == []
    assert lost(log, ["round 1 a 1", "pluck 2 2", "round 3 a 2"]) == ["round 1 a 1", "round 3 a 2", "pluck 2 2"]


@pytest.mark.parametrize("version", range(1, VERSION))
def test_old_logs_are_brought_up(tmp_path: Path, version: int) -> None:
    path = tmp_path / "rounds.sqlite"
    shutil.copyfile(OLD / f"log-{version}.sqlite", path)
    log = Log(path)
    assert [(row.id, row.verdict, row.note) for row in log.rounds()] == [
        (3, None, ""), (2, "within", "after truing"), (1, "out", "first look"),
    ]  # fmt: skip
    assert [row.id for row in log.rounds(Search(note="FIRST"))] == [1]
    reading = log.load(1).reading
    assert reading == wheel({9: 690.0}, count=12)
    assert log.load(1).asked.first == 3
    assert [each.number for each in log.resume(3).plucks] == [2]
    with sqlite3.connect(path) as connection:
        assert connection.execute("PRAGMA user_version").fetchone() == (VERSION,)
        assert connection.execute("PRAGMA integrity_check").fetchone() == ("ok",)
        old_columns = set(connection.execute("SELECT name FROM pragma_table_info('rounds')"))
    connection.close()
    new = Log(tmp_path / "new.sqlite")
    new.save(wheel(), Asked())
    with sqlite3.connect(new.path) as connection:
        assert set(connection.execute("SELECT name FROM pragma_table_info('rounds')")) == old_columns
    connection.close()


def test_a_step_that_fails_leaves_the_old_log(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    path = tmp_path / "rounds.sqlite"
    shutil.copyfile(OLD / "log-1.sqlite", path)
    before = path.read_bytes()

    def breaks(connection: sqlite3.Connection) -> None:
        connection.execute("ALTER TABLE rounds ADD COLUMN half TEXT")
        raise sqlite3.OperationalError("out of luck")

    monkeypatch.setattr("tensionear.records.schema.STEPS", (STEPS[0], breaks))
    with pytest.raises(LogError, match="out of luck"):
        Log(path).rounds()
    assert path.read_bytes() == before


@pytest.fixture
def small_disk(tmp_path: Path) -> Iterator[Path]:
    """A disk of 600 kB; needs to be root."""
    folder = tmp_path / "small"
    folder.mkdir()
    mounted = os.name == "posix" and os.geteuid() == 0
    if mounted:
        done = subprocess.run(["mount", "-t", "tmpfs", "-o", "size=600k", "tmpfs", folder], capture_output=True)
        mounted = done.returncode == 0
    if not mounted:
        pytest.skip("a small disk cannot be mounted here")
    yield folder
    subprocess.run(["umount", "-l", folder], check=False)


def test_a_full_disk_is_told_and_loses_nothing(small_disk: Path) -> None:
    log, kept, told = Log(small_disk / "rounds.sqlite"), [], []
    for n in range(60):
        try:
            kept.append(log.save(wheel(), Asked(), SOUND if n % 2 else None, note=str(n)))
        except LogError as error:
            told.append(str(error))
        if len(told) > 4:
            break
    assert len(kept) > 3
    assert all("full" in text or "No space left" in text or "disk failed" in text for text in told)
    assert len(told) > 4
    assert sorted(row.id for row in log.rounds()) == kept
    assert look_over(log) == ()
    assert not list(small_disk.rglob("*.part"))
    folders = {path.name for path in (small_disk / "rounds.sounds").iterdir() if any(path.iterdir())}
    assert folders == {row.uid for row in log.rounds() if log.load(row.id).sound}


def test_a_read_only_folder_is_told_and_can_be_read(small_disk: Path) -> None:
    log = Log(small_disk / "rounds.sqlite")
    log.save(wheel(), Asked())
    subprocess.run(["mount", "-o", "remount,ro", small_disk], check=True)
    with pytest.raises(LogError, match=r"may only be read|cannot be opened"):
        log.save(wheel(), Asked())
    with pytest.raises(LogError, match="could not be kept"):
        log.save(wheel(), Asked(), SOUND)
    assert log.load(1).reading == wheel()
    with pytest.raises(LogError, match="cannot be"):
        Log(small_disk / "deep" / "rounds.sqlite").save(wheel(), Asked())


def filled(path: Path, rounds: int = 12) -> Log:
    log = Log(path)
    for n in range(rounds):
        log.save(wheel(), Asked(wheel_text="x = 1"), SOUND if n < 2 else None, note=f"note {n}")
    return log


def everything(path: Path) -> dict[tuple[str, object], tuple[object, ...]]:
    """All rows of a log, by table and key."""
    with sqlite3.connect(path) as connection:
        found = {
            (table, row[:keys]): row
            for table, keys in (("rounds", 1), ("readings", 1), ("plucks", 2))
            for row in connection.execute(f"SELECT * FROM {table}")
        }
    connection.close()
    return found


@pytest.mark.parametrize("ruin", [b"\xa5", b"\x00", b"\x0d\x00\x00\xff"])
def test_any_page_may_be_damaged_and_all_that_is_not_on_it_is_saved(tmp_path: Path, ruin: bytes) -> None:
    """SQLite itself (dbstat) tells what is on which page; each page is ruined in turn."""
    log = filled(tmp_path / "rounds.sqlite", 14)
    for _ in range(2):
        opened = log.open_round(Asked(wheel_text="x = 1"), "Mill Lane tricycle, rear", note="half a round")
        for spoke in range(1, 9):
            opened.append(pluck(spoke))
    with sqlite3.connect(log.path) as connection:
        pages = list(connection.execute("SELECT pageno, name, pagetype, ncell FROM dbstat ORDER BY pageno"))
        (size,) = connection.execute("PRAGMA page_size").fetchone()
    connection.close()
    assert {kind for _, _, kind, _ in pages} == {"leaf", "internal", "overflow"}
    content, before = log.path.read_bytes(), everything(log.path)
    for page, name, kind, cells in pages[:: 1 if ruin == b"\xa5" else 7]:
        damaged = tmp_path / "damaged.sqlite"
        damaged.write_bytes(content[: (page - 1) * size] + ruin * (size // len(ruin)) + content[page * size :])
        target = tmp_path / f"saved-{page}.sqlite"
        saved = rescue(Log(damaged), target)
        after = everything(target)
        changed = {key for key, row in before.items() if after.get(key) != row}
        rows = name in ("rounds", "readings", "plucks") and not (kind == "internal" and name != "plucks")
        most = (1 if kind == "overflow" else cells) if rows else 0
        assert len(changed) <= most, (page, name, kind)
        assert {table for table, _ in changed} <= {name}
        assert all(any(text.startswith(f"round {key[0]}: ") for text in saved.lost) for _, key in changed)
        assert saved.lost
        assert saved.rounds == 16, "a round of which its reading or a pluck is left is kept"
    assert log.path.read_bytes() == content


def test_a_file_cut_short_or_without_its_head_is_saved_as_far_as_it_goes(tmp_path: Path) -> None:
    log = filled(tmp_path / "rounds.sqlite")
    content = log.path.read_bytes()
    log.path.write_bytes(bytes(100) + content[100 : 2 * len(content) // 3])
    saved = rescue(log, tmp_path / "saved.sqlite")
    there = Log(tmp_path / "saved.sqlite")
    whole = [row.note for row in there.rounds() if there.load(row.id).reading == wheel()]
    assert len(whole) >= 6
    assert len(there.rounds()) == saved.rounds >= len(whole)
    assert any(text.startswith("the head of the file") for text in saved.lost)
    log.path.write_bytes(b"no log")
    with pytest.raises(LogError, match="could be read as a round"):
        rescue(log, tmp_path / "none.sqlite")


def test_a_write_cut_short_is_taken_back_before_anything_is_saved(tmp_path: Path) -> None:
    log = filled(tmp_path / "rounds.sqlite", 3)
    before = everything(log.path)
    writer = sqlite3.connect(log.path, isolation_level=None)
    writer.execute("PRAGMA cache_size = 1")
    writer.execute("BEGIN IMMEDIATE")
    writer.execute("UPDATE readings SET reading = replace(reading, '1', '2')")
    writer.execute("UPDATE rounds SET note = 'half done'")
    (tmp_path / "cut").mkdir()
    for name in ("rounds.sqlite", "rounds.sqlite-journal"):
        shutil.copyfile(tmp_path / name, tmp_path / "cut" / name)
    writer.rollback()
    writer.close()
    cut = Log(tmp_path / "cut" / "rounds.sqlite")
    assert cut.path.read_bytes() != log.path.read_bytes(), "the write had reached the file"
    rescue(cut, tmp_path / "saved.sqlite")
    assert everything(tmp_path / "saved.sqlite") == before


def test_a_sound_log_is_rescued_whole(tmp_path: Path) -> None:
    log = filled(tmp_path / "rounds.sqlite", 3)
    opened = log.open_round(Asked(), "x")
    opened.append(pluck(1), SOUND)
    assert look_over(log) == ()
    saved = rescue(log, tmp_path / "saved.sqlite")
    assert (saved.rounds, saved.lost) == (4, ())
    there = Log(tmp_path / "saved.sqlite")
    assert look_over(there) == ()
    assert [there.load(n).reading for n in (1, 2, 3)] == [wheel()] * 3
    assert len(there.resume(4).plucks) == 1
    with pytest.raises(LogError, match="exists; name a log that does not"):
        rescue(log, tmp_path / "saved.sqlite")


def test_a_changed_sound_or_reading_is_told(tmp_path: Path) -> None:
    log = filled(tmp_path / "rounds.sqlite", 3)
    sounds = [log.load(n).sound for n in (1, 2)]
    log.sound_path(sounds[0] or "").write_bytes(b"x")
    log.sound_path(sounds[1] or "").unlink()
    with sqlite3.connect(log.path) as connection:
        connection.execute("UPDATE readings SET reading = ? WHERE round_id = 3", (json.dumps({"half": 1}),))
    connection.close()
    wrong = look_over(log)
    assert [text.split(":")[0] for text in wrong] == ["round 1", "round 2", "round 3"]
    with pytest.raises(LogError, match=r"round 3 of .* is damaged"):
        log.load(3)


def test_reading_again_gives_the_same(tmp_path: Path) -> None:
    from tensionear.loading import load_wheel
    from tensionear.pipeline import read
    from tensionear.records.rereading import read_again
    from tensionear.wheel.sheet import Sheet

    def again_of(log: Log, number: int) -> Reading:
        kept = log.load(number)
        return read_again(log, kept, kept.asked)

    sound, file = data_file("recordings_demo", "round.flac"), data_file("recordings_demo", "wheel.toml")
    sheet = Sheet(dish_m=0.2e-3, lateral_m={3: 0.1e-3})
    reading, log = read(sound, wheel=load_wheel(file), sheet=sheet), Log(tmp_path / "rounds.sqlite")
    number = log.save(reading, Asked(wheel_text=file.read_text("utf-8")), Path(sound))
    again = again_of(log, number)
    assert (again.spokes, again.verdict, again.sheet) == (reading.spokes, reading.verdict, reading.sheet)
    assert again.sheet
    log.sound_path(log.load(number).sound or "").write_bytes(b"other")
    with pytest.raises(LogError, match="was changed since"):
        again_of(log, number)
    with pytest.raises(LogError, match="without the sound"):
        again_of(log, log.save(reading, Asked(spokes=32)))


def test_a_busy_log_is_told(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    log = filled(tmp_path / "rounds.sqlite", 1)
    monkeypatch.setattr("tensionear.records.database.WAIT_S", 0.2)
    holder = sqlite3.connect(log.path, isolation_level=None)
    holder.execute("BEGIN EXCLUSIVE")
    with pytest.raises(LogError, match="is busy"):
        log.save(wheel(), Asked())
    holder.rollback()
    holder.close()
    assert log.save(wheel(), Asked()) == 2


def test_a_line_that_is_lost_is_put_together_from_what_is_left(tmp_path: Path) -> None:
    """The only leaf of the list of rounds is ruined: readings, index, folder of sounds and plucks tell the rest."""
    log = filled(tmp_path / "rounds.sqlite", 3)
    log.save(evenness({7: -9.0}), Asked(spokes=28))
    before = [log.load(n) for n in range(1, 5)]
    with sqlite3.connect(log.path) as connection:
        (page,) = connection.execute("SELECT pageno FROM dbstat WHERE name = 'rounds'").fetchone()
        (size,) = connection.execute("PRAGMA page_size").fetchone()
    connection.close()
    content = bytearray(log.path.read_bytes())
    content[(page - 1) * size : page * size] = b"\xa5" * size
    log.path.write_bytes(content)
    saved = rescue(log, tmp_path / "saved.sqlite")
    assert saved.rounds == 4
    there = Log(tmp_path / "saved.sqlite")
    assert look_over(there) == ()
    for kept in before:
        found = there.load(kept.row.id)
        assert found.reading == kept.reading
        assert (found.row.title, found.row.started, found.row.verdict) == (
            kept.row.title, kept.row.started, kept.row.verdict,
        )  # fmt: skip
        assert (found.row.plucks, found.sound) == (kept.row.plucks, kept.sound)
        assert (found.asked.wheel_text, found.asked.spokes) == (kept.asked.wheel_text, kept.asked.spokes)
