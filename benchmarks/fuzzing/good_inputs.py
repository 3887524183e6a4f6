"""The good inputs that are broken: short sounds, wheel files, tables, records, a log, archives. Imports the package."""

from __future__ import annotations

import csv
import io
import json
import tempfile
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import Any

import numpy as np
import soundfile

from tensionear.data import data_file

HERE = Path(__file__).parent
WHEEL = data_file("recordings_demo", "wheel.toml").read_text("utf-8")
#: A small wheel, so that plans of it are soon made.
SMALL = """format = 1
name = "Loft cart"
[lacing]
spokes = 12
sides = "RL"
[rim]
seat_diameter_mm = 545.0
stiffness = "alloy-box"
max_tension_n = 1250
[right]
spoke = "cart-blade"
free_length_mm = 254.0
hub_circle_diameter_mm = 58.0
flange_offset_mm = 20.0
crosses = 1
first_runs = "clockwise"
crossing = "touching"
target_n = 1000
[left]
spoke = "steel-butted-2.0-1.8"
hub_circle_diameter_mm = 54.0
flange_offset_mm = 34.0
crosses = 0
head = "straight"
u_length_mm = 0.5
[limits]
evenness_percent = 8
lateral_mm = 0.4
[state]
tyre = "inflated"
pressure_kpa = 300
[spokes.cart-blade]
material = "carbon"
shape = "blade"
width_mm = 4.4
thickness_mm = 1.3
mass_g = 2.61
whole_length_mm = 271.0
[spoke.3]
spoke = "steel-round-2.0"
free_length_mm = 253.0
leave_out = "replaced on the road"
"""
SHEET = """format = 1
wheel = "Loft cart"
lateral_range_mm = 0.3
dish_mm = -0.4
mass_g = 812.0
rim_width_outer_mm = 19.0
notes = "found in a loft"
[state]
tyre = "none"
[spoke.1]
lateral_mm = 0.1
radial_mm = -0.2
twist_deg = 1.5
[spoke.2]
lateral_mm = 0.2
"""


def _table(heading: str, rows: list[tuple[object, ...]]) -> str:
    file = io.StringIO()
    writer = csv.writer(file, lineterminator="\n")
    writer.writerow(heading.split(","))
    writer.writerows(rows)
    return file.getvalue()


_SPOKES = range(1, 13)
KNOWN = (
    _table("spoke,tension_n,u_percent,tyre", [(n, 1000 if n % 2 else 640, 2.5, "none") for n in _SPOKES]),
    _table("spoke,tension_kgf", [(n, 100 + n) for n in _SPOKES]),
)
GAUGE = _table("reading,tension_n,kind", [(10, 400, ""), (18, 800, ""), (24, 1200, ""), (1, 9, "x"), (2, 8, "x")])
GAUGE_READINGS = _table("spoke,reading", [(n, 12 + n / 2) for n in _SPOKES])
RUNOUT = _table("spoke,lateral_mm,radial_mm,twist_deg", [(n, n / 40, -n / 50, 0.5 if n % 2 else "") for n in _SPOKES])
HANGING = _table("sound,mass_kg,u_mass_kg", [(f"hung-{mass}.wav", mass, mass / 1000) for mass in (10, 18, 28, 40, 55)])
MAPPING = _table(
    "file,wheel,first,order,direction,state,serial,station,operator,attempt,recorded",
    [
        (f"in/{n}.wav", "wheel.toml", n, "rim", "ccw", "new", f"S{n}", "A", "Ada", 1, "2026-11-25T14:30")
        for n in range(1, 6)
    ],
)
STUDY = (
    _table(
        "serial,operator,value", [(f"S{n}", who, 1000 + 7 * n + k) for n in range(5) for who in "AB" for k in (0, 1)]
    ),
    _table(
        "wheel,operator,station,recorded,right_mean_n,left_mean_n,status",
        [("S1", "Ada", "east", f"2026-11-{day}", 1000 + day % 7, 640 - day % 5, "read") for day in range(10, 25)],
    ),
)
RECORDS = tuple(sorted((HERE / "good").glob("*.toml")))


@cache
def pluck() -> tuple[np.ndarray, int]:
    """The first spoke of the demo round, 0.8 s: a true sound, cheap to read."""
    samples, rate_hz = soundfile.read(data_file("recordings_demo", "round.flac"), dtype="float32", stop=35280)
    return samples.reshape(len(samples), -1)[:, 0], int(rate_hz)


