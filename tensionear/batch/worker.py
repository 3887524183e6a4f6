"""A worker process: takes tasks on standard input, gives answers on standard output, ends when the input does.

Imports the task; `isolated` is its other end. A file that hangs it or brings it down does no harm to any other process.
"""

from __future__ import annotations

import faulthandler
import os
import pickle
import signal
import sys
from typing import BinaryIO

#: Beyond the time limit, after which a worker ends itself should nobody be left to end it.
GRACE_S = 30.0


def main(arguments: list[str]) -> None:
    """Answer tasks until the input ends; the argument is the time limit of a file in seconds (none: no limit)."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    limit_s = float(arguments[0]) if arguments else None
    with os.fdopen(os.dup(1), "wb") as answers:
        nothing = os.open(os.devnull, os.O_WRONLY)
        os.dup2(nothing, 1)  # what libraries print goes nowhere
        from . import task  # noqa: F401 - what keeps it from starting is said on standard error

        pickle.dump("ready", answers)
        answers.flush()
        os.dup2(nothing, 2)
        serve(sys.stdin.buffer, answers, limit_s)


def serve(tasks: BinaryIO, answers: BinaryIO, limit_s: float | None) -> None:
    """Answer one task after the other."""
    from .task import read_task

    while True:
        try:
            task = pickle.load(tasks)
        except EOFError:
            return
        if limit_s is not None:
            faulthandler.dump_traceback_later(limit_s + GRACE_S, exit=True)
        answer = read_task(task)
        faulthandler.cancel_dump_traceback_later()
        try:
            pickle.dump(answer, answers)
            answers.flush()
        except BrokenPipeError:
            return


if __name__ == "__main__":
    main(sys.argv[1:])
