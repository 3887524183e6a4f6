"""A sound system in the place of sounddevice: devices come and go, streams are fed by hand."""

from __future__ import annotations

from dataclasses import dataclass, field
from types import SimpleNamespace
from typing import Any

import numpy as np


class PortAudioError(Exception):
    """As sounddevice's: the number is the last argument."""


def device(name: str, channels: int = 1, rate_hz: float = 48_000.0, host: int = 0) -> dict[str, Any]:
    return {"name": name, "max_input_channels": channels, "default_samplerate": rate_hz, "hostapi": host}


@dataclass
class FakeStream:
    callback: Any
    samplerate: float
    channels: int
    latency: float = 0.1
    active: bool = False
    closed: bool = False

    def start(self) -> None:
        self.active = True

    def abort(self) -> None:
        self.active = False

    def close(self) -> None:
        self.closed = True

    def give(self, samples: np.ndarray, overflow: bool = False) -> None:
        block = np.asarray(samples, np.float32).reshape(-1, self.channels)
        self.callback(block, len(block), None, SimpleNamespace(input_overflow=overflow))


@dataclass
class FakeSystem:
    """The names of sounddevice that are used."""

    devices: list[dict[str, Any]]
    hosts: list[dict[str, Any]] = field(default_factory=lambda: [{"name": "ALSA"}])
    default_index: int = 0
    refuses: PortAudioError | None = None
    converts: bool = False  # whether what it refuses is given when it is asked to convert
    streams: list[FakeStream] = field(default_factory=list)
    restarts: int = 0
    played: list[np.ndarray] = field(default_factory=list)
    PortAudioError: Any = PortAudioError

    @property
    def default(self) -> Any:
        return SimpleNamespace(device=(self.default_index, self.default_index))

    def query_devices(self) -> list[dict[str, Any]]:
        return self.devices

    def query_hostapis(self) -> list[dict[str, Any]]:
        return self.hosts

    def InputStream(self, samplerate: float, channels: int, callback: Any, **others: Any) -> FakeStream:  # noqa: N802
        if self.refuses is not None and not (self.converts and others.get("extra_settings")):
            raise self.refuses
        self.streams.append(FakeStream(callback, samplerate, channels))
        return self.streams[-1]

    def WasapiSettings(self, auto_convert: bool) -> str:  # noqa: N802
        return "converting" if auto_convert else ""

    def play(self, sound: np.ndarray, rate_hz: float) -> None:
        if self.refuses is not None:
            raise self.refuses
        self.played.append(sound)

    def _terminate(self) -> None:
        self.restarts += 1

    def _initialize(self) -> None:
        pass


class Clock:
    """Seconds that pass when told to."""

    def __init__(self) -> None:
        self.now_s = 100.0

    def __call__(self) -> float:
        return self.now_s
