"""Every door by which strangers' data comes in: good inputs, how they are broken, and the commands that read them."""

from __future__ import annotations

import hashlib
import io
import json
import random
import zipfile
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import Any

from . import good_inputs as good
from .lines import LINES, words
from .mutate import ODD_TEXTS, broken_bytes, broken_json, broken_line, broken_text
from .taken import FaultError, command, written

#: An input broken by chance.
Breaks = Callable[[random.Random], bytes]
#: Reads an input, in a folder of its own.
Reads = Callable[[bytes, Path], object]


@dataclass(frozen=True, slots=True)
class Door:
    """One kind of input; ``share`` is how many of a thousand inputs are of it."""

    name: str
    breaks: Breaks
    reads: Reads
    share: int


def _text(*goods: str) -> Breaks:
    return lambda chance: broken_text(chance.choice(goods), goods, chance)


def _json(*goods: Callable[[], Any]) -> Breaks:
    def breaks(chance: random.Random) -> bytes:
        text = json.dumps(broken_json(chance.choice(goods)(), chance))
        return broken_text(text, [text], chance) if chance.randrange(4) == 0 else text.encode("utf-8", "surrogatepass")

    return breaks


def _sound(*endings: str) -> Breaks:
    def breaks(chance: random.Random) -> bytes:
        sounds = good.sounds()
        return broken_bytes(sounds[chance.choice(endings)], list(sounds.values()), chance)

    return breaks


def _blocks(data: bytes, folder: Path) -> None:
    """A sound opened and run through."""
    from tensionear.capture.files import open_sound

    source = open_sound(written(folder, "sound", data))
    for _ in source.blocks():
        pass
    source.notes()


def _heard(*options: str) -> Reads:
    return lambda data, folder: command(["read", written(folder, "sound", data), *options])


def _with_wheel(*arguments: str) -> Reads:
    """A command with the small wheel as WHEEL, the good tensions as KNOWN, and the input as INPUT."""

    def reads(data: bytes, folder: Path) -> None:
        paths = {
            "INPUT": written(folder, "input", data),
            "WHEEL": written(folder, "wheel.toml", good.SMALL.encode()),
            "KNOWN": written(folder, "known.csv", good.KNOWN[0].encode()),
            "KEPT": str(folder / "kept"),
        }
        command([paths.get(word, word) for word in arguments])

    return reads


def _wheel_planned(data: bytes, folder: Path) -> None:
    known = written(folder, "known.csv", good.KNOWN[0].encode())
    command(["plan", written(folder, "wheel.toml", data), "--tensions", known, "--json"])


def _sheet_kept(data: bytes, folder: Path) -> None:
    """The sheet that lies beside a wheel file, taken up and judged."""
    wheel = written(folder, "wheel.toml", good.SMALL.encode())
    known = written(folder, "known.csv", good.KNOWN[0].encode())
    written(folder, "wheel.sheet.toml", data)
    command(["sheet", wheel, "--tensions", known, "--plain"])


def _gauge(data: bytes, folder: Path) -> None:
    from tensionear.cli.read import known_elsewhere

    table = written(folder, "gauge.csv", good.GAUGE.encode())
    readings = written(folder, "readings.csv", good.GAUGE_READINGS.encode())
    known_elsewhere(written(folder, "input.csv", data), table, None)
    known_elsewhere(readings, written(folder, "input.csv", data), None)


def _hanging(data: bytes, folder: Path) -> None:
    from tensionear.calibration.hanging import Jig, check_masses
    from tensionear.catalogue import library_spoke
    from tensionear.cli.hang import hanging_rows
    from tensionear.cli.read import table_text
    from tensionear.physics.gravity import Gravity

    rows = hanging_rows(table_text(written(folder, "hanging.csv", data)), "hanging.csv")
    spoke = library_spoke("steel-round-2.0")
    check_masses([mass for _, mass in rows], spoke, Jig(0.28, 1e-4, Gravity(9.81, 1e-4), 7900.0))


def _mapping(data: bytes, folder: Path) -> None:
    from tensionear.batch.matching import Inputs, jobs_of, matcher_of

    table = written(folder, "map.csv", data)
    inputs = Inputs((), None, None, table)
    jobs_of(inputs, matcher_of(inputs))


def _result(ending: str) -> Reads:
    """A result that a batch goes on with, and its report."""

    def reads(data: bytes, folder: Path) -> None:
        out = written(folder, f"results.{ending}", data)
        sound = written(folder, "0.wav", b"none")
        wheel = written(folder, "wheel.toml", good.SMALL.encode())
        report = str(folder / "report.html")
        command(["batch", sound, "--wheel", wheel, "--workers", "0", "--out", out, "--report", report])
        if Path(report).is_file():
            command(["study", out, "--check", "S1"])

    return reads


