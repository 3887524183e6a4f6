"""Writes ``recordings_demo/`` anew: ``python -m benchmarks.make_demo``. Imports the simulator and soundfile."""

from __future__ import annotations

from pathlib import Path

import soundfile

from benchmarks.simulator.demo import draw_demo

FOLDER = Path(__file__).parents[1] / "recordings_demo"


def main() -> None:
    """Draw the demo and write its wheel file, sound (FLAC, 16 bit) and truth; the README is written by hand."""
    demo = draw_demo()
    (FOLDER / "wheel.toml").write_text(demo.wheel_toml, encoding="utf-8")
    (FOLDER / "truth.csv").write_text(demo.truth_csv, encoding="utf-8")
    soundfile.write(FOLDER / "round.flac", demo.samples, demo.sample_rate_hz, subtype="PCM_16", format="FLAC")


if __name__ == "__main__":
    main()
