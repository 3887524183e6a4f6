"""Sounds the program makes: short tones that say what is next, and the tone of a spoke. Pure; imports events.

Tones carry no meaning by their absolute pitch: one says go on or there, rising pairs say tighten, falling ones loosen.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from .events import Cue

Sound = NDArray[np.float32]

RATE_HZ = 48_000.0
_PIP_S, _GAP_S, _LEVEL = 0.07, 0.04, 0.25
_LOW_HZ, _HIGH_HZ = 1_320.0, 1_760.0
_CUES: dict[Cue, tuple[float, ...]] = {
    "next": (_HIGH_HZ,),
    "again": (_LOW_HZ, _LOW_HZ),
    "done": (_LOW_HZ, _HIGH_HZ, _HIGH_HZ),
    "tighten": (_LOW_HZ, _HIGH_HZ),
    "loosen": (_HIGH_HZ, _LOW_HZ),
    "there": (_HIGH_HZ,),
}
#: A plucked spoke's tone dies away within a second or so, the higher partials sooner. Simulated rounds; a choice.
_DECAY_S, _SPOKE_S = 0.45, 1.6
_NOTES = ("C", "C#", "D", "D#", "E", "F", "F#", "G", "G#", "A", "A#", "B")
_A4_HZ, _A4 = 440.0, 69  # ISO 16: standard tuning frequency


def cue_tone(cue: Cue) -> Sound:
    """The tones of a cue, shape (n,) at `RATE_HZ`, faded in and out so that nothing clicks."""
    time = np.arange(round(_PIP_S * RATE_HZ)) / RATE_HZ
    fade = np.sin(np.pi * time / _PIP_S) ** 2
    gap = np.zeros(round(_GAP_S * RATE_HZ))
    parts = [part for hz in _CUES[cue] for part in (_LEVEL * fade * np.sin(2 * np.pi * hz * time), gap)]
    return np.concatenate(parts).astype(np.float32)


def spoke_tone(partials_hz: Sequence[float]) -> Sound:
    """A tone with these partials, dying away as a spoke's does, shape (n,) at `RATE_HZ`."""
    time = np.arange(round(_SPOKE_S * RATE_HZ)) / RATE_HZ
    sound = np.zeros(len(time))
    for index, hz in enumerate(partials_hz):
        sound += np.sin(2 * np.pi * hz * time) * np.exp(-time * (index + 1) / _DECAY_S) / (index + 1)
    sound *= np.minimum(1.0, time / 0.002) * np.minimum(1.0, (_SPOKE_S - time) / 0.05)
    return np.asarray(0.6 * sound / np.abs(sound).max(), dtype=np.float32)


def nearest_note(frequency_hz: float) -> tuple[str, float]:
    """The nearest note of equal temperament with its octave, and how many cents above it the frequency is."""
    steps = _A4 + 12 * float(np.log2(frequency_hz / _A4_HZ))
    whole = round(steps)
    return f"{_NOTES[whole % 12]}{whole // 12 - 1}", 100 * (steps - whole)
