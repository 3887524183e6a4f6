"""The thread that hears: takes sound, drives the session, lets the round be read beside it. Imports session and source.

Hearing must not wait for the joint fit, so that runs in a thread of its own, on the latest state only.
"""

from __future__ import annotations

import queue
import threading
from collections.abc import Callable

from tensionear.capture.microphone import Piece, Recovered, Trouble
from tensionear.errors import TensionearError
from tensionear.reading import Reading

from .events import Asked
from .session import Session
from .source import Ended, LiveSource
from .told import Snapshot

_TAKE_S = 0.05
_READ_FROM = 3  # spokes accepted before the round is read as a whole


class Engine:
    """Runs a session on a source.

    Parameters
    ----------
    session : Session
    source : LiveSource
    channels : int
    channel : int or None
        None: found out at the start.
    reads_along : bool
        Whether the round is read as a whole while it grows.
    """

    def __init__(
        self, session: Session, source: LiveSource, channels: int, channel: int | None, reads_along: bool
    ) -> None:
        self._session, self._source, self._channels, self._channel = session, source, channels, channel
        self._reads_along = reads_along
        self._asked: queue.SimpleQueue[Callable[[Session], None]] = queue.SimpleQueue()
        self._readings: queue.SimpleQueue[Reading] = queue.SimpleQueue()
        self._reader: threading.Thread | None = None
        self._read_of = 0
        self._stopped = threading.Event()
        self.latest: Snapshot = session.snapshot()
        self.failed: Exception | None = None
        self.ended = threading.Event()

    def ask(self, asked: Asked) -> None:
        """Hand over a key; from any thread."""
        self._asked.put(lambda session: session.ask(asked))

    def turn(self, spoke: int | None) -> None:
        """Turn a spoke, or go back to the round; from any thread."""
        self._asked.put(lambda session: session.turn(spoke))

    def stop(self) -> None:
        """End soon; from any thread."""
        self._stopped.set()

    def run(self) -> None:
        """Hear until the file ends, the user quits, or the round is closed; errors are left in ``failed``."""
        try:
            self._session.listen_to(self._source.sample_rate_hz, self._channels, self._channel)
            while not self._stopped.is_set() and not self._session.over:
                self._serve()
                got = self._source.take(_TAKE_S)
                if isinstance(got, Ended):
                    break
                self._handle(got)
            self._session.finish()
        except TensionearError as error:
            self.failed = error
        finally:
            self._source.stop()
            self._publish()
            self.ended.set()

    def _serve(self) -> None:
        """Whatever was asked, and readings that are done."""
        while not self._asked.empty():
            self._asked.get_nowait()(self._session)
        while not self._readings.empty():
            self._session.take_reading(self._readings.get_nowait())
        self._publish()

    def _handle(self, got: Piece | Trouble | Recovered | None) -> None:
        if isinstance(got, Piece):
            if self._session.round.trouble and got.samples.any():
                self._session.microphone(None, "the microphone is heard again")
            self._session.push(got)
            self._read_along()
        elif isinstance(got, Trouble):
            self._session.microphone(got.text, got.text)
        elif isinstance(got, Recovered):
            self._session.microphone(None, got.text)
            self._session.listen_to(got.sample_rate_hz, self._channels, self._channel)
        self._publish()

    def _publish(self) -> None:
        self.latest = self._session.snapshot()

    def _read_along(self) -> None:
        """Start reading the round as a whole when a spoke was added and no reading is under way."""
        if not self._reads_along or (self._reader is not None and self._reader.is_alive()):
            return
        accepted = sum(len(each) for each in self._session.round.accepted.values())
        if accepted == self._read_of or len(self._session.round.accepted) < _READ_FROM:
            return
        self._read_of = accepted
        job = self._session.reading_job()
        self._reader = threading.Thread(target=lambda: self._readings.put(job()), daemon=True)
        self._reader.start()
