"""``tensionear inputs``: the microphones there are, and what one is like. Imports errors; capture when it runs."""

from __future__ import annotations

import sys
import time
from typing import TYPE_CHECKING, Annotated

import typer

from tensionear.errors import DeviceError, UsageError

if TYPE_CHECKING:
    from tensionear.capture.levels import Examined
    from tensionear.capture.microphone import Microphone

_SHORTEST_S, _LONGEST_S = 1.0, 60.0


def inputs(
    check: Annotated[bool, typer.Option("--check", help="Listen to one for a while and say what it is like.")] = False,
    wanted: Annotated[str | None, typer.Option("--input", metavar="NAME", help="Which one, by number or name.")] = None,
    seconds: Annotated[float, typer.Option(metavar="S", help="How long --check listens.")] = 5.0,
) -> None:
    """List the microphones; --check shows level, noise floor, hum, clipping, band edge and signs of a voice filter."""
    from tensionear.capture.devices import choose
    from tensionear.capture.microphone import list_inputs, open_microphone, sound_system

    if not _SHORTEST_S <= seconds <= _LONGEST_S:
        raise UsageError(f"--seconds {seconds:g} is not {_SHORTEST_S:g} to {_LONGEST_S:g}; 5 will do")
    if not check:
        found = list_inputs(sound_system())
        taken = choose(found, wanted)
        for each in found:
            mark = "*" if each == taken else " "
            channels = "1 channel" if each.channels == 1 else f"{each.channels} channels"
            sys.stdout.write(
                f"{mark} {each.index:>3}  {each.name}  ({each.host}; {channels}, {each.sample_rate_hz:.0f} Hz)\n"
            )
        sys.stdout.write("* is taken if you name none; --input takes another, --check listens to it\n")
        return
    microphone = open_microphone(wanted)
    try:
        sys.stdout.write(
            f"{microphone.device.name}: pluck a spoke every two seconds, be quiet between; {seconds:g} s\n"
        )
        sys.stdout.flush()
        for line in check_lines(*_heard(microphone, seconds)):
            sys.stdout.write(f"{line}\n")
    finally:
        microphone.stop()


def _heard(microphone: Microphone, seconds: float) -> tuple[Examined, float]:
    """Listen for so long: what it is like, and seconds of sound that were lost; exact zeros are examined like any sound."""
    import numpy as np

    from tensionear.capture.levels import examine
    from tensionear.capture.microphone import Piece, Trouble

    pieces: list[Piece] = []
    silent = None
    end = time.monotonic() + seconds + 1.0
    while time.monotonic() < end and sum(len(each.samples) for each in pieces) < seconds * microphone.sample_rate_hz:
        got = microphone.take(0.1)
        if isinstance(got, Piece):
            pieces.append(got)
        elif isinstance(got, Trouble):
            silent = got.text
    if not pieces:
        raise DeviceError(silent or f"{microphone.device.name} gives no sound; choose another with --input")
    sound = np.concatenate([each.samples for each in pieces])
    channel = int(np.argmax(np.mean(sound.astype(np.float64) ** 2, axis=0)))
    if silent and not sound.any():
        raise DeviceError(silent)
    return examine(sound[:, channel], microphone.sample_rate_hz), microphone.counter.lost_s


def check_lines(found: Examined, lost_s: float) -> list[str]:
    """What was found, line by line, each with what to do."""
    lines = [
        f"level         {found.loud_db:6.0f} dB"
        + ("  CLIPPED: move it away or turn its gain down" if found.clipped else ""),
        f"noise floor   {found.floor_db:6.0f} dB" + _room(found),
        f"hum           {f'{found.hum_hz:.0f} Hz, {found.hum_db:.0f} dB over its surroundings' if found.hum_hz else 'none'}",
        f"band up to    {found.edge_hz:6.0f} Hz",
        f"sound lost    {1000 * lost_s:6.0f} ms" + ("  close other programs" if lost_s > 0 else ""),
    ]
    lines += [f"voice filter suspected: {sign}; turn it off, it eats the ring" for sign in found.processing]
    if not found.processing:
        lines.append("no sign of a voice filter")
    return lines


def _room(found: Examined) -> str:
    """Whether what was loud stands out enough."""
    over = found.loud_db - found.floor_db
    if over < 12:
        return f"  nothing stands {over:.0f} dB out of it: pluck a spoke near the microphone"
    return f"  plucks stand {over:.0f} dB out of it"
