"""Files made to do harm: pipes, devices, ten gigabytes of nothing, bombs, names that lead elsewhere, links."""

from __future__ import annotations

import io
import json
import os
import resource
import stat
import zipfile
from collections.abc import Callable
from hashlib import sha256
from pathlib import Path

import numpy as np
import pytest
import soundfile

from benchmarks.fuzzing import good_inputs as good
from benchmarks.fuzzing.taken import command
from tensionear.errors import TensionearError
from tensionear.texts import Rows, json_from, toml_from
from tests.broken.test_doors import processor_time

TEN_GB = 10 << 30
#: Every option that names a file to read, FILE standing for it.
READERS = (
    "read FILE --spokes 28",
    "read sound.wav --wheel FILE",
    "read sound.wav --wheel wheel.toml --against FILE",
    "read sound.wav --wheel wheel.toml --sheet FILE",
    "read sound.wav --wheel wheel.toml --against known.csv --gauge-table FILE",
    "describe FILE --show",
    "plan wheel.toml --tensions FILE",
    "plan wheel.toml --runout FILE",
    "plan wheel.toml --tensions known.csv --after FILE",
    "sheet wheel.toml --runout FILE --out kept",
    "sheet wheel.toml --tensions FILE --out kept",
    "calibrate wheel.toml --known FILE --sound sound.wav",
    "calibrate --kind steel-round-2.0 --length 280 --hanging FILE",
    "calibrate --again input",
    "study FILE",
    "log list --log FILE",
    "log show 1 --log FILE",
    "log rescue saved.sqlite --log FILE",
    "log import FILE --log rounds.sqlite",
    "batch --map FILE --out results.csv --workers 0",
)


