"""Pitch and tension of simulated single plucks, beside librosa's YIN and pYIN on the same sound.

Run ``python -m benchmarks.accuracy [--count N] [--first SEED]`` from the root of the checkout; the table goes to the
terminal and to ``benchmarks/out/accuracy.txt``. Every pluck is told the solver with the spreads it was drawn with.
"""

from __future__ import annotations

import argparse
import os
import time
from dataclasses import dataclass
from pathlib import Path

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
os.environ.setdefault("NUMBA_CACHE_DIR", "/tmp/numba-cache")

import numpy as np

import tensionear as te
from benchmarks.simulator.singles import Single, draw_single
from tensionear.catalogue import build_spoke

LEVELS_DB = (30.0, 20.0, 10.0, 3.0)
GROSS_CENTS = 50.0
NEAR_S = 0.12
LOWEST_HZ, HIGHEST_HZ = 100.0, 1200.0
OUT = Path(__file__).parent / "out"


@dataclass(frozen=True, slots=True)
class Result:
    """One pluck: error of each reader in cents (None: silent), and of the tension with its stated u, both relative."""

    snr_db: float
    kind: str
    cents: dict[str, float | None]
    tension: float | None
    u_tension: float | None
    covered: bool
    milliseconds: dict[str, float]


def main() -> None:
    """Draw, read, tabulate."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--count", type=int, default=560, help="how many plucks")
    parser.add_argument("--first", type=int, default=1000, help="first seed")
    parser.add_argument("--no-peers", action="store_true", help="leave librosa out")
    given = parser.parse_args()
    results = [
        judge(draw_single(seed, LEVELS_DB[(seed // 21) % len(LEVELS_DB)]), not given.no_peers)
        for seed in range(given.first, given.first + given.count)
    ]
    text = table(results)
    OUT.mkdir(exist_ok=True)
    (OUT / "accuracy.txt").write_text(text, encoding="utf-8")
    print(text)


def judge(single: Single, peers: bool) -> Result:
    """Read one pluck by every reader."""
    wanted = single.frequency_hz[:1] if single.flat else single.frequency_hz
    spent = {}
    start = time.perf_counter()
    reading = te.read(
        te.Recording(single.samples, single.sample_rate_hz),
        spoke=build_spoke(single.kind, single.spoke),
        free_length_m=single.free_length_m,
    )
    spent["tensionear"] = time.perf_counter() - start
    near = [pluck for pluck in reading.plucks if pluck.used and abs(pluck.onset_s - single.onset_s) < NEAR_S]
    pluck = near[0] if near else None
    cents = {"tensionear": _cents(pluck.frequency_hz if pluck else None, wanted)}
    if peers:
        ring = single.samples[int((single.onset_s + 0.02) * single.sample_rate_hz) :][
            : int(0.8 * single.sample_rate_hz)
        ]
        for name, reader in (("librosa YIN", _yin), ("librosa pYIN", _pyin)):
            start = time.perf_counter()
            cents[name] = _cents(reader(ring, single.sample_rate_hz), wanted)
            spent[name] = time.perf_counter() - start
    tension = pluck.tension_n / single.tension_n - 1 if pluck and pluck.tension_n else None
    u = pluck.u_tension_n / single.tension_n if pluck and pluck.u_tension_n else None
    covered = tension is not None and u is not None and abs(tension) <= 1.96 * u
    return Result(single.snr_db, single.kind, cents, tension, u, covered, {k: 1000 * v for k, v in spent.items()})


def _yin(ring: np.ndarray, rate_hz: float) -> float | None:
    import librosa

    found = librosa.yin(ring, fmin=LOWEST_HZ, fmax=HIGHEST_HZ, sr=rate_hz, frame_length=4096)
    return float(np.median(found))


def _pyin(ring: np.ndarray, rate_hz: float) -> float | None:
    import librosa

    found, _, _ = librosa.pyin(ring, fmin=LOWEST_HZ, fmax=HIGHEST_HZ, sr=rate_hz, frame_length=4096)
    voiced = found[np.isfinite(found)]
    return float(np.median(voiced)) if len(voiced) else None


def _cents(found_hz: float | None, wanted_hz: tuple[float, ...]) -> float | None:
    """Error to the nearest of the planes' first modes."""
    if found_hz is None:
        return None
    return min((1200 * float(np.log2(found_hz / wanted)) for wanted in wanted_hz), key=abs)


def table(results: list[Result]) -> str:
    """The results by level, reader and kind of spoke."""
    lines = [f"{len(results)} simulated single plucks", ""]
    lines.append(
        f"{'reader':<14}{'SNR dB':>7}{'plucks':>8}{'silent':>8}{'> 50 c':>8}{'median c':>10}{'95 % c':>9}{'ms':>8}"
    )
    for name in results[0].cents:
        for level in LEVELS_DB:
            some = [result for result in results if result.snr_db == level]
            if not some:
                continue
            heard = np.array([abs(result.cents[name]) for result in some if result.cents[name] is not None])  # type: ignore[arg-type]
            fine = heard[heard <= GROSS_CENTS]
            spent = float(np.median([result.milliseconds[name] for result in some]))
            lines.append(
                f"{name:<14}{level:>7.0f}{len(some):>8}{len(some) - len(heard):>8}{int((heard > GROSS_CENTS).sum()):>8}"
                f"{np.median(fine):>10.2f}{np.percentile(fine, 95):>9.2f}{spent:>8.1f}"
            )
    lines += ["", f"{'tension':<24}{'plucks':>8}{'median %':>10}{'95 %':>8}{'stated u %':>12}{'in 95 %':>9}"]
    groups = [(f"{level:.0f} dB", [r for r in results if r.snr_db == level]) for level in LEVELS_DB]
    groups += [(kind, [r for r in results if r.kind == kind]) for kind in sorted({r.kind for r in results})]
    groups += [(">= 10 dB", [r for r in results if r.snr_db >= 10])]
    for name, some in groups:
        errors = np.array([abs(r.tension) for r in some if r.tension is not None])
        if len(errors):
            stated = np.median([r.u_tension for r in some if r.u_tension is not None])
            inside = np.mean([r.covered for r in some if r.tension is not None])
            lines.append(
                f"{name:<24}{len(errors):>8}{100 * np.median(errors):>10.2f}{100 * np.percentile(errors, 95):>8.2f}"
                f"{100 * stated:>12.2f}{100 * inside:>9.1f}"
            )
    return "\n".join(lines) + "\n"


if __name__ == "__main__":
    main()