@cache
def sounds() -> dict[str, bytes]:
    """The pluck in every container that can be written here, by the ending of its name."""
    samples, rate_hz = pluck()
    found = {}
    kinds = {
        "wav": ("WAV", "PCM_16"), "float.wav": ("WAV", "FLOAT"), "rf64": ("RF64", "PCM_24"), "aiff": ("AIFF", "PCM_16"),
        "caf": ("CAF", "PCM_16"), "w64": ("W64", "PCM_16"), "flac": ("FLAC", "PCM_16"), "ogg": ("OGG", "VORBIS"),
        "opus": ("OGG", "OPUS"), "mp3": ("MP3", "MPEG_LAYER_III"), "ulaw.wav": ("WAV", "ULAW"), "adpcm.wav": ("WAV", "MS_ADPCM"),
    }  # fmt: skip
    for name, (container, coding) in kinds.items():
        file = io.BytesIO()
        rate = 48000 if coding == "OPUS" else rate_hz
        soundfile.write(file, samples, rate, subtype=coding, format=container)
        found[name] = file.getvalue()
    for name, container, coder in (("m4a", "mp4", "aac"), ("webm", "webm", "libopus"), ("aac", "adts", "aac")):
        found[name] = _coded(samples, rate_hz, container, coder)
    return found


def _coded(samples: np.ndarray, rate_hz: int, container: str, coder: str) -> bytes:
    """A sound through FFmpeg's coders."""
    import av

    file = io.BytesIO()
    rate = 48000 if coder == "libopus" else rate_hz
    with av.open(file, "w", format=container) as media:
        stream = media.add_stream(coder, rate=rate, layout="mono")
        for start in range(0, len(samples) - 1024, 1024):
            piece = np.ascontiguousarray(samples[None, start : start + 1024])
            frame = av.AudioFrame.from_ndarray(piece, format="fltp", layout="mono")
            frame.sample_rate, frame.pts = rate, start
            for packet in stream.encode(frame.reformat(format=stream.format) if hasattr(frame, "reformat") else frame):
                media.mux(packet)
        for packet in stream.encode(None):
            media.mux(packet)
    return file.getvalue()


@dataclass(frozen=True, slots=True)
class Kept:
    """A log with its rounds, an archive of it, and a reading of it as JSON."""

    log: bytes
    archive: bytes
    reading: dict[str, Any]
    rows: dict[str, Any]


@cache
def kept() -> Kept:
    """Three rounds: two of an invented wheel of twelve spokes, one unfinished."""
    import sqlite3
    import zipfile

    from tensionear.capture.recording import Recording
    from tensionear.records.archive import export_rounds
    from tensionear.records.log import Log
    from tensionear.records.values import Asked

    samples, rate_hz = pluck()
    old = HERE.parents[1] / "tests" / "records" / "old" / "log-1.sqlite"
    with tempfile.TemporaryDirectory() as folder:
        first = Log(Path(folder) / "old.sqlite")
        first.path.write_bytes(old.read_bytes())
        reading = first.load(1).reading
        assert reading is not None
        log = Log(Path(folder) / "rounds.sqlite")
        for note in ("first look", "after truing"):
            log.save(reading, Asked(wheel_text=SMALL), Recording(samples[:2000], float(rate_hz)), note=note)
        opened = log.open_round(Asked(wheel_text=SMALL), "half")
        opened.append(reading.plucks[0], Recording(samples[:2000], float(rate_hz)))
        export_rounds(log, None, Path(folder) / "rounds.zip")
        connection = sqlite3.connect(log.path)
        connection.execute("VACUUM")
        connection.close()
        with zipfile.ZipFile(Path(folder) / "rounds.zip") as archive:
            name = next(name for name in archive.namelist() if name.startswith("rounds/"))
            rows = json.loads(archive.read(name))
        archived = (Path(folder) / "rounds.zip").read_bytes()
        document = {"format": "tensionear.read/1", "recordings": [reading.to_dict()]}
        return Kept(log.path.read_bytes(), archived, document, rows)


@cache
def plan() -> dict[str, Any]:
    """A kept pass of the small wheel."""
    from tensionear.wheel.plan import plan_turns
    from tensionear.wheel.wheelfile import parse_wheel

    tensions = {n: 1000.0 + 10 * n if n % 2 else 640.0 for n in _SPOKES}
    return plan_turns(parse_wheel(SMALL, "small"), tensions_n=tensions, lateral_m={1: 0.0002, 5: -0.0001}).to_dict()


@cache
def result(ending: str) -> str:
    """A batch's result of a few rows."""
    from tensionear.batch.lines import CSV_LINES, JSON_LINES
    from tensionear.batch.values import Row

    lines = CSV_LINES if ending == "csv" else JSON_LINES
    rows = [Row(number=n, file=f"in/{n}.wav", status="read", key=f"{n:032x}", wheel="Loft cart") for n in range(1, 5)]
    return "".join(
        f"{line}\n" for line in ([lines.heading] if lines.heading else []) + [lines.encode(row) for row in rows]
    )
