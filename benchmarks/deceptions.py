"""What must never happen: a confident wrong number. Single sounds that are no spoke, spoilt honest plucks, honest ones.

Run ``python -m benchmarks.deceptions [--each N] [--first SEED]``. Every case is a line of ``benchmarks/out/deceptions.jsonl``;
cases that are there already are not read again, so a long run may be stopped. The table goes to the terminal and to
``benchmarks/out/deceptions.txt``.

All are read as ``tensionear read --kind --length`` reads single plucks, the kind and length drawn as for an honest pluck.
Wrong is a number for what is no spoke, and one further from the truth than three stated standard uncertainties.
"""

from __future__ import annotations

import argparse
import json
import os
import subprocess
import tempfile
from collections.abc import Iterator
from pathlib import Path

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

import numpy as np
import soundfile

import tensionear as te
from benchmarks.simulator.deceptions import ALTERED, STRANGERS, Samples, stranger
from benchmarks.simulator.singles import Single, draw_single
from tensionear.capture.recording import Recording
from tensionear.catalogue import build_spoke

OUT = Path(__file__).parent / "out"
HONEST, TWO, CODED = "honest", "two spokes at once", "MP3 at 64 kbit/s"
SNR_DB = 25.0


def main() -> None:
    """Read what is missing, tabulate."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--each", type=int, default=100, help="cases of each sort")
    parser.add_argument("--first", type=int, default=0, help="first seed")
    given = parser.parse_args()
    OUT.mkdir(exist_ok=True)
    kept = OUT / "deceptions.jsonl"
    rows = [json.loads(line) for line in kept.read_text().splitlines()] if kept.exists() else []
    done = {(row["sort"], row["seed"]) for row in rows}
    with kept.open("a") as out:
        for seed in range(given.first, given.first + given.each):
            for sort in (HONEST, *STRANGERS, *ALTERED, TWO, CODED):
                if (sort, seed) not in done:
                    row = case(sort, seed)
                    rows.append(row)
                    out.write(json.dumps(row) + "\n")
                    out.flush()
    text = table([row for row in rows if given.first <= row["seed"] < given.first + given.each])
    print(text)
    (OUT / "deceptions.txt").write_text(text + "\n")


def case(sort: str, seed: int) -> dict[str, object]:
    """One sound read: how many numbers came out, and how far the worst lies from the truth in its stated u (None: no truth)."""
    drawn = draw_single(seed, SNR_DB)
    rng = np.random.default_rng([seed, 4242])
    truth: float | None = drawn.tension_n
    samples, rate = drawn.samples, drawn.sample_rate_hz
    if sort in STRANGERS:
        (samples, rate), truth = stranger(sort, seed), None
    elif sort in ALTERED:
        samples = ALTERED[sort](samples, rate, drawn.onset_s, rng)
    elif sort == CODED:
        samples, rate = _coded(samples, rate)
    elif sort == TWO:
        samples = _with_another(drawn, seed)
    told = build_spoke(drawn.kind, drawn.spoke)
    try:
        reading = te.read(Recording(samples, rate), spoke=told, free_length_m=drawn.free_length_m)
    except te.SoundError:
        return {"sort": sort, "seed": seed, "numbers": 0, "off_u": None, "reasons": ["refused"]}
    numbers = [(p.tension_n, p.u_tension_n) for p in reading.plucks if p.tension_n is not None]
    off = [abs(value - truth) / u for value, u in numbers] if truth is not None else []  # type: ignore[operator]
    reasons = [p.rejected for p in reading.plucks if p.rejected] or [finding.code for finding in reading.findings]
    return {"sort": sort, "seed": seed, "numbers": len(numbers), "off_u": max(off, default=None), "reasons": reasons}


def _coded(samples: Samples, rate: int) -> tuple[Samples, int]:
    """Through an MP3 of 64 kbit/s and back, by ffmpeg."""
    with tempfile.TemporaryDirectory() as folder:
        wav, mp3, back = (str(Path(folder) / name) for name in ("a.wav", "a.mp3", "b.wav"))
        soundfile.write(wav, samples, rate)
        for command in ((wav, "-b:a", "64k", mp3), (mp3, back)):
            subprocess.run(["ffmpeg", "-loglevel", "error", "-i", *command], check=True)
        found, rate = soundfile.read(back, dtype="float32")
    return found, rate


def _with_another(drawn: Single, seed: int) -> Samples:
    """A pluck with one of another spoke at the same moment, as loud to within 10 dB."""
    rng = np.random.default_rng([seed, 77])
    other = next(
        each
        for number in range(10_000 + seed, 20_000, 101)
        if (each := draw_single(number, SNR_DB)).sample_rate_hz == drawn.sample_rate_hz
    )
    size = min(drawn.samples.size, other.samples.size)
    late = round((drawn.onset_s - other.onset_s + rng.uniform(0, 0.01)) * drawn.sample_rate_hz)
    shifted = np.roll(other.samples, late)[:size]
    level = float(np.abs(drawn.samples).max() / np.abs(shifted).max()) * 10 ** (-rng.uniform(0, 10) / 20)
    return np.asarray(0.4 * (drawn.samples[:size] + level * shifted), dtype=np.float32)


def table(rows: list[dict[str, object]]) -> str:
    """The table by sort."""
    return "\n".join(_lines(rows))


def _lines(rows: list[dict[str, object]]) -> Iterator[str]:
    yield f"{'sort':32} {'cases':>6} {'no number':>10} {'wrong':>6}"
    for sort in dict.fromkeys(str(row["sort"]) for row in rows):
        mine = [row for row in rows if row["sort"] == sort]
        silent = sum(not row["numbers"] for row in mine)
        yield f"{sort:32} {len(mine):6} {silent:10} {sum(_is_wrong(row) for row in mine):6}"
    lies = [row for row in rows if row["sort"] != HONEST]
    yield f"{'all but honest':32} {len(lies):6} {'':10} {sum(_is_wrong(row) for row in lies):6}"


def _is_wrong(row: dict[str, object]) -> bool:
    """Whether a number was given that should not have been."""
    if row["sort"] in STRANGERS:
        return bool(row["numbers"])
    off = row["off_u"]
    return isinstance(off, float) and off > 3


if __name__ == "__main__":
    main()