@pytest.fixture
def place(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A folder with good files, in which commands are run."""
    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv("TENSIONEAR_CALIBRATIONS", str(tmp_path / "calibrations"))
    (tmp_path / "calibrations").mkdir()
    (tmp_path / "wheel.toml").write_text(good.SMALL, "utf-8")
    (tmp_path / "known.csv").write_text(good.KNOWN[0], "utf-8")
    (tmp_path / "sound.wav").write_bytes(good.sounds()["wav"])
    return tmp_path


def refused(line: str, file: str) -> str:
    """What is said of a file; it must be soon said, and little memory be taken."""
    before = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
    with processor_time(5.0), pytest.raises(TensionearError) as told:
        command([file if word == "FILE" else word for word in line.split()])
    assert resource.getrusage(resource.RUSAGE_SELF).ru_maxrss - before < 500_000  # kB
    said = str(told.value)
    assert " " in said
    return said


def linked(place: Path, target: str) -> str:
    """A path to a target, also found where calibrations are."""
    (place / "input").symlink_to(target)
    (place / "calibrations" / "input.v1.toml").symlink_to(target)
    return str(place / "input")


@pytest.mark.parametrize("line", READERS)
def test_a_pipe_is_not_waited_for(place: Path, line: str) -> None:
    os.mkfifo(place / "pipe")
    refused(line, linked(place, str(place / "pipe")))


@pytest.mark.parametrize("line", READERS)
def test_a_device_without_end_is_not_read(place: Path, line: str) -> None:
    refused(line, linked(place, "/dev/zero"))


@pytest.mark.parametrize("line", READERS)
def test_ten_gigabytes_of_nothing_are_not_read(place: Path, line: str) -> None:
    with (place / "large").open("wb") as file:
        file.truncate(TEN_GB)
    refused(line, linked(place, str(place / "large")))


def test_a_link_that_leads_to_itself_and_one_that_leads_to_a_sound(place: Path) -> None:
    (place / "loop.wav").symlink_to(place / "loop.wav")
    refused("read FILE --spokes 1", str(place / "loop.wav"))
    (place / "link.wav").symlink_to(place / "sound.wav")
    command(["read", str(place / "link.wav"), "--spokes", "1", "--json"])


def test_a_log_that_is_a_pipe_is_not_written_to(place: Path) -> None:
    os.mkfifo(place / "pipe")
    refused("read sound.wav --spokes 1 --log FILE", str(place / "pipe"))


def test_days_of_silence_in_a_small_file(place: Path) -> None:
    """Three hours of zeros: a FLAC of less than a megabyte."""
    with soundfile.SoundFile(place / "long.flac", "w", 16000, 1, "PCM_16") as file:
        silence = np.zeros(16000 * 60, np.int16)
        for _ in range(3 * 60):
            file.write(silence)
    assert (place / "long.flac").stat().st_size < 1_000_000
    assert "3.0 h long" in refused("read FILE --spokes 28", str(place / "long.flac"))


def test_a_wave_file_that_states_ten_gigabytes(place: Path) -> None:
    header = bytearray(good.sounds()["rf64"][:200])
    at = header.index(b"ds64") + 16
    header[at : at + 8] = (TEN_GB).to_bytes(8, "little")
    with (place / "large.wav").open("wb") as file:
        file.write(header)
        file.truncate(TEN_GB)
    refused("read FILE --spokes 28", str(place / "large.wav"))


def archived(place: Path, members: dict[str, bytes], links: tuple[str, ...] = ()) -> str:
    """An archive whose manifest is right."""
    hashes = {name: sha256(data).hexdigest() for name, data in members.items()}
    members = {**members, "manifest.json": json.dumps({"format": "tensionear.archive/1", "members": hashes}).encode()}
    with zipfile.ZipFile(place / "in.zip", "w", zipfile.ZIP_DEFLATED) as archive:
        for name, data in members.items():
            info = zipfile.ZipInfo(name)
            info.compress_type = zipfile.ZIP_DEFLATED
            if name in links:
                info.external_attr = (stat.S_IFLNK | 0o777) << 16
            archive.writestr(info, data)
    return str(place / "in.zip")


@pytest.mark.parametrize(
    "name",
    [
        "../x",
        "/tmp/x",
        "rounds/../../x.json",
        f"sounds/{'0' * 32}/../../x",
        f"sounds/{'0' * 32}/..",
        "sounds\\x",
        "C:x",
    ],
)
def test_names_that_lead_out_of_the_folder(place: Path, name: str) -> None:
    before = sorted(place.parent.rglob("*"))
    said = refused("log import FILE --log there/rounds.sqlite", archived(place, {name: b"x"}))
    assert "nothing was taken in" in said or "not in both" in said
    assert sorted(place.parent.rglob("*")) == sorted([*before, place / "in.zip"])


def test_a_link_in_an_archive_comes_in_as_a_plain_file(place: Path) -> None:
    rows = {**good.kept().rows}
    uid, sound = rows["uid"], f"sounds/{rows['sound']}"
    target = str(place / "elsewhere").encode()
    rows["sound_sha256"] = sha256(target).hexdigest()
    path = archived(place, {f"rounds/{uid}.json": json.dumps(rows).encode(), sound: target}, links=(sound,))
    command(["log", "import", path, "--log", "there/rounds.sqlite"])
    (came,) = (place / "there").rglob(Path(sound).name)
    assert not came.is_symlink()
    assert came.read_bytes() == target


@pytest.mark.parametrize("name", [f"rounds/{'0' * 32}.json", f"sounds/{'0' * 32}/round.wav", "manifest.json"])
def test_a_bomb_in_an_archive(place: Path, name: str) -> None:
    """Two hundred megabytes of blanks in two hundred kilobytes."""
    file = io.BytesIO()
    blanks = b" " * (1 << 20)
    digest = sha256(blanks * 200).hexdigest()
    with zipfile.ZipFile(file, "w", zipfile.ZIP_DEFLATED) as archive:
        with archive.open(name, "w") as member:
            for _ in range(200):
                member.write(blanks)
        if name != "manifest.json":
            manifest = {"format": "tensionear.archive/1", "members": {name: digest}}
            archive.writestr("manifest.json", json.dumps(manifest))
    (place / "bomb.zip").write_bytes(file.getvalue())
    assert "unpacks to" in refused("log import FILE --log rounds.sqlite", str(place / "bomb.zip"))


@pytest.mark.parametrize(
    ("take", "match"),
    [
        (lambda: Rows("a," * 2000, "t.csv"), "t.csv: 2001 columns"),
        (lambda: list(Rows("a\n" + "1\n" * 200_001, "t.csv")), "more than 200000 rows"),
        (lambda: list(Rows("a\n" + "1" * 140_000, "t.csv")), "no row of a table"),
        (lambda: Rows("1" * 140_000, "t.csv"), "no row of a table"),
    ],
)
def test_tables_that_are_none(take: Callable[[], object], match: str) -> None:
    with pytest.raises(TensionearError, match=match):
        take()


@pytest.mark.parametrize("parse", [json_from, toml_from])
@pytest.mark.parametrize(
    "text", ["[" * 100_000, "a = " + "[" * 100_000, "9" * 5000, "a = " + "9" * 5000, " " * 20_000_001]
)
def test_texts_that_are_none(parse: Callable[[str], object], text: str) -> None:
    with pytest.raises(ValueError, match=r"."):
        parse(text)


def test_a_message_is_one_line_that_can_be_read(capfd: pytest.CaptureFixture[str]) -> None:
    from tensionear.cli import main

    assert main(["read", "a\nb" * 5000, "--spokes", "1"]) == 2
    said = capfd.readouterr().err
    assert said.count("\n") == 1
    assert len(said) < 1100
