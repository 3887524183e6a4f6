"""Where a live round's sound comes from and where its tones go. Imports nothing of the package until it runs."""

from __future__ import annotations

import queue
import threading
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from dataclasses import dataclass
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from tensionear.capture.recording import AudioSource
    from tensionear.live.events import Cue
    from tensionear.live.source import LiveSource


@dataclass(frozen=True, slots=True)
class Found:
    """Where the sound comes from, and what is known of it beforehand."""

    live: LiveSource
    channels: int
    channel: int | None
    notes: Callable[[], tuple[str, ...]]


@contextmanager
def source_of(sound: str | None, fast: bool, wanted: str | None, at_once_s: float) -> Iterator[Found]:
    """A file played, or the microphone, closed at the end."""
    if sound is None:
        from tensionear.capture.microphone import open_microphone

        microphone = open_microphone(wanted)
        try:
            yield Found(microphone, microphone.channels, None, microphone.notes)
        finally:
            microphone.stop()
        return
    from tensionear.capture.checks import check_rate
    from tensionear.capture.files import open_sound
    from tensionear.live.source import PlayedFile, channel_of

    source: AudioSource = open_sound(sound)
    check_rate(source.name, source.sample_rate_hz)
    channel, why = channel_of(source)

    def notes() -> tuple[str, ...]:
        return tuple(text for text in (why, *source.notes()) if text)

    yield Found(PlayedFile(source, fast, at_once_s), source.channels, channel, notes)


def player() -> Callable[[Cue], None]:
    """Plays cues over the loudspeaker, from a thread of its own: opening it takes longer than hearing can wait.

    Without a loudspeaker the round goes on in silence.
    """
    from tensionear.capture.microphone import play_through, sound_system
    from tensionear.errors import DeviceError
    from tensionear.live.tones import RATE_HZ, cue_tone

    system = sound_system()
    waiting: queue.SimpleQueue[Cue] = queue.SimpleQueue()

    def play_all() -> None:
        while True:
            cue = waiting.get()
            with suppress(DeviceError):
                play_through(system, cue_tone(cue), RATE_HZ)

    threading.Thread(target=play_all, daemon=True).start()
    return waiting.put


def no_sound(cue: Cue) -> None:
    """Be quiet."""
