"""Microphones as a list, the one to take, and what an error of the sound system means for its user. Imports errors only.

Everything here is about values; the module ``microphone`` asks the sound system for them.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from tensionear.errors import DeviceError

#: On Linux these share the microphone with other programs, and survive its being unplugged; raw devices do neither.
_PREFERRED = ("pipewire", "pulse", "default")
#: Their ALSA plug-ins claim 44100 Hz whatever the server runs at, which is this unless told otherwise (common practice, no
#: source); asking for the claimed rate would have it resample.
_SHARED_RATE_HZ = 48_000.0
#: Windows' own choice (MME) cuts names at 31 signs and sound at 16 bit.
PREFERRED_HOST = "Windows WASAPI"

#: PortAudio's error numbers (portaudio.h) that a user can do something about.
_UNANTICIPATED, _RATE, _UNAVAILABLE, _INVALID = -9999, -9997, -9985, -9996
#: A rate that is not the mixer's is refused with either of these, by the age of PortAudio.
REFUSED_RATE = (_RATE, _INVALID)


@dataclass(frozen=True, slots=True)
class InputDevice:
    """A microphone: ``index`` holds until devices change; ``name`` with ``host`` finds it again afterwards."""

    index: int
    name: str
    host: str
    channels: int
    sample_rate_hz: float
    is_default: bool


def inputs_among(
    devices: Sequence[Mapping[str, Any]], hosts: Sequence[Mapping[str, Any]], default: int
) -> list[InputDevice]:
    """The inputs among the sound system's devices; ``default`` is the index of its own choice, negative for none."""
    found = []
    for index, each in enumerate(devices):
        if int(each["max_input_channels"]) < 1:
            continue
        host = str(hosts[int(each["hostapi"])]["name"])
        rate = _SHARED_RATE_HZ if each["name"] in _PREFERRED else float(each["default_samplerate"])
        found.append(
            InputDevice(index, str(each["name"]), host, int(each["max_input_channels"]), rate, index == default)
        )
    return found


def choose(inputs: Sequence[InputDevice], wanted: str | None) -> InputDevice:
    """The microphone asked for, by number or by part of its name; without a wish the one that serves best.

    Raises
    ------
    DeviceError
        If there is none, or the wish fits none or several.
    """
    if not inputs:
        raise DeviceError("no microphone found; plug one in, or allow this terminal to use it, and try again")
    if wanted is None:
        return min(inputs, key=_rank)
    if wanted.isdecimal():
        fitting = [each for each in inputs if each.index == int(wanted)]
    else:
        fitting = [each for each in inputs if each.name == wanted]
        fitting = fitting or [each for each in inputs if wanted.casefold() in each.name.casefold()]
    if len(fitting) == 1:
        return fitting[0]
    if not fitting:
        numbers = ", ".join(f"{each.index} {each.name}" for each in inputs)
        raise DeviceError(f"{wanted!r} is no microphone here; there are: {numbers}")
    hosts = ", ".join(f"{each.index} ({each.host})" for each in fitting)
    raise DeviceError(f"{wanted!r} fits several microphones; give a number: {hosts}")


def _rank(device: InputDevice) -> tuple[int, int, int]:
    shared = _PREFERRED.index(device.name) if device.name in _PREFERRED else len(_PREFERRED)
    return shared, 0 if device.host == PREFERRED_HOST else 1, 0 if device.is_default else 1


def again(inputs: Sequence[InputDevice], before: InputDevice) -> InputDevice | None:
    """The same microphone after devices changed, by name and host; None if it is not there."""
    return next((each for each in inputs if (each.name, each.host) == (before.name, before.host)), None)


def explained(code: int | None, device: str, system: str) -> str:
    """What an error of the sound system means and what to do, in one line.

    Parameters
    ----------
    code : int or None
        PortAudio's number, None where it gave none.
    device : str
        What the microphone is called.
    system : str
        ``platform.system()``: Linux, Darwin, Windows.
    """
    if system == "Windows" and code in (_UNANTICIPATED, _INVALID):
        return f"{device} may not be used: Settings, Privacy, Microphone: allow desktop apps to use it; then try again"
    if code in REFUSED_RATE:
        return f"{device} refuses the sample rate; set it to 48000 Hz in the system's sound settings"
    if code == _UNAVAILABLE:
        return f"{device} is in use by another program; close that, or choose another with --input"
    return f"{device} cannot be opened; is it plugged in and switched on? tensionear inputs lists what there is"


def silence_explained(system: str) -> str:
    """What exact zeros from a microphone mean; nothing real is that quiet."""
    if system == "Darwin":
        return (
            "only zeros come: allow the terminal under System Settings, Privacy & Security, Microphone, and start it "
            "anew; a closed lid or a mute key silences it too"
        )
    if system == "Windows":
        return (
            "only zeros come: unmute it under Settings, Sound, Input, and allow desktop apps under Privacy, Microphone"
        )
    return "only zeros come: it is muted; unmute it in the sound settings or with its own switch (a closed lid may mute it)"


MISSING = (
    "the library PortAudio is missing, without it no microphone can be heard (recordings are read all the same); "
    "install it: apt install libportaudio2, dnf install portaudio, or brew install portaudio"
)
