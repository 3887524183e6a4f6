"""Which channel of a recording to listen to. Imports capture only."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from .recording import AudioSource, Samples

#: Level is taken over pieces of this length, short against a ring and long against its period.
_PIECE_S = 0.05
#: Each piece is summed to this rate and differenced: a coarse band-pass, about 0.3 to 4 kHz, against hum and hiss.
_COARSE_HZ = 8_000.0
#: Levels are counted in steps of 0.5 dB from here up to +20 dB.
_FLOOR_DB, _TOP_DB, _STEP_DB = -120.0, 20.0, 0.5
#: Below this a pause is as quiet as 16 bit can hold: a noise gate must not count as a better ring.
_QUIET_DB = -90.0
#: The ring is the level that this share of pieces stays below, over the level of the quietest tenth.
_LOUD_SHARE, _QUIET_SHARE = 0.98, 0.10
#: What clipping in a hundredth of the pieces, or more, takes off the score.
_CLIPPED_DB, _CLIPPED_SHARE = 12.0, 0.01
#: Channels whose scores are closer than this sound alike.
_ALIKE_DB = 0.5


@dataclass(frozen=True, slots=True)
class Channel:
    """A channel to listen to: ``index`` counts from 0, ``text`` says why it was taken (empty for a single one)."""

    index: int
    text: str


def best_channel(source: AudioSource) -> Channel:
    """Find the channel whose ring stands highest over its pauses; a single channel is taken unread.

    One pass over the blocks in fixed memory. Clipping counts against a channel; a dead one is never taken while another
    lives.

    Parameters
    ----------
    source : AudioSource
        Its blocks are read through once, so it must give them again afterwards.

    Returns
    -------
    Channel

    Raises
    ------
    SoundError
        What the source raises for sound that cannot be used.
    """
    count = source.channels
    if count == 1:
        return Channel(0, "")
    levels = _Levels(count, source.sample_rate_hz)
    for block in source.blocks():
        levels.add(block)
    scores = levels.scores_db()
    index = int(np.argmax(scores))
    others = np.delete(scores, index)
    here = f"channel {index + 1} of {count}"
    if not np.isfinite(others).any():
        silent = "the other is silent" if count == 2 else "the others are silent"
        return Channel(index, f"{here} is used, {silent}")
    if scores[index] - others.max() < _ALIKE_DB:
        return Channel(
            index, f"{here} is used, others sound alike" if count > 2 else f"{here} is used, both sound alike"
        )
    return Channel(index, f"{here} has the {'stronger' if count == 2 else 'strongest'} ring")


class _Levels:
    """How often each channel was how loud: a histogram, the same size for a minute and an hour."""

    def __init__(self, channels: int, sample_rate_hz: float) -> None:
        self._sum_frames = max(1, round(sample_rate_hz / _COARSE_HZ))
        self._piece_frames = self._sum_frames * round(_PIECE_S * sample_rate_hz / self._sum_frames)
        self._counts = np.zeros((channels, round((_TOP_DB - _FLOOR_DB) / _STEP_DB) + 1), dtype=np.int64)
        self._clipped = np.zeros(channels, dtype=np.int64)
        self._rest: Samples = np.empty((0, channels), dtype=np.float32)

    def add(self, block: Samples) -> None:
        """Count the levels of a block, shape (frames, channels); what does not fill a piece waits for the next."""
        held = np.concatenate((self._rest, block))
        whole = len(held) // self._piece_frames
        self._rest = held[whole * self._piece_frames :]
        if not whole:
            return
        channels = held.shape[1]
        pieces = held[: whole * self._piece_frames].reshape(whole, self._piece_frames, channels)
        coarse = pieces.reshape(whole, -1, self._sum_frames, channels).mean(axis=2, dtype=np.float64)
        power = np.mean(np.diff(coarse, axis=1) ** 2, axis=1)
        level_db = 10.0 * np.log10(np.maximum(power, 10.0 ** (_FLOOR_DB / 10.0)))
        steps = np.minimum(((level_db - _FLOOR_DB) / _STEP_DB).astype(np.int64), self._counts.shape[1] - 1)
        np.add.at(self._counts, (np.arange(channels)[None, :], steps), 1)
        self._clipped += (np.count_nonzero(np.abs(pieces) >= 0.999, axis=1) >= 3).sum(axis=0)

    def scores_db(self) -> NDArray[np.float64]:
        """Ring over pauses of each channel, less what clipping costs; minus infinity for a dead one."""
        total = self._counts[0].sum()
        if not total:
            return np.zeros(len(self._counts))
        heard = np.cumsum(self._counts, axis=1)
        loud_db = _FLOOR_DB + _STEP_DB * np.argmax(heard >= _LOUD_SHARE * total, axis=1)
        quiet_db = _FLOOR_DB + _STEP_DB * np.argmax(heard >= _QUIET_SHARE * total, axis=1)
        clipped_db = _CLIPPED_DB * np.minimum(1.0, self._clipped / (_CLIPPED_SHARE * total))
        score = loud_db - np.maximum(quiet_db, _QUIET_DB) - clipped_db
        return np.where(loud_db < _QUIET_DB, -np.inf, score)
