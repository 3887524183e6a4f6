"""A microphone as a stream of pieces that survives being unplugged. Imports devices, recording, errors; sounddevice when used.

The sound system calls back from a thread of its own; that callback copies and queues, nothing else. Whoever takes the pieces
learns of sound that was lost, and of a microphone that went away and came back.
"""

from __future__ import annotations

import os
import platform
import queue
import sys
import tempfile
import threading
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from tensionear.errors import DeviceError

from .checks import LARGEST_SAMPLE, LOWEST_RATE_HZ
from .devices import (
    MISSING,
    PREFERRED_HOST,
    REFUSED_RATE,
    InputDevice,
    again,
    choose,
    explained,
    inputs_among,
    silence_explained,
)
from .recording import Samples

Clock = Callable[[], float]

_LATENCY_S = 0.1  # 'low' starts 2 s late on some servers, 'high' of others is half a second
_QUEUED = 4000  # pieces of some 10 to 50 ms: more than a minute
_GONE_S, _FIRST_S = 1.0, 5.0
_ASLEEP_S = 0.5  # longer between two questions, and a silence says nothing of the microphone
_RETRY_S, _STOP_S = 1.0, 2.0
_SILENT_S, _SILENT_LATER_S = 0.5, 3.0  # a gate gives zeros between sounds, which is told elsewhere
_LOST_S, _SETTLED_S = 0.08, 1.5  # lag that stays so much larger for so long is lost sound


@dataclass(frozen=True, slots=True, eq=False)
class Piece:
    """Some sound, shape (frames, channels), and when it came; ``doubtful``: sound around it may be missing."""

    samples: Samples
    at_s: float
    doubtful: bool


@dataclass(frozen=True, slots=True)
class Trouble:
    """The microphone gives no sound: why, and what to do."""

    text: str


@dataclass(frozen=True, slots=True)
class Recovered:
    """Sound comes again; ``sample_rate_hz`` may have changed."""

    sample_rate_hz: float
    text: str


def sound_system() -> Any:
    """The module sounddevice; DeviceError where the library below it is missing."""
    try:
        import sounddevice
    except (OSError, ImportError):
        raise DeviceError(MISSING) from None
    return sounddevice


def list_inputs(system: Any) -> list[InputDevice]:
    """All microphones there are."""
    try:
        default = int(system.default.device[0])
        return inputs_among(system.query_devices(), system.query_hostapis(), default)
    except system.PortAudioError as error:
        raise DeviceError(f"the sound system gives no list of microphones ({error}); is it running?") from None


