"""A command run at every result, for a lamp, a label, a line's controls. Imports tally, lines, values."""

from __future__ import annotations

import os
import shlex
import shutil
import subprocess
from dataclasses import dataclass

from tensionear.errors import UsageError

from .lines import JSON_LINES
from .tally import word_of
from .values import Row

#: A command that takes longer is ended, s.
LIMIT_S = 30.0


@dataclass(frozen=True, slots=True)
class Hook:
    """A command with its arguments; two more are added: the verdict in one word, and the file."""

    words: tuple[str, ...]

    def run(self, row: Row) -> str | None:
        """Run it: the whole row as JSON on its standard input; what went wrong, or None.

        Verdict, file and serial are in its environment too: ``TENSIONEAR_VERDICT``, ``TENSIONEAR_FILE``,
        ``TENSIONEAR_SERIAL``. No shell comes near the name of a file.
        """
        said = {"TENSIONEAR_VERDICT": word_of(row), "TENSIONEAR_FILE": row.file, "TENSIONEAR_SERIAL": row.serial}
        try:
            done = subprocess.run(
                [*self.words, word_of(row), row.file],
                input=f"{JSON_LINES.encode(row)}\n".encode(),
                env={**os.environ, **said},
                stdout=subprocess.DEVNULL,
                stderr=subprocess.DEVNULL,
                timeout=LIMIT_S,
                check=False,
            )
        except (OSError, ValueError) as error:
            return f"--on-result: {self.words[0]} cannot be run ({getattr(error, 'strerror', None) or error})"
        except subprocess.TimeoutExpired:
            return f"--on-result: {self.words[0]} took longer than {LIMIT_S:g} s for {row.file} and was ended"
        return f"--on-result: {self.words[0]} ended with {done.returncode} for {row.file}" if done.returncode else None


def hook_of(command: str) -> Hook:
    """The command in a line of text, quoted as in a shell; UsageError if there is no such program."""
    try:
        words = _words(command, os.name)
    except ValueError as error:
        raise UsageError(f"--on-result {command!r}: {error}; close the quotes") from None
    if not words or shutil.which(words[0]) is None:
        raise UsageError(f"--on-result {command!r}: no such program; give its path, and make it executable")
    return Hook(words)


def _words(command: str, system: str) -> tuple[str, ...]:
    """Program and arguments; on Windows a backslash belongs to a path."""
    if system != "nt":
        return tuple(shlex.split(command))
    return tuple(word.strip('"') for word in shlex.split(command, posix=False))
