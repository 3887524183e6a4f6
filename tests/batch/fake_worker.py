"""A worker whose pipeline hears nothing: the name of a sound tells what becomes of it. Started by the tests as a process."""

from __future__ import annotations

import os
import signal
import sys
import time
from collections.abc import Sequence
from pathlib import Path

from tensionear.batch.worker import main
from tensionear.reading import Reading
from tests.cli import fake

ROOT = Path(__file__).resolve().parents[2]
#: What starts one.
COMMAND = (
    sys.executable,
    "-c",
    f"import sys; sys.path.insert(0, {str(ROOT)!r}); from tests.batch.fake_worker import work; work(sys.argv[1:])",
)


def read(sound: str | os.PathLike[str], **asked: object) -> Reading:
    """An invented reading, or no reading at all."""
    name = Path(sound).name
    if "slow" in name:
        time.sleep(0.1)
    if "hang" in name:
        time.sleep(1000)
    if "crash" in name:
        os.kill(os.getpid(), signal.SIGKILL)
    if "exit" in name:
        os._exit(7)
    if "noise" in name:
        os.write(1, b"native noise on standard output")
    return fake.read(sound, **asked)


def work(arguments: Sequence[str]) -> None:
    """Be a worker."""
    fake.install()
    sys.modules["tensionear.pipeline"].read = read  # type: ignore[attr-defined]
    main(list(arguments))
