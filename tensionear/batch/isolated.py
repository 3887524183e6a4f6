"""One worker process seen from outside: started when needed, ended when it hangs, replaced when it dies. Imports values."""

from __future__ import annotations

import contextlib
import os
import pickle
import subprocess
import sys
import threading
from collections.abc import Sequence
from pathlib import Path

from tensionear.errors import InputError

from .values import Answer, Task, failed

#: Where this package lies: a worker runs this very code, wherever it was started from and whatever else is installed.
_ROOT = str(Path(__file__).resolve().parents[2])
_START = (
    f"import sys; sys.path.insert(0, {_ROOT!r}); import tensionear; del sys.path[0]; "
    "from tensionear.batch.worker import main; main(sys.argv[1:])"
)
#: ``-P``: nothing is imported from the folder the user happens to be in.
WORKER = (sys.executable, "-P", "-c", _START)
#: A file is tried this often when its worker dies: the worker may have been killed for another reason than the file.
TRIES = 2
#: What a worker may take to start, s.
START_S = 120.0
#: Threads inside numerical libraries would compete with the other workers.
_ONE_THREAD = dict.fromkeys(("OPENBLAS_NUM_THREADS", "OMP_NUM_THREADS", "MKL_NUM_THREADS"), "1")


class Isolated:
    """A worker process, one task at a time. Not to be shared between threads, except for `close`."""

    def __init__(self, limit_s: float | None, command: Sequence[str] = WORKER) -> None:
        self._limit_s = limit_s
        self._command = [*command, *([] if limit_s is None else [str(limit_s)])]
        self._process: subprocess.Popen[bytes] | None = None
        self._closed = False
        self._lock = threading.Lock()

    @property
    def pid(self) -> int | None:
        """The process id of the worker, if there is one."""
        process = self._process
        return None if process is None else process.pid

    def read(self, task: Task) -> Answer | None:
        """The answer to a task: its row, a row that says why there is none, or None once this is closed.

        Raises
        ------
        InputError
            If no worker can be started.
        """
        code: int | None = None
        for _ in range(TRIES):
            process = self._started()
            if process is None:
                return None
            late = threading.Event()
            answer = self._asked(process, task, late)
            if answer is not None:
                return answer
            self._end(process)
            code = process.returncode
            if self._closed:
                return None
            if late.is_set():
                reason = f"{task.job.file} took longer than the time limit of {self._limit_s:g} s; raise --time-limit"
                return failed(task.job, "time-limit", reason)
        return failed(
            task.job, "crash", f"{task.job.file} ended its worker {TRIES} times (exit code {code}); read it alone"
        )

    def close(self) -> None:
        """End the worker at once; a `read` under way returns None."""
        with self._lock:
            self._closed = True
            process = self._process
        if process is not None:
            self._end(process)

    def _started(self) -> subprocess.Popen[bytes] | None:
        """A worker that is ready; None once this is closed."""
        process, said = self._process, None
        if process is not None and process.poll() is None:
            return process
        for _ in range(TRIES):
            process = self._launched()
            if process is None:
                return None
            said = _said_until_ready(process)
            if said is None:
                return process
            self._end(process)
        if self._closed:
            return None
        raise InputError(
            f"worker processes end as they start: {said}; reinstall tensionear, or read without them: --workers 0"
        )

    def _launched(self) -> subprocess.Popen[bytes] | None:
        with self._lock:
            if self._closed:
                return None
            if self._process is not None:
                self._end(self._process)
            self._process = subprocess.Popen(
                self._command,
                stdin=subprocess.PIPE,
                stdout=subprocess.PIPE,
                stderr=subprocess.PIPE,
                env={**os.environ, **_ONE_THREAD},
                start_new_session=True,  # Ctrl-C in the terminal is for this process alone
            )
            return self._process

    def _asked(self, process: subprocess.Popen[bytes], task: Task, late: threading.Event) -> Answer | None:
        """The answer, or None if the process died; if that was for the time limit, ``late`` is set."""
        assert process.stdin is not None
        assert process.stdout is not None

        def out_of_time() -> None:
            late.set()
            process.kill()

        timer = None if self._limit_s is None else threading.Timer(self._limit_s, out_of_time)
        if timer is not None:
            timer.daemon = True
            timer.start()
        try:
            pickle.dump(task, process.stdin)
            process.stdin.flush()
            answer: Answer = pickle.load(process.stdout)
            return answer
        except (EOFError, OSError, ValueError, pickle.UnpicklingError):
            return None
        finally:
            if timer is not None:
                timer.cancel()

    def _end(self, process: subprocess.Popen[bytes]) -> None:
        process.kill()
        process.wait()
        for pipe in (process.stdin, process.stdout, process.stderr):
            if pipe is not None:
                with contextlib.suppress(OSError):
                    pipe.close()


def _said_until_ready(process: subprocess.Popen[bytes]) -> str | None:
    """None once a worker is ready, or the last line that it said before it ended.

    A worker keeps its standard error open until it is ready, and then sends one word.
    """
    assert process.stderr is not None
    assert process.stdout is not None
    timer = threading.Timer(START_S, process.kill)
    timer.daemon = True
    timer.start()
    lines: list[str] = []
    try:
        lines = process.stderr.read().decode(errors="replace").splitlines()
        pickle.load(process.stdout)
        return None
    except (EOFError, OSError, ValueError, pickle.UnpicklingError):
        process.wait()
        words = [line.strip() for line in lines if line.strip()]
        return f"exit code {process.returncode}" + (f", {words[-1]}" if words else "")
    finally:
        timer.cancel()
