"""The exceptions of the package; every one says what was given, what is allowed and what to do.

::

    TensionearError
     +-- InputError            something handed in cannot be used             exit code 2
     |    +-- SoundError       a recording cannot be read as sound
     |    +-- WheelFileError   a wheel file breaks a rule of its format
     |    +-- UsageError       options or arguments that contradict each other
     |    +-- LogError         the log of rounds cannot be read or written
     +-- DeviceError           a microphone cannot be used                    exit code 3

A weak pluck, a doubtful spoke or a wheel out of its limits is a value, never an exception.
"""

from __future__ import annotations


class TensionearError(Exception):
    """Root of all errors raised on purpose by this package."""

    exit_code = 1


class InputError(TensionearError):
    """Something handed in (a file, a table, an argument) cannot be used as it is."""

    exit_code = 2


class SoundError(InputError):
    """A recording cannot be read as sound: missing, broken, silent, too low a rate."""


class WheelFileError(InputError):
    """A wheel file breaks a rule of its format; the message names the key and the remedy."""


class UsageError(InputError):
    """Arguments that contradict each other or leave out what the job needs."""


class LogError(InputError):
    """The log of rounds cannot be read or written: damaged, busy, disk full, no such round."""


class DeviceError(TensionearError):
    """A microphone or loudspeaker cannot be opened or has gone away."""

    exit_code = 3
