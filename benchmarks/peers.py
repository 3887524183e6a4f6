"""General-purpose pitch trackers on the same plucks: gross errors, cents, the tension their pitch gives, milliseconds.

Run ``python -m benchmarks.peers [--count N] [--first SEED]`` with the extra ``bench`` installed; trackers that are not are left
out and named. A line a pluck goes to ``benchmarks/out/peers.jsonl`` as it is done and is not done again; the table to the
terminal and to ``benchmarks/out/peers.txt``.

Every tracker is given the ring alone, from 20 ms after the pluck on, at most 0.8 s, and 100 to 1200 Hz to look in; its pitch is
the median of its voiced frames. Its tension is that of a string of this length and the mass per length of the spoke's middle,
T = mu (2 L f)^2. Silent: it gives no pitch. tensionear hears the whole recording and finds the pluck itself.
"""

from __future__ import annotations

import argparse
import importlib.metadata
import json
import os
import time
from collections.abc import Callable, Mapping
from pathlib import Path
from typing import Any

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
os.environ.setdefault("NUMBA_CACHE_DIR", "/tmp/numba-cache")

import numpy as np
from numpy.typing import NDArray

import tensionear as te
from benchmarks.simulator.singles import Single, draw_single
from tensionear.catalogue import build_spoke
from tensionear.physics.string import ideal_string_tension_n

LEVELS_DB = (30.0, 20.0, 10.0, 3.0)
GROSS_CENTS, NEAR_S = 50.0, 0.12
LOWEST_HZ, HIGHEST_HZ = 100.0, 1200.0
FRAME, HOP = 4096, 512
SKIP_S, LONGEST_S = 0.02, 0.8
OUT = Path(__file__).parent / "out"

Sound = NDArray[np.float64]
Tracker = Callable[[Sound, int], float | None]


def yin(ring: Sound, rate_hz: int) -> float | None:
    """YIN by librosa."""
    import librosa

    return _median(librosa.yin(ring, fmin=LOWEST_HZ, fmax=HIGHEST_HZ, sr=rate_hz, frame_length=FRAME))


def pyin(ring: Sound, rate_hz: int) -> float | None:
    """Probabilistic YIN by librosa."""
    import librosa

    return _median(librosa.pyin(ring, fmin=LOWEST_HZ, fmax=HIGHEST_HZ, sr=rate_hz, frame_length=FRAME)[0])


def praat(ring: Sound, rate_hz: int) -> float | None:
    """Autocorrelation by Praat."""
    import parselmouth

    pitch = parselmouth.Sound(ring, rate_hz).to_pitch_ac(pitch_floor=LOWEST_HZ, pitch_ceiling=HIGHEST_HZ)
    return _median(pitch.selected_array["frequency"])


def harvest(ring: Sound, rate_hz: int) -> float | None:
    """Harvest by WORLD."""
    import pyworld

    return _median(pyworld.harvest(ring, rate_hz, f0_floor=LOWEST_HZ, f0_ceil=HIGHEST_HZ)[0])


def dio(ring: Sound, rate_hz: int) -> float | None:
    """DIO, refined by StoneMask, by WORLD."""
    import pyworld

    rough, at = pyworld.dio(ring, rate_hz, f0_floor=LOWEST_HZ, f0_ceil=HIGHEST_HZ)
    return _median(pyworld.stonemask(ring, rough, at, rate_hz))


def swift(ring: Sound, rate_hz: int) -> float | None:
    """A small neural network."""
    import soxr
    import swift_f0

    if not hasattr(swift, "network"):
        swift.network = swift_f0.SwiftF0()  # type: ignore[attr-defined]
    found = swift.network.detect(soxr.resample(ring, rate_hz, swift_f0.SAMPLE_RATE), swift_f0.SAMPLE_RATE)  # type: ignore[attr-defined]
    inside = (found.confidence >= 0.5) & (found.pitch_hz >= LOWEST_HZ) & (found.pitch_hz <= HIGHEST_HZ)
    return _median(found.pitch_hz[inside])


def swipe(ring: Sound, rate_hz: int) -> float | None:
    """SWIPE by libf0."""
    import libf0

    return _median(libf0.swipe_slim(ring, Fs=rate_hz, H=HOP, F_min=LOWEST_HZ, F_max=HIGHEST_HZ)[0])


def salience(ring: Sound, rate_hz: int) -> float | None:
    """Harmonic salience by libf0."""
    import libf0

    return _median(libf0.salience(ring, Fs=rate_hz, N=FRAME, H=HOP, F_min=LOWEST_HZ, F_max=HIGHEST_HZ)[0])


#: Name in the table, the distribution that brings it, and the tracker.
PEERS: Mapping[str, tuple[str, Tracker]] = {
    "librosa YIN": ("librosa", yin),
    "librosa pYIN": ("librosa", pyin),
    "Praat AC": ("praat-parselmouth", praat),
    "WORLD Harvest": ("pyworld", harvest),
    "WORLD DIO": ("pyworld", dio),
    "SwiftF0": ("swift-f0", swift),
    "libf0 SWIPE": ("libf0", swipe),
    "libf0 salience": ("libf0", salience),
}