class Microphone:
    """A running microphone.

    Parameters
    ----------
    system : module sounddevice, or something with its names
    device : InputDevice
    clock : callable
        Seconds, monotonic.
    """

    def __init__(self, system: Any, device: InputDevice, clock: Clock = time.monotonic) -> None:
        self._system, self.device, self._clock = system, device, clock
        self._stream: Any = None
        self._latency_s = self._lost_before_s = 0.0
        self._pieces: queue.Queue[Piece] = queue.Queue(_QUEUED)
        self._failed: Exception | None = None
        self._overflow = False
        self._last_s = self._tried_s = self._asked_s = 0.0
        self._lost: str | None = None
        self._had_sound = False
        self._zeros, self._lively = 0, False
        self.counter = FrameCounter(device.sample_rate_hz)
        self.sample_rate_hz = device.sample_rate_hz
        self.channels = min(device.channels, 2)

    @property
    def name(self) -> str:
        """What the system calls it."""
        return self.device.name

    @property
    def latency_s(self) -> float:
        """How long sound takes through the sound system, as that says."""
        return self._latency_s

    def notes(self) -> tuple[str, ...]:
        """What a reader of the round should know of the sound."""
        lost = self._lost_before_s + self.counter.lost_s
        return (f"{1000 * lost:.0f} ms of sound were lost on their way from {self.name}",) if lost > 0 else ()

    def start(self) -> None:
        """Open the microphone.

        Raises
        ------
        DeviceError
            One line: what it is called, what to do.
        """
        try:
            self._open()
        except (self._system.PortAudioError, ValueError) as error:
            raise DeviceError(explained(_code_of(error), self.device.name, platform.system())) from None
        if self.sample_rate_hz < LOWEST_RATE_HZ:
            rate = self.sample_rate_hz
            self.stop()
            raise DeviceError(
                f"{self.device.name} gives {rate:.0f} Hz; {LOWEST_RATE_HZ:.0f} Hz or more is needed: a headset in call "
                "mode is no microphone for this, choose another with --input"
            )

    def take(self, timeout_s: float) -> Piece | Trouble | Recovered | None:
        """What came next, or None within this time; a lost microphone is looked for again from here.

        Raises
        ------
        DeviceError
            If the callback itself failed.
        """
        if self._failed is not None:
            raise DeviceError(f"{self.device.name} stopped: {self._failed}; start again")
        if self._lost is not None:
            return self._look_again(timeout_s)
        self._notice_sleep(timeout_s)
        try:
            piece = self._pieces.get(timeout=timeout_s)
        except queue.Empty:
            self._notice_sleep(timeout_s)
            return self._missed()
        self._had_sound = True
        self._last_s = piece.at_s
        return self._checked(piece)

    def stop(self) -> None:
        """Close the stream; one that hangs is left behind after two seconds."""
        stream, self._stream = self._stream, None
        if stream is None:
            return
        helper = threading.Thread(target=_closed, args=(stream,), daemon=True)
        helper.start()
        helper.join(_STOP_S)

    def _open(self) -> None:
        settings = {
            "device": self.device.index,
            "channels": self.channels,
            "dtype": "float32",
            "latency": _LATENCY_S,
            "callback": self._arrived,
        }
        stream = self._opened(settings)
        stream.start()
        self._stream = stream
        self.sample_rate_hz = float(stream.samplerate)
        self._latency_s = float(stream.latency)
        self._last_s = self._asked_s = self._clock()
        self._had_sound = False
        self._zeros = 0
        self._lively = False
        self._lost_before_s += self.counter.lost_s
        self.counter = FrameCounter(self.sample_rate_hz)

    def _opened(self, settings: dict[str, Any]) -> Any:
        """A stream at the device's own rate; the Windows mixer may run at another, and then converts if it is asked to."""
        try:
            return self._system.InputStream(samplerate=self.device.sample_rate_hz, **settings)
        except self._system.PortAudioError as error:
            if self.device.host != PREFERRED_HOST or _code_of(error) not in REFUSED_RATE:
                raise
        converting = self._system.WasapiSettings(auto_convert=True)
        return self._system.InputStream(samplerate=self.device.sample_rate_hz, extra_settings=converting, **settings)

    def _arrived(self, indata: Samples, frames: int, time_info: Any, status: Any) -> None:  # noqa: ARG002
        """The callback: copy, queue, nothing else; an exception here would be printed and lost."""
        try:
            doubtful, self._overflow = bool(status.input_overflow) or self._overflow, False
            self._pieces.put_nowait(Piece(indata.copy(), self._clock(), doubtful))
        except queue.Full:
            self._overflow = True
        except Exception as error:  # noqa: BLE001 - handed over to whoever takes the pieces
            self._failed = error

    def _checked(self, piece: Piece) -> Piece | Trouble:
        low, high = float(piece.samples.min(initial=0.0)), float(piece.samples.max(initial=0.0))
        if not (low >= -LARGEST_SAMPLE and high <= LARGEST_SAMPLE):
            return Trouble(f"{self.device.name} gives numbers that are no sound; unplug it, wait, plug it in again")
        doubtful = self.counter.add(len(piece.samples), piece.at_s) or piece.doubtful
        silent = low == 0.0 == high
        before = self._zeros
        self._zeros = before + len(piece.samples) if silent else 0
        self._lively = self._lively or not silent
        enough = (_SILENT_LATER_S if self._lively else _SILENT_S) * self.sample_rate_hz
        if before < enough <= self._zeros:
            return Trouble(f"{self.device.name}: {silence_explained(platform.system())}")
        return replace(piece, doubtful=doubtful)

    def _notice_sleep(self, timeout_s: float) -> None:
        """If it was us who were away, stopped or starved, the time did not pass without sound."""
        now_s = self._clock()
        if now_s - self._asked_s > _ASLEEP_S + timeout_s:
            self._last_s = now_s
        self._asked_s = now_s

    def _missed(self) -> Trouble | None:
        """Nothing came: is it gone, or only slow?"""
        waited = self._clock() - self._last_s
        active = self._stream is not None and bool(self._stream.active)
        if active and waited < (_GONE_S if self._had_sound else _FIRST_S):
            return None
        self.stop()
        self._lost = f"{self.device.name} is gone: plug it in again, the round waits"
        self._tried_s = self._clock()
        return Trouble(self._lost)

    def _look_again(self, timeout_s: float) -> Recovered | None:
        """Once a second the sound system is asked anew, since it knows no other way to see a device come back."""
        if self._clock() - self._tried_s < _RETRY_S:
            time.sleep(min(timeout_s, 0.05))
            return None
        self._tried_s = self._clock()
        try:
            self._system._terminate()
            self._system._initialize()
            found = again(list_inputs(self._system), self.device)
            if found is None:
                return None
            self.device = found
            self._open()
        except (self._system.PortAudioError, DeviceError, ValueError):
            self.stop()
            return None
        while not self._pieces.empty():
            self._pieces.get_nowait()
        self._lost = None
        return Recovered(self.sample_rate_hz, f"{self.device.name} is back")


