"""The command line; the one place where errors become exit codes. Imports errors; the commands are imported in `main`.

Exit codes: 0 done, 1 ``--strict`` and not within limits, 2 bad input or usage, 3 audio device, 130 interrupted.
"""

from __future__ import annotations

import io
import os
import sys
from collections.abc import Sequence
from contextlib import suppress

from tensionear.errors import TensionearError

BAD_INPUT = 2
INTERRUPTED = 130
#: A message is one line that can be read, however long the text is that it quotes.
_LONGEST = 1000


def main(arguments: Sequence[str] | None = None) -> int:
    """Run the command line and give its exit code.

    Whatever a user can do wrong is one line on standard error; with ``--debug`` the traceback is shown instead. A
    closed pipe ends the program quietly, and signs that the output's encoding lacks become question marks.
    """
    _open_closed_streams()
    given = list(sys.argv[1:] if arguments is None else arguments)
    debug = "--debug" in given
    given = [argument for argument in given if argument != "--debug"]
    for stream in (sys.stdout, sys.stderr):
        if isinstance(stream, io.TextIOWrapper):
            stream.reconfigure(errors="replace")
    try:
        code = _run(given)
        sys.stdout.flush()
        return code
    except (BrokenPipeError, SystemExit):  # typer turns a closed pipe into SystemExit, and nothing else
        _discard_output()
        return 0
    except KeyboardInterrupt:
        return INTERRUPTED
    except Exception as error:  # here, and only here, every error becomes an exit code
        if debug:
            raise
        return report(error)


def _run(arguments: list[str]) -> int:
    """Run the app; its commands set their code by ``typer.Exit``, which comes back as a number."""
    from .app import app

    code = app(arguments, prog_name="tensionear", standalone_mode=False)
    return code if isinstance(code, int) else 0


def report(error: Exception) -> int:
    """Say an error in one line on standard error and give its exit code."""
    with suppress(OSError):  # where even that cannot be written, the exit code alone tells
        sys.stderr.write(f"tensionear: {one_line(error)}\n")
        sys.stderr.flush()
    if isinstance(error, TensionearError):
        return error.exit_code
    return INTERRUPTED if type(error).__name__ == "Abort" else BAD_INPUT


def one_line(error: Exception) -> str:
    """The message of an error without line breaks or other control characters."""
    if isinstance(error, TensionearError):
        said = str(error)
    elif hasattr(error, "format_message"):
        said = f"{error.format_message().rstrip('.')}; tensionear --help lists what there is"
    elif type(error).__name__ == "Abort":
        said = "stopped"
    elif isinstance(error, OSError) and error.strerror:
        said = f"{error.filename or 'the output'}: {error.strerror}; check it and try again"
    else:
        said = f"{type(error).__name__}: {error}; this should not happen: run again with --debug to see where"
    if len(said) > _LONGEST:  # what is wrong stands at the start, what to do at the end
        said = f"{said[: _LONGEST - 200]} [...] {said[-200:]}"
    return "".join(sign if sign.isprintable() else " " for sign in said)


def _open_closed_streams() -> None:
    """Where a standard stream was closed before the start, open one at nothing, lest a file gets its number."""
    for name, mode in (("stdin", "r"), ("stdout", "w"), ("stderr", "w")):
        if getattr(sys, name) is None:
            setattr(sys, name, open(os.devnull, mode, encoding="utf-8"))  # noqa: SIM115, PTH123 - open until the end


def _discard_output() -> None:
    """Point standard output at nothing, so that its flush at exit cannot fail again."""
    nothing = os.open(os.devnull, os.O_WRONLY)
    os.dup2(nothing, sys.stdout.fileno())
    os.close(nothing)
