"""A sound card of software: a sound server of its own with a null sink, whose monitor is a microphone.

Needs pulseaudio, its tools and the ALSA plug-in (Debian: pulseaudio pulseaudio-utils libasound2-plugins).
"""

from __future__ import annotations

import os
import shutil
import signal
import subprocess
import tempfile
import time
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from dataclasses import dataclass, field
from pathlib import Path

SINK = "bench"
_MODULE = ("module-null-sink", f"sink_name={SINK}", "rate=48000", "channels=1")


def is_possible() -> bool:
    """Whether the servers are installed."""
    plugins = list(Path("/usr/lib").glob("*/alsa-lib/libasound_module_pcm_pulse.so"))
    return all(shutil.which(name) for name in ("pulseaudio", "pactl", "paplay")) and bool(plugins)


@dataclass
class SoundCard:
    """A running one; ``environment`` leads programs to it."""

    folder: Path
    environment: dict[str, str] = field(default_factory=dict)

    def start(self) -> None:
        self.environment = {
            **os.environ,
            "XDG_RUNTIME_DIR": str(self.folder),
            "PULSE_SINK": SINK,
            "PULSE_SOURCE": f"{SINK}.monitor",
        }
        sink = " ".join(_MODULE)
        loads = ["-L", "module-native-protocol-unix", "-L", sink]
        command = ["pulseaudio", "-n", "--daemonize=yes", "--exit-idle-time=-1", *loads]
        subprocess.run(command, env=self.environment, check=True, capture_output=True, timeout=20)

    @property
    def pid(self) -> int:
        return int((self.folder / "pulse" / "pid").read_text())

    def kill(self) -> None:
        """End the server by its own process id."""
        with suppress(FileNotFoundError, ProcessLookupError):
            pid = self.pid
            os.kill(pid, signal.SIGKILL)
            for _ in range(100):
                os.kill(pid, 0)
                time.sleep(0.02)

    def unplug(self) -> None:
        self._pactl("unload-module", "module-null-sink")

    def plug(self) -> None:
        self._pactl("load-module", *_MODULE)

    def play(self, path: Path) -> subprocess.Popen[bytes]:
        return subprocess.Popen(["paplay", "--latency-msec=400", str(path)], env=self.environment)

    def _pactl(self, *words: str) -> None:
        subprocess.run(["pactl", *words], env=self.environment, check=True, capture_output=True, timeout=20)


@contextmanager
def sound_card() -> Iterator[SoundCard]:
    """A card for as long as it is needed."""
    with tempfile.TemporaryDirectory(prefix="card") as folder:
        card = SoundCard(Path(folder))
        card.start()
        try:
            yield card
        finally:
            card.kill()
