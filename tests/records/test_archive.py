"""The archive: what goes out comes in the same, and nothing that is not what the manifest says."""

from __future__ import annotations

import hashlib
import json
import zipfile
from pathlib import Path

import numpy as np
import pytest

from tensionear.capture.recording import Recording
from tensionear.errors import InputError, LogError
from tensionear.records.archive import export_rounds, import_rounds
from tensionear.records.log import Log
from tensionear.records.lookover import look_over
from tensionear.records.values import Asked, State
from tests.dashboard.invented import pluck, wheel

SOUND = Recording(0.1 * np.sin(np.arange(4000.0)), 16000.0)


@pytest.fixture
def log(tmp_path: Path) -> Log:
    log = Log(tmp_path / "here" / "rounds.sqlite")
    log.save(wheel({9: 690.0}), Asked(wheel_text="x = 1", first=2), SOUND, State("none"), "a note")
    opened = log.open_round(Asked(spokes=28), "half")
    opened.append(pluck(1), SOUND)
    opened.append(pluck(2))
    opened.take_back(2)
    return log


def test_rounds_come_in_as_they_went_out(log: Log, tmp_path: Path) -> None:
    target, there = tmp_path / "rounds.zip", Log(tmp_path / "there" / "rounds.sqlite")
    assert export_rounds(log, None, target) == (2, ())
    assert import_rounds(there, target).new == (1, 2)
    assert there.load(1) == log.load(1)
    assert there.resume(2).plucks == log.resume(2).plucks
    assert look_over(there) == ()
    again = import_rounds(there, target)
    assert (again.new, len(again.known)) == ((), 2)
    assert len(there.rounds()) == 2
    assert look_over(there) == ()
    assert there.resume(2).append(pluck(3)) == 3


def test_some_rounds_alone(log: Log, tmp_path: Path) -> None:
    assert export_rounds(log, [1], tmp_path / "one.zip") == (1, ())
    with pytest.raises(LogError, match="exists"):
        export_rounds(log, [1], tmp_path / "one.zip")
    with pytest.raises(LogError, match="round 9 is not in"):
        export_rounds(log, [9], tmp_path / "nine.zip")
    assert not (tmp_path / "nine.zip").exists()


def test_a_sound_that_is_gone_is_told(log: Log, tmp_path: Path) -> None:
    sound = log.load(1).sound
    assert sound is not None
    log.sound_path(sound).unlink()
    assert export_rounds(log, None, tmp_path / "rounds.zip") == (2, (sound,))
    assert import_rounds(Log(tmp_path / "there.sqlite"), tmp_path / "rounds.zip").missing_sounds == (sound,)


def changed(log: Log, tmp_path: Path, change: str) -> Path:
    """An archive with one thing wrong, its hashes put right where the change is not the hash itself."""
    export_rounds(log, [1], tmp_path / "good.zip")
    bad = tmp_path / "bad.zip"
    with zipfile.ZipFile(tmp_path / "good.zip") as good:
        members = {name: good.read(name) for name in good.namelist() if name != "manifest.json"}
    (round_name,) = (name for name in members if name.startswith("rounds/"))
    (sound_name,) = (name for name in members if name.startswith("sounds/"))
    rows = json.loads(members[round_name])
    manifest = {"format": "tensionear.archive/1"}
    if change == "climbs":
        members["../../evil.flac"] = b"x"
    elif change == "climbs inside":
        members[f"sounds/{rows['uid']}/../../evil"] = b"x"
    elif change == "absolute":
        members["/tmp/evil.flac"] = b"x"
    elif change == "foreign sound":
        rows["sound"] = f"{'0' * 32}/x.flac"
    elif change == "climbing sound":
        rows["sound"] = f"{rows['uid']}/../../../etc/passwd"
    elif change == "no reading":
        rows["reading"] = "{}"
    elif change == "later format":
        manifest["format"] = "tensionear.archive/9"
    members[round_name] = json.dumps(rows).encode()
    listed = {name: hashlib.sha256(content).hexdigest() for name, content in members.items()}
    if change == "other sound":
        members[sound_name] = b"other"
    elif change == "unlisted":
        members["rounds/readme.txt"] = b"x"
    elif change == "lacking":
        del members[sound_name]
    with zipfile.ZipFile(bad, "w") as archive:
        for name, content in members.items():
            archive.writestr(name, content)
        archive.writestr("manifest.json", json.dumps({**manifest, "members": listed}))
    return bad


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ("climbs", "no name of a round or sound"),
        ("climbs inside", "no name of a round or sound"),
        ("absolute", "no name of a round or sound"),
        ("foreign sound", "is no round"),
        ("climbing sound", "is no round"),
        ("no reading", "is no round"),
        ("later format", "install a newer"),
        ("other sound", "its hash differs"),
        ("unlisted", "not in both"),
        ("lacking", "not in both"),
    ],
)
def test_what_is_not_as_it_should_be_is_not_taken_in(log: Log, tmp_path: Path, change: str, words: str) -> None:
    there = Log(tmp_path / "there" / "rounds.sqlite")
    with pytest.raises(InputError, match=words):
        import_rounds(there, changed(log, tmp_path, change))
    assert not there.path.exists()
    assert not list(tmp_path.rglob("evil*"))


def test_what_is_no_archive_is_told(log: Log, tmp_path: Path) -> None:
    (tmp_path / "text.zip").write_text("no archive")
    with pytest.raises(InputError, match="no archive that can be read"):
        import_rounds(log, tmp_path / "text.zip")
    with pytest.raises(InputError, match="no archive that can be read"):
        import_rounds(log, tmp_path / "none.zip")
    with zipfile.ZipFile(tmp_path / "empty.zip", "w") as archive:
        archive.writestr("x", "y")
    with pytest.raises(InputError, match="no manifest"):
        import_rounds(log, tmp_path / "empty.zip")
