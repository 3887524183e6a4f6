"""When the sound was not the wheel's alone: tones of the program's own, sound that was lost. Imports nothing of the package."""

from __future__ import annotations

_TONE_S = 0.6  # from the moment a tone is asked for: it starts late and rings in the room
_EARLY_S = 0.05
_DOUBT_S = 0.15  # around lost sound
_REMEMBERED_S = 5.0


class Spoilt:
    """Remembers the last few seconds."""

    def __init__(self) -> None:
        self._tones_s: list[float] = []
        self._lost_s: list[float] = []

    def tone(self, now_s: float) -> None:
        """A tone is played."""
        self._tones_s = [each for each in self._tones_s if each > now_s - _REMEMBERED_S] + [now_s]

    def lost(self, now_s: float) -> None:
        """Some sound did not come."""
        self._lost_s = [each for each in self._lost_s if each > now_s - _REMEMBERED_S] + [now_s]

    def is_own_tone(self, onset_s: float) -> bool:
        """Whether a tone of ours may have sounded there."""
        return any(start_s - _EARLY_S < onset_s < start_s + _TONE_S for start_s in self._tones_s)

    def is_doubtful(self, start_s: float, end_s: float) -> bool:
        """Whether some of the sound between is missing."""
        return any(start_s - _DOUBT_S < each < end_s + _DOUBT_S for each in self._lost_s)
