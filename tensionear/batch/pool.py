"""All cores of this machine: as many worker processes, each with a thread here that feeds it. Imports values, isolated."""

from __future__ import annotations

import queue
import threading
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field

from .isolated import WORKER, Isolated
from .task import read_task
from .values import Answer, Row, Work


@dataclass(frozen=True, slots=True)
class Stop:
    """Set when no further file is to be begun; those under way are finished."""

    _event: threading.Event = field(default_factory=threading.Event)

    def set(self) -> None:
        """Begin no further file."""
        self._event.set()

    def is_set(self) -> bool:
        """Whether to stop."""
        return self._event.is_set()

    def wait(self, seconds: float) -> bool:
        """Wait so long or until it is set; whether it is."""
        return self._event.wait(seconds)


@dataclass(frozen=True, slots=True)
class _Fault:
    """What went wrong in the making of works."""

    error: BaseException


@dataclass(frozen=True, slots=True)
class Serial:
    """Reads in this process, one file after the other; nothing is set aside that hangs or crashes."""

    def answers(self, works: Iterator[Work], stop: Stop) -> Iterator[Answer]:
        """The answers, in order."""
        for work in works:
            yield work if isinstance(work, Row) else read_task(work)
            if stop.is_set():
                return


@dataclass(frozen=True, slots=True)
class Pool:
    """Worker processes on this machine.

    Parameters
    ----------
    workers : int
        How many, at least 1.
    limit_s : float or None
        What a file may take, s.
    command : sequence of str
        What starts a worker.
    """

    workers: int
    limit_s: float | None = None
    command: Sequence[str] = WORKER

    def answers(self, works: Iterator[Work], stop: Stop) -> Iterator[Answer]:
        """The answers as they come; no more than twice as many as workers are ever held here."""
        run = _Running(works, stop, [Isolated(self.limit_s, self.command) for _ in range(self.workers)])
        try:
            yield from run.answers()
        finally:
            run.close()


class _Running:
    """The threads of one run."""

    def __init__(self, works: Iterator[Work], stop: Stop, workers: list[Isolated]) -> None:
        self._works, self._stop, self._workers = works, stop, workers
        self._next = threading.Lock()
        self._out: queue.Queue[Answer | _Fault | None] = queue.Queue(maxsize=2 * len(workers))
        self._closed = threading.Event()
        self._threads = [threading.Thread(target=self._feed, args=(each,), daemon=True) for each in workers]
        for thread in self._threads:
            thread.start()

    def answers(self) -> Iterator[Answer]:
        """Until every thread has said that it is done."""
        left = len(self._threads)
        while left:
            answer = self._out.get()
            if isinstance(answer, _Fault):
                raise answer.error
            if answer is None:
                left -= 1
            else:
                yield answer

    def close(self) -> None:
        """End all workers and threads, whatever they do."""
        self._closed.set()
        self._stop.set()
        for worker in self._workers:
            worker.close()
        for thread in self._threads:
            thread.join()

    def _feed(self, worker: Isolated) -> None:
        """One worker's thread: task after task."""
        try:
            while (work := self._work()) is not None:
                answer = work if isinstance(work, Row) else worker.read(work)
                if answer is None:
                    return
                self._put(answer)
        except BaseException as error:  # noqa: BLE001 - handed to the thread that waits for answers
            self._put(_Fault(error))
        finally:
            worker.close()
            self._put(None)

    def _work(self) -> Work | None:
        """The next work; threads come one at a time."""
        with self._next:
            return None if self._stop.is_set() else next(self._works, None)

    def _put(self, answer: Answer | _Fault | None) -> None:
        """Wait for room, but not for ever once nobody takes answers any more."""
        while not self._closed.is_set():
            try:
                self._out.put(answer, timeout=0.2)
                return
            except queue.Full:
                continue
