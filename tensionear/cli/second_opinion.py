"""Each pluck heard once more for ``--explain``: its spectrum, and librosa's pitch. Imports capture and dashboard."""

from __future__ import annotations

import itertools
from collections.abc import Collection, Iterator
from typing import TYPE_CHECKING, Any

from tensionear.reading import Reading

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    from tensionear.capture.recording import AudioSource
    from tensionear.dashboard.explain import Heard

#: The ring that is shown: it starts when the pluck itself is over, and ends before the next pluck or after this long.
AFTER_ONSET_S = 0.02
LONGEST_S = 0.6
SHORTEST_S = 0.05
#: Where spokes sound, with room on both sides.
LOWEST_HZ, HIGHEST_HZ = 60.0, 2500.0


def hear_again(sound: str, reading: Reading, asked: Collection[int]) -> tuple[Heard | None, ...]:
    """The spectrum of every pluck, None where the ring is too short to show; the second opinion of those ``asked``, from 1."""
    from tensionear.capture.channels import best_channel
    from tensionear.capture.files import open_sound

    source = open_sound(sound)
    rings = _rings(source, best_channel(source).index, reading)
    return tuple(
        None if ring is None else _heard(ring, source.sample_rate_hz, number in asked)
        for number, ring in enumerate(rings, 1)
    )


def _rings(source: AudioSource, channel: int, reading: Reading) -> Iterator[NDArray[np.float32] | None]:
    """The ring of each pluck, from one pass over the sound that keeps no more than a ring and a block."""
    import numpy as np

    rate = source.sample_rate_hz
    blocks = source.blocks()
    held, held_from = np.empty(0, np.float32), 0
    onsets = [pluck.onset_s for pluck in reading.plucks]
    for onset, after in itertools.pairwise([*onsets, float("inf")]):
        first = int((onset + AFTER_ONSET_S) * rate)
        last = int(min(onset + AFTER_ONSET_S + LONGEST_S, after - AFTER_ONSET_S) * rate)
        while held_from + len(held) < last and (block := next(blocks, None)) is not None:
            gone = min(max(first - held_from, 0), len(held))
            held, held_from = np.concatenate((held[gone:], block[:, channel])), held_from + gone
        ring = held[max(first - held_from, 0) : max(last - held_from, 0)]
        yield ring if len(ring) >= SHORTEST_S * rate else None


def _heard(ring: NDArray[np.float32], rate_hz: float, asked: bool) -> Heard:
    """The spectrum of a ring up to 5 kHz (Hann window, padded fourfold), and if asked librosa's pitch of it."""
    import numpy as np

    from tensionear.dashboard.explain import Heard

    size = 4 * len(ring)
    power = np.abs(np.fft.rfft(ring * np.hanning(len(ring)), size)) ** 2
    frequency_hz = np.fft.rfftfreq(size, 1 / rate_hz).astype(np.float64)
    kept = frequency_hz <= 2 * HIGHEST_HZ
    level_db = 10 * np.log10(power[kept] + np.finfo(float).tiny)
    return Heard(frequency_hz[kept], level_db, _librosa_pitch_hz(ring, rate_hz) if asked else None, asked)


def _librosa_pitch_hz(ring: NDArray[np.float32], rate_hz: float) -> float | None:
    """The median pitch of the voiced frames by probabilistic YIN (Mauch and Dixon, ICASSP 2014, pp. 659-663)."""
    import librosa
    import numpy as np

    frame = 2 ** int(np.ceil(np.log2(2.5 * rate_hz / LOWEST_HZ)))
    ring = np.pad(ring, (0, max(0, frame - len(ring))))
    found: tuple[Any, Any, Any] = librosa.pyin(
        ring, sr=rate_hz, fmin=LOWEST_HZ, fmax=HIGHEST_HZ, frame_length=frame, hop_length=frame // 4, center=False
    )
    voiced = found[0][np.isfinite(found[0])]
    return float(np.median(voiced)) if len(voiced) else None
