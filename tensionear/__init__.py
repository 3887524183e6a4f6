"""Spoke tension from the sound of plucked spokes: the public names, few and stable, imported when first asked for."""

from __future__ import annotations

import importlib
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from .capture.recording import Recording
    from .catalogue import library_spoke
    from .errors import DeviceError, InputError, LogError, SoundError, TensionearError, UsageError, WheelFileError
    from .loading import load_wheel
    from .options import RoundOptions
    from .pipeline import read
    from .reading import Reading
    from .records.log import Log
    from .wheel.plan import plan_turns

__version__ = "0.1.0"

_HOMES = {
    "load_wheel": "loading",
    "read": "pipeline",
    "library_spoke": "catalogue",
    "plan_turns": "wheel.plan",
    "Recording": "capture.recording",
    "Reading": "reading",
    "Log": "records.log",
    "RoundOptions": "options",
    "TensionearError": "errors",
    "InputError": "errors",
    "SoundError": "errors",
    "WheelFileError": "errors",
    "UsageError": "errors",
    "LogError": "errors",
    "DeviceError": "errors",
}

__all__ = [
    "load_wheel",
    "read",
    "library_spoke",
    "plan_turns",
    "Recording",
    "Reading",
    "Log",
    "RoundOptions",
    "TensionearError",
    "InputError",
    "SoundError",
    "WheelFileError",
    "UsageError",
    "LogError",
    "DeviceError",
    "__version__",
]


def __getattr__(name: str) -> Any:
    """Import a public name from its home when it is first used, so that the command line starts fast."""
    if name not in _HOMES:
        raise AttributeError(f"module 'tensionear' has no attribute {name!r}; it has {', '.join(__all__)}")
    found = getattr(importlib.import_module(f"{__name__}.{_HOMES[name]}"), name)
    globals()[name] = found
    return found


def __dir__() -> list[str]:
    """The public names."""
    return sorted(__all__)
