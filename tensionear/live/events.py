"""What happens at the stand and what is to be done about it, as values. Imports nothing of the package."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Literal

#: What a person can ask for by key, knock or button.
Action = Literal["back", "skip", "redo", "jump", "pause", "note", "out", "quit"]
#: Short tones: go on; pluck again; the round is done; while turning: tighten, loosen, there.
Cue = Literal["next", "again", "done", "tighten", "loosen", "there"]


@dataclass(frozen=True, slots=True)
class Value:
    """What one pluck says of its spoke; None where not known.

    ``deviation_percent`` is from the running mean of its side, of tension where that is known, else of pitch.
    """

    pitch_hz: float
    tension_n: float | None = None
    u_tension_n: float | None = None
    deviation_percent: float | None = None
    u_deviation_percent: float | None = None


@dataclass(frozen=True, slots=True)
class Lines:
    """The partials of a pluck: frequencies in Hz and their levels in dB, as many."""

    hz: tuple[float, ...]
    level_db: tuple[float, ...]


@dataclass(frozen=True, slots=True)
class Plucked:
    """A spoke was plucked.

    ``lines``: its partials. ``final`` once its ring was heard long enough;
    ``doubtful``: some of its sound was lost.
    """

    onset_s: float
    now_s: float
    lines: Lines
    value: Value
    final: bool
    doubtful: bool = False


@dataclass(frozen=True, slots=True)
class Refused:
    """Something sounded that does not count: why, and the one thing to change."""

    onset_s: float
    code: str
    advice: str


@dataclass(frozen=True, slots=True)
class Knocked:
    """The rim was tapped."""

    onset_s: float


@dataclass(frozen=True, slots=True)
class Asked:
    """A person asks for something: ``spoke`` to jump to, ``text`` of a note."""

    action: Action
    spoke: int | None = None
    text: str = ""


@dataclass(frozen=True, slots=True)
class Passed:
    """Time went by."""

    now_s: float


@dataclass(frozen=True, slots=True)
class Named:
    """The whole round so far names the plucks (by onset) so; it may have been seen otherwise at first."""

    spokes: Mapping[float, int]


@dataclass(frozen=True, slots=True)
class FoundOut:
    """Spokes that a reading found out of their limits."""

    spokes: tuple[int, ...]


@dataclass(frozen=True, slots=True)
class Microphoned:
    """The microphone went (``trouble`` says so) or is back (None)."""

    trouble: str | None


Event = Plucked | Refused | Knocked | Asked | Passed | Named | FoundOut | Microphoned


@dataclass(frozen=True, slots=True)
class Accept:
    """These plucks (by onset) are this spoke's: keep them, then say so."""

    spoke: int
    onsets_s: tuple[float, ...]


@dataclass(frozen=True, slots=True)
class Withdraw:
    """What was accepted of this spoke no longer counts."""

    spoke: int


@dataclass(frozen=True, slots=True)
class Sound:
    """Let a short tone be heard."""

    cue: Cue


@dataclass(frozen=True, slots=True)
class Note:
    """Keep a note, of a spoke if one is named."""

    spoke: int
    text: str


Effect = Accept | Withdraw | Sound | Note