def _log(data: bytes, folder: Path) -> None:
    """A damaged log listed, shown, checked, and what is left of it saved."""
    log = written(folder, "rounds.sqlite", data)
    jobs: Sequence[Sequence[str]] = (
        ["list", "--plain"], ["show", "1", "--json"], ["show", "2", "--plain"], ["compare", "1", "2", "--plain"],
        ["trend", "1", "--plain"], ["check"], ["rescue", str(folder / "saved.sqlite")],
    )  # fmt: skip
    _each([["log", *job, "--log", log] for job in jobs])


def _archive(data: bytes, folder: Path) -> None:
    """An archive taken in; what was taken in is shown, compared and written out again."""
    log = str(folder / "rounds.sqlite")
    command(["log", "import", written(folder, "in.zip", data), "--log", log])
    _each(
        [
            ["log", "show", number, *form, "--log", log]
            for number in ("1", "2", "3")
            for form in (["--json"], ["--plain"])
        ]
        + [["log", "list", "--plain", "--log", log], ["log", "check", "--log", log]]
        + [
            ["log", "export", str(folder / "out.zip"), "--log", log],
            ["card", "1", "--log", log, "--out", str(folder / "card")],
        ]
    )
    outside = [path for path in folder.iterdir() if path.name not in _OWN_FILES]
    if outside:
        raise FaultError(f"written outside: {outside}")


_OWN_FILES = {
    "in.zip",
    "out.zip",
    "rounds.sqlite",
    "rounds.sounds",
    "rounds-sounds",
    "sounds",
    "card",
    "card.html",
    "sound",
}


def _each(jobs: Sequence[Sequence[str]]) -> None:
    """Commands one after the other; each may refuse."""
    from tensionear.errors import TensionearError

    from .taken import hold

    for job in jobs:
        try:
            command(job)
        except TensionearError as error:
            hold(error)


def _whole_archive(chance: random.Random) -> bytes:
    """An archive whose manifest is right, of a round whose rows are not."""
    rows = dict(good.kept().rows)
    for column in ("reading", "asked", "state", "sheet"):
        if rows[column] is not None and chance.randrange(2):
            rows[column] = json.dumps(broken_json(json.loads(rows[column]), chance))
    if chance.randrange(3) == 0:
        rows = broken_json(rows, chance)
    name = f"rounds/{good.kept().rows['uid']}.json"
    members = {name: json.dumps(rows).encode("utf-8", "surrogatepass")}
    if chance.randrange(4) == 0:
        odd = chance.choice(("../x", "/tmp/x", f"sounds/{'0' * 32}/../../x", "rounds/..", "sounds\\x", *ODD_TEXTS[:60]))
        members[odd or "empty"] = b"x"
    hashes = {name: hashlib.sha256(data).hexdigest() for name, data in members.items()}
    file = io.BytesIO()
    with zipfile.ZipFile(file, "w", zipfile.ZIP_DEFLATED) as archive:
        for each, data in members.items():
            archive.writestr(each.replace("\0", "0")[:60_000], data)
        archive.writestr("manifest.json", json.dumps({"format": "tensionear.archive/1", "members": hashes}))
    return file.getvalue()


@cache
def _record_wheel() -> Any:
    from tensionear.wheel.wheelfile import parse_wheel

    text = good.RECORDS[0].read_text("utf-8")
    import tomllib

    wheel = tomllib.loads(text)["data"]["wheel_file"]
    return parse_wheel(f'calibration = ["input", "lot", "weighed"]\n{wheel}', "wheel.toml")


@cache
def _record_heard() -> Any:
    import tomllib

    from tensionear.calibration.records import known_data

    return known_data(tomllib.loads(good.RECORDS[0].read_text("utf-8"))).heard


def _record(data: bytes, folder: Path) -> None:
    """A calibration taken for a wheel that names it, and computed again."""
    import os
    from dataclasses import replace

    from tensionear.calibration.tying import fit_heard
    from tensionear.calibration.use import calibrated
    from tensionear.cli.calibrate import compute_again

    from .taken import hold

    records = folder / "calibrations"
    records.mkdir()
    written(records, "input.v1.toml", data)
    os.environ["TENSIONEAR_CALIBRATIONS"] = str(records)
    for wheel in (_record_wheel(), replace(_record_wheel(), calibration=())):
        informed = calibrated(wheel)
        if informed.learned:
            places = [place for place in wheel.places if place.number in _record_heard() and place.side == "right"]
            fit_heard(informed, places, _record_heard())
    from tensionear.errors import TensionearError

    try:
        compute_again("input")
    except TensionearError as error:
        hold(error)


