"""A batch on a Dask cluster, there already or started here. Imports values, isolated; dask when it is needed.

On every Dask worker the files are read by a worker process of our own, as on one machine: a file that crashes or hangs it is set
aside there, and the Dask worker lives on. If a Dask worker is lost, the scheduler gives its tasks to another one; if that
costs more workers than it allows for a task, the file is tried once more by itself.
"""

from __future__ import annotations

import logging
import threading
import time
import uuid
from collections import deque
from collections.abc import Iterator
from contextlib import ExitStack, contextmanager
from dataclasses import dataclass
from typing import Any

from tensionear.errors import InputError, TensionearError, UsageError

from .isolated import Isolated
from .pool import Stop
from .values import Answer, Row, Task, Work, failed

#: Tasks on their way for each thread of the cluster: one being read, one waiting for it.
_AHEAD = 2
#: How long a scheduler may take to answer at first, s.
_CONNECT_S = 20
#: A task whose result was on a worker that is lost is computed again.
_AGAIN = ("pending", "lost")
#: How often to look for answers, and for workers while none come; without workers for so long a cluster is given up, s.
_LOOK_S, _COUNT_S, _NONE_S = 0.05, 5.0, 60.0


@dataclass(frozen=True, slots=True)
class Cluster:
    """A Dask cluster: the address of a scheduler (``tcp://host:8786``), or ``local:N`` for N worker processes here."""

    address: str
    limit_s: float | None = None

    def answers(self, works: Iterator[Work], stop: Stop) -> Iterator[Answer]:
        """The answers as they come.

        Raises
        ------
        UsageError
            If there is no such cluster, or its workers read otherwise than this program.
        InputError
            If it is lost.
        """
        with ExitStack() as stack:
            stack.enter_context(_quiet())
            client = _client(self.address, stack)
            _check_workers(client, self.address)
            yield from _Run(client, self.limit_s, stop).answers(works)
            client.run(end_processes, on_error="ignore")


@contextmanager
def _quiet() -> Iterator[None]:
    """What goes wrong is told once, by this module."""
    before = logging.root.manager.disable
    logging.disable(logging.CRITICAL)
    try:
        yield
    finally:
        logging.disable(before)


def _client(address: str, stack: ExitStack) -> Any:
    """A client of the cluster, closed with the stack, and the cluster with it if it was started here."""
    try:
        import dask
        import distributed
    except ImportError:
        raise UsageError(
            f"--cluster {address} needs dask, which is not installed; run: pip install 'tensionear[cluster]'"
        ) from None
    library: Any = distributed  # its types are told differently from version to version
    kind, _, count = address.partition(":")
    if kind == "local":
        if not count.isdecimal() or int(count) < 1:
            raise UsageError(f"--cluster {address}: give the number of workers, such as local:4")
        import tempfile

        folder = stack.enter_context(tempfile.TemporaryDirectory(prefix="tensionear-"))
        stack.enter_context(dask.config.set({"distributed.scheduler.allowed-failures": 1}))
        cluster = stack.enter_context(
            library.LocalCluster(
                n_workers=int(count), threads_per_worker=1, dashboard_address="127.0.0.1:0", silence_logs=50,
                local_directory=folder,
            )
        )  # fmt: skip
        return stack.enter_context(library.Client(cluster))
    try:
        return stack.enter_context(library.Client(address, timeout=_CONNECT_S))
    except (OSError, ValueError) as error:
        raise UsageError(
            f"--cluster {address}: no scheduler answers ({error}); give tcp://HOST:PORT of one, or local:N"
        ) from None


def _check_workers(client: Any, address: str) -> None:
    """All workers must read as this program does, else the same file would get other numbers there."""
    from tensionear.records.versions import model_version

    own = model_version()
    try:
        found = client.run(_model_there, on_error="return")
    except (OSError, ValueError) as error:
        raise UsageError(f"--cluster {address}: its workers do not answer ({error}); look at the cluster") from None
    if not found:
        raise UsageError(f"--cluster {address} has no workers; start some with: dask worker {address}")
    for worker, model in found.items():
        if isinstance(model, BaseException):
            raise UsageError(f"--cluster {address}: {worker} has no tensionear of this version; install it there")
        if model != own:
            raise UsageError(
                f"--cluster {address}: {worker} reads with model {model}, this program with {own}; install the same there"
            )


def _model_there() -> str:
    from tensionear.records.versions import model_version

    return model_version()


