"""A wheel file, and short sounds of its spokes under many names."""

from __future__ import annotations

import sys
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest
import soundfile

from tensionear.data import data_file
from tests.cli import fake

WHEEL = data_file("recordings_demo", "wheel.toml")


@pytest.fixture(scope="session")
def clip(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The first spoke of the demo round: a true sound, cheap to read."""
    samples, rate_hz = soundfile.read(data_file("recordings_demo", "round.flac"), stop=44100)
    path = tmp_path_factory.mktemp("clip") / "clip.wav"
    soundfile.write(path, samples, rate_hz, subtype="PCM_16")
    return path


@pytest.fixture
def sounds(tmp_path: Path) -> Callable[..., list[str]]:
    """Files of these names, each of other bytes, for pipelines that hear nothing."""

    def write(*names: str) -> list[str]:
        paths = [tmp_path / name for name in names]
        for path in paths:
            path.parent.mkdir(parents=True, exist_ok=True)
            path.write_bytes(f"sound {path.name}".encode())
        return [str(path) for path in paths]

    return write


@pytest.fixture
def deaf() -> Iterator[None]:
    """This process reads invented readings by the name of the sound."""
    before = sys.modules.pop("tensionear.pipeline", None)
    fake.install()
    yield
    del sys.modules["tensionear.pipeline"]
    if before is not None:
        sys.modules["tensionear.pipeline"] = before