def _line(data: bytes, folder: Path) -> None:
    """A command line, in a folder with one good file of each kind."""
    import os

    written(folder, "wheel.toml", good.SMALL.encode())
    written(folder, "known.csv", good.KNOWN[0].encode())
    written(folder, "runout.csv", good.RUNOUT.encode())
    written(folder, "study.csv", good.STUDY[0].encode())
    written(folder, "rounds.sqlite", good.kept().log)
    written(folder, "noise.wav", b"RIFF")
    before = Path.cwd()
    os.chdir(folder)
    try:
        command(json.loads(data))
    finally:
        os.chdir(before)


def _lines(chance: random.Random) -> bytes:
    return json.dumps(broken_line(chance.choice(LINES), words(), chance)).encode()


_CONTAINERS = ("wav", "float.wav", "rf64", "aiff", "caf", "w64", "ulaw.wav", "adpcm.wav")

DOORS: tuple[Door, ...] = (
    Door("wave", _sound(*_CONTAINERS), _blocks, 120),
    Door("flac", _sound("flac"), _blocks, 70),
    Door("ogg", _sound("ogg", "opus"), _blocks, 70),
    Door("mp3", _sound("mp3", "aac"), _blocks, 70),
    Door("m4a", _sound("m4a"), _blocks, 90),
    Door("webm", _sound("webm"), _blocks, 50),
    Door("heard", _sound(*_CONTAINERS, "flac", "ogg", "mp3", "m4a", "webm"), _heard("--spokes", "1", "--json"), 12),
    Door(
        "heard-of-a-kind",
        _sound("wav", "flac", "m4a"),
        _heard("--kind", "steel-round-2.0", "--length", "265", "--plain"),
        6,
    ),
    Door("wheel", _text(good.SMALL, good.WHEEL), _with_wheel("describe", "INPUT", "--show"), 60),
    Door("wheel-planned", _text(good.SMALL), _wheel_planned, 12),
    Door("sheet", _text(good.SHEET), _sheet_kept, 50),
    Door(
        "known", _text(*good.KNOWN), _with_wheel("sheet", "WHEEL", "--tensions", "INPUT", "--out", "KEPT", "--json"), 40
    ),
    Door(
        "runout", _text(good.RUNOUT), _with_wheel("sheet", "WHEEL", "--runout", "INPUT", "--out", "KEPT", "--plain"), 40
    ),
    Door("plan-known", _text(*good.KNOWN), _with_wheel("plan", "WHEEL", "--tensions", "INPUT", "--plain"), 10),
    Door(
        "plan-runout", _text(good.RUNOUT, good.SHEET), _with_wheel("plan", "WHEEL", "--runout", "INPUT", "--json"), 10
    ),
    Door(
        "plan-reading",
        _json(lambda: good.kept().reading),
        _with_wheel("plan", "WHEEL", "--tensions", "INPUT", "--json"),
        15,
    ),
    Door(
        "plan-after",
        _json(good.plan),
        _with_wheel("plan", "WHEEL", "--tensions", "KNOWN", "--after", "INPUT", "--json"),
        4,
    ),
    Door("gauge", _text(good.GAUGE, good.GAUGE_READINGS), _gauge, 40),
    Door("hanging", _text(good.HANGING), _hanging, 40),
    Door("mapping", _text(good.MAPPING), _mapping, 40),
    Door("study", _text(good.STUDY[0]), _with_wheel("study", "INPUT", "--tolerance", "100"), 20),
    Door("study-check", _text(good.STUDY[1]), _with_wheel("study", "INPUT", "--check", "S1", "--json"), 20),
    Door("result-csv", lambda chance: _text(good.result("csv"))(chance), _result("csv"), 10),
    Door("result-jsonl", lambda chance: _text(good.result("jsonl"))(chance), _result("jsonl"), 10),
    Door("log", lambda chance: broken_bytes(good.kept().log, [good.kept().log], chance), _log, 15),
    Door("archive", lambda chance: broken_bytes(good.kept().archive, [good.kept().archive], chance), _archive, 20),
    Door("archive-rows", _whole_archive, _archive, 10),
    Door("record", _text(*(path.read_text("utf-8") for path in good.RECORDS)), _record, 15),
    Door("line", _lines, _line, 25),
)