class _Run:
    """One run on a cluster: so many tasks on their way, the answers streamed back."""

    def __init__(self, client: Any, limit_s: float | None, stop: Stop) -> None:
        self._client, self._limit_s, self._stop = client, limit_s, stop
        self._name = f"tensionear-{uuid.uuid4().hex[:12]}"
        self._sent: dict[str, Task] = {}
        self._blamed: deque[Task] = deque()
        self._counted = self._staffed = time.monotonic()

    def answers(self, works: Iterator[Work]) -> Iterator[Answer]:
        from distributed import as_completed
        from distributed.comm.core import CommClosedError

        try:
            yield from self._all(works, as_completed)
            while self._blamed and not self._stop.is_set():
                yield self._alone(self._blamed.popleft())
        except (CommClosedError, TimeoutError) as error:
            raise InputError(f"the cluster was lost ({error}); run the same command again to go on") from None

    def _all(self, works: Iterator[Work], as_completed: Any) -> Iterator[Answer]:
        threads = sum(self._client.nthreads().values())
        running = as_completed(raise_errors=False)
        for _ in range(_AHEAD * max(threads, 1)):
            yield from self._send_next(works, running)
        while self._sent:
            self._wait(running)
            future = next(running)
            if future.status in _AGAIN:
                running.add(future)
                continue
            task = self._sent.pop(future.key)
            yield from self._send_next(works, running)
            answer = self._answer(future, task)
            if answer is not None:
                yield answer

    def _wait(self, running: Any) -> None:
        """Until there is an answer."""
        while not running.has_ready():
            self._look()

    def _look(self) -> None:
        """Wait a moment; InputError where no answer can come any more."""
        time.sleep(_LOOK_S)
        now = time.monotonic()
        if self._client.status == "closed":
            raise InputError("the cluster was lost; run the same command again to go on")
        if now - self._counted < _COUNT_S:
            return
        self._counted = now
        if self._client.status != "running" or self._client.nthreads():
            self._staffed = now
        elif now - self._staffed > _NONE_S:
            raise InputError(
                f"the cluster has had no worker for {_NONE_S:g} s; start some, run the same command again to go on"
            )

    def _send_next(self, works: Iterator[Work], running: Any) -> Iterator[Row]:
        """Send the next task, if there is one; rows that come before it are passed on."""
        while not self._stop.is_set() and (work := next(works, None)) is not None:
            if isinstance(work, Row):
                yield work
                continue
            future = self._send(work, "")
            self._sent[future.key] = work
            running.add(future)
            return

    def _send(self, task: Task, again: str) -> Any:
        return self._client.submit(
            read_there, task, self._limit_s, key=f"{self._name}-{task.job.number}{again}", pure=False
        )

    def _answer(self, future: Any, task: Task) -> Answer | None:
        """What a finished task came to; None if it lost its worker too often and is to be tried by itself."""
        from distributed import KilledWorker

        if future.status == "finished":
            answer: Answer = future.result()
            return answer
        error = future.exception() if future.status == "error" else None
        if isinstance(error, KilledWorker):
            self._blamed.append(task)
            return None
        if isinstance(error, TensionearError):
            raise error
        raise InputError(f"the cluster was lost ({error or future.status}); run the same command again to go on")

    def _alone(self, task: Task) -> Answer:
        """A task that lost its worker, when no other one is running that could have been the cause."""
        future = self._send(task, "-alone")
        while future.status in _AGAIN:
            self._look()
        answer = self._answer(future, task)
        if answer is None:
            self._blamed.pop()
            return failed(task.job, "crash", f"{task.job.file} ended its worker again and again; read it alone")
        return answer


#: The worker process of each thread of a Dask worker, with the time limit it was started for.
_PROCESSES: dict[tuple[int, float | None], Isolated] = {}


def read_there(task: Task, limit_s: float | None) -> Answer:
    """Read a task on a Dask worker, in a process of its own."""
    at = (threading.get_ident(), limit_s)
    if at not in _PROCESSES:
        _PROCESSES[at] = Isolated(limit_s)
    answer = _PROCESSES[at].read(task)
    if answer is None:  # ended by another run that came to its end
        del _PROCESSES[at]
        return read_there(task, limit_s)
    return answer


def end_processes() -> None:
    """End the processes of a Dask worker."""
    for at in list(_PROCESSES):
        _PROCESSES.pop(at).close()