class FrameCounter:
    """Counts frames against the clock: sound that never came shows as a lag that stays.

    Pieces come in gusts, so the smallest lag of the last while is what counts.
    """

    def __init__(self, sample_rate_hz: float) -> None:
        self._rate_hz = sample_rate_hz
        self._start_s: float | None = None
        self._frames = 0
        self._base_s = 0.0
        self._recent: list[tuple[float, float]] = []
        self.lost_s = 0.0

    def add(self, frames: int, at_s: float) -> bool:
        """Count a piece; True when it has become plain that sound is missing."""
        if self._start_s is None:
            self._start_s = at_s
            self._frames = 0
            return False
        self._frames += frames
        lag = at_s - self._start_s - self._frames / self._rate_hz
        self._recent = [(when, each) for when, each in self._recent if when > at_s - _SETTLED_S]
        self._recent.append((at_s, lag))
        least = min(each for _, each in self._recent)
        full = at_s - self._recent[0][0] > 0.8 * _SETTLED_S
        if least < self._base_s:
            self._base_s = least
        elif full and least > self._base_s + _LOST_S:
            self.lost_s += least - self._base_s
            self._base_s = least
            return True
        return False


def open_microphone(wanted: str | None) -> Microphone:
    """The microphone asked for (number or name; None: the one that serves best), running."""
    system = sound_system()
    microphone = Microphone(system, choose(list_inputs(system), wanted))
    microphone.start()
    return microphone


def play(system: Any, sound: np.ndarray, sample_rate_hz: float) -> None:
    """Play a sound, shape (n,), over the default output, without waiting.

    Raises
    ------
    DeviceError
        If there is nothing to play it on.
    """
    try:
        system.play(sound.astype(np.float32), sample_rate_hz)
    except (system.PortAudioError, ValueError) as error:
        raise DeviceError(
            f"no loudspeaker can be used ({error}); plug one in, or leave sound off with --quiet"
        ) from None


def play_through(system: Any, sound: np.ndarray, sample_rate_hz: float) -> None:
    """Play a sound, shape (n,), to its end."""
    play(system, sound, sample_rate_hz)
    system.wait()


@contextmanager
def libraries_quiet() -> Iterator[None]:
    """Sound libraries write to file descriptor 2 when a device goes; that is kept from the user while we listen."""
    before = os.dup(2)
    with tempfile.TemporaryFile() as noise:
        sys.stderr.flush()
        os.dup2(noise.fileno(), 2)
        try:
            yield
        finally:
            sys.stderr.flush()
            os.dup2(before, 2)
            os.close(before)


def _closed(stream: Any) -> None:
    """End a stream, whatever it says."""
    try:
        stream.abort()
        stream.close()
    except Exception:  # noqa: BLE001 - it is gone already
        return


def _code_of(error: Exception) -> int | None:
    """PortAudio's error number, the last argument of its exception."""
    numbers = [each for each in error.args if isinstance(each, int)]
    return numbers[0] if numbers else None
