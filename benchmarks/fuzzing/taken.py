"""Whether a broken input was taken well: read, or refused in one sentence with exit code 2. Imports the command line."""

from __future__ import annotations

import contextlib
import io
import os
import traceback
import warnings
from collections.abc import Callable, Sequence
from functools import cache
from pathlib import Path
from typing import Any
from unittest import mock

import typer

from tensionear.cli import app as app_module
from tensionear.cli import main, one_line
from tensionear.errors import TensionearError

READ, REFUSED = "read", "refused"
#: What the command line says of an error that nobody foresaw.
UNFORESEEN = "this should not happen"
#: No sentence is shorter, and none so long that it hides what it says.
_SHORTEST, _LONGEST = 12, 8000


class FaultError(Exception):
    """An input was not taken well; says how."""


def taken(read: Callable[[], object]) -> str:
    """Run what reads, in silence; `READ` or `REFUSED`.

    Raises
    ------
    FaultError
        For any error but the package's own, for a message that is no sentence, and for a warning of the arithmetic.
    """
    silence = io.StringIO()
    try:
        with contextlib.redirect_stdout(silence), contextlib.redirect_stderr(silence), warnings.catch_warnings():
            warnings.simplefilter("error", RuntimeWarning)
            read()
    except TensionearError as error:
        hold(error)
        return REFUSED
    except FaultError:
        raise
    except OSError as error:
        if error.strerror is None:
            raise FaultError("".join(traceback.format_exception(error))) from None
        hold(error)  # the command line says the system's own words
        return REFUSED
    except Exception as error:  # noqa: BLE001 - every other error is what is looked for
        raise FaultError("".join(traceback.format_exception(error))) from None
    return READ


@cache
def built() -> Any:
    """The command line put together once: of a run of a few milliseconds that is nearly all."""
    return typer.main.get_command(app_module.app)


def command(arguments: Sequence[str]) -> None:
    """Run a command line in this process; whatever its error is, it comes out as itself.

    Raises
    ------
    FaultError
        If an error nobody foresaw was told of one of several inputs, or the exit code is none of those there are.
    """
    shown, heard = io.StringIO(), io.StringIO()
    try:
        with (
            contextlib.redirect_stdout(shown),
            mock.patch.object(app_module, "app", built()),
            contextlib.redirect_stderr(heard),
            Path(os.devnull).open() as nothing,
            _input(nothing),
        ):
            code = main([*arguments, "--debug"])
    except OSError as error:
        if error.strerror is None:
            raise
        raise TensionearError(one_line(error)) from None
    except Exception as error:
        if not hasattr(error, "format_message") and type(error).__name__ != "Abort":
            raise
        raise TensionearError(one_line(error)) from None
    said = heard.getvalue()
    if UNFORESEEN in said or "Traceback" in said:
        raise FaultError(said)
    if code not in (0, 1, 2, 3):
        raise FaultError(f"exit code {code}: {said}")
    if code in (2, 3):
        last = (said.strip() or shown.getvalue().strip()).splitlines()[-1:]
        raise TensionearError("".join(last))


@contextlib.contextmanager
def _input(stream: io.TextIOBase):  # type: ignore[no-untyped-def]
    import sys

    before, sys.stdin = sys.stdin, stream
    try:
        yield
    finally:
        sys.stdin = before


def hold(error: Exception) -> None:
    """`FaultError` if an error says no sentence."""
    said = one_line(error)
    if not (_SHORTEST <= len(said) <= _LONGEST and " " in said.strip()):
        raise FaultError(f"no sentence, {len(said)} signs: {said[:300]!r} ({type(error).__name__})")


def written(folder: Path, name: str, data: bytes) -> str:
    """The path of a file of these bytes."""
    path = folder / name
    path.write_bytes(data)
    return str(path)