def main() -> None:
    """Draw, track, tabulate."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--count", type=int, default=168, help="plucks")
    parser.add_argument("--first", type=int, default=1000, help="first seed")
    given = parser.parse_args()
    OUT.mkdir(exist_ok=True)
    path = OUT / "peers.jsonl"
    done = {one["seed"]: one for one in map(json.loads, path.read_text().splitlines())} if path.exists() else {}
    present = {name: tracker for name, (package, tracker) in PEERS.items() if _installed(package)}
    missing = sorted({package for package, _ in PEERS.values() if not _installed(package)})
    wanted = range(given.first, given.first + given.count)
    for seed in wanted:
        if not present.keys() <= done.get(seed, {"readers": {}})["readers"].keys():
            done[seed] = track(seed, present)
            with path.open("a", encoding="utf-8") as file:
                file.write(json.dumps(done[seed]) + "\n")
    text = table([done[seed] for seed in wanted], ["tensionear", *present])
    if missing:
        text += f"\nNot installed and left out: {', '.join(missing)} (pip install 'tensionear[bench]').\n"
    (OUT / "peers.txt").write_text(text, encoding="utf-8")
    print(text)


def _installed(package: str) -> bool:
    try:
        importlib.metadata.version(package)
    except importlib.metadata.PackageNotFoundError:
        return False
    return True


def track(seed: int, present: Mapping[str, Tracker]) -> dict[str, Any]:
    """One pluck by every reader: cents off the nearer first mode, relative error of the tension, milliseconds of processor."""
    single = draw_single(seed, LEVELS_DB[(seed // 21) % len(LEVELS_DB)])
    first = int((single.onset_s + SKIP_S) * single.sample_rate_hz)
    ring = single.samples[first:][: int(LONGEST_S * single.sample_rate_hz)].astype(np.float64)
    spoke = build_spoke(single.kind, single.spoke)
    mass = spoke.density_kg_m3 * spoke.middle.area_m2
    readers = {"tensionear": _ours(single)}
    for name, tracker in present.items():
        start = time.process_time()
        found = tracker(ring, single.sample_rate_hz)
        spent = time.process_time() - start
        tension = ideal_string_tension_n(found, single.free_length_m, mass) if found else None
        readers[name] = _judged(single, found, tension, spent)
    return {"seed": seed, "snr_db": single.snr_db, "readers": readers}


def _ours(single: Single) -> dict[str, float | None]:
    start = time.process_time()
    recording = te.Recording(single.samples, single.sample_rate_hz)
    spoke = build_spoke(single.kind, single.spoke)
    reading = te.read(recording, spoke=spoke, free_length_m=single.free_length_m)
    spent = time.process_time() - start
    near = [each for each in reading.plucks if each.used and abs(each.onset_s - single.onset_s) < NEAR_S]
    return _judged(single, *((near[0].frequency_hz, near[0].tension_n) if near else (None, None)), spent)


def _judged(single: Single, found: float | None, tension: float | None, spent_s: float) -> dict[str, float | None]:
    wanted = single.frequency_hz[:1] if single.flat else single.frequency_hz
    cents = min((1200 * float(np.log2(found / hz)) for hz in wanted), key=abs) if found else None
    return {"cents": cents, "tension": tension / single.tension_n - 1 if tension else None, "ms": 1000 * spent_s}


def _median(found_hz: Sound) -> float | None:
    voiced = np.asarray(found_hz)[np.isfinite(found_hz) & (np.asarray(found_hz) > 0)]
    return float(np.median(voiced)) if len(voiced) else None


def table(plucks: list[dict[str, Any]], names: list[str]) -> str:
    """A row for each reader, at 10 dB and more, and at 3 dB."""
    head = f"{'reader':<16}{'dB':>6}{'plucks':>8}{'silent':>8}{'> 50 c':>8}{'median c':>10}{'95 % c':>8}"
    head += f"{'T median %':>12}{'T 95 %':>8}{'ms':>8}"
    lines = [head]
    for name in names:
        for text, low, high in ((">= 10", 10.0, 99.0), ("3", 0.0, 9.0)):
            some = [one["readers"][name] for one in plucks if low <= one["snr_db"] <= high]
            cents = np.abs([each["cents"] for each in some if each["cents"] is not None])
            fine, tension = (
                cents[cents <= GROSS_CENTS],
                np.abs([each["tension"] for each in some if each["tension"] is not None]),
            )
            spent = float(np.median([each["ms"] for each in some])) if some else float("nan")
            spread = (_at(fine, 50), _at(fine, 95), 100 * _at(tension, 50), 100 * _at(tension, 95))
            lines.append(
                f"{name:<16}{text:>6}{len(some):>8}{len(some) - len(cents):>8}{int(np.sum(cents > GROSS_CENTS)):>8}"
                f"{spread[0]:>10.2f}{spread[1]:>8.2f}{spread[2]:>12.1f}{spread[3]:>8.1f}{spent:>8.1f}"
            )
    return "\n".join(lines) + "\n"


def _at(values: NDArray[np.float64], percent: float) -> float:
    return float(np.percentile(values, percent)) if len(values) else float("nan")


if __name__ == "__main__":
    main()
