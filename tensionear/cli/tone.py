"""``tensionear tone``: the pitch a spoke should have, to be heard. Imports errors; all that is heavy when it runs."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from tensionear.errors import InputError, UsageError

from .show import shown_units

if TYPE_CHECKING:
    from tensionear.live.tones import Sound
    from tensionear.wheel.model import Place, Wheel

_PARTIALS = 3


def tone(
    wheel: Annotated[str, typer.Argument(metavar="WHEEL", help="The wheel file (TOML).")],
    spoke: Annotated[int, typer.Option(metavar="N", help="Which spoke.")],
    target: Annotated[float | None, typer.Option(metavar="NEWTON", help="In place of the wheel file's target.")] = None,
    save: Annotated[str | None, typer.Option(metavar="FILE", help="Write it to a WAV file and play nothing.")] = None,
    quiet: Annotated[bool, typer.Option("--quiet", help="Say the pitch and play nothing.")] = False,
) -> None:
    """Play the pitch this spoke should have at its target: the first three partials, dying away as a spoke's do."""
    from tensionear.live.tones import RATE_HZ, nearest_note, spoke_tone
    from tensionear.loading import load_wheel
    from tensionear.units import in_words
    from tensionear.wheel.expected_pitch import expected_pitch, usual_partials

    described = load_wheel(wheel)
    units = shown_units(described.units)
    place, target_n = _asked(described, spoke, target)
    partials = usual_partials(place, target_n, _PARTIALS)
    expected = expected_pitch(place, target_n)
    note, cents = nearest_note(partials[0])
    sys.stdout.write(
        f"{place.label} at {in_words(f'{target_n:.0f} N', units)}: {partials[0]:.1f} Hz, {note} {cents:+.0f} cents; "
        f"{expected.hinged_hz:.0f} to {expected.clamped_hz:.0f} Hz by how stiff its ends are\n"
        f"partials: {', '.join(f'{each:.0f} Hz' for each in partials)}\n"
    )
    if place.crossing not in ("apart", None):
        sys.stdout.write(f"it is {place.crossing} at its crossing, which this pitch leaves out\n")
    sys.stdout.flush()
    sound = spoke_tone(partials)
    if save is not None:
        _save(save, sound, RATE_HZ)
    elif not quiet:
        from tensionear.capture.microphone import libraries_quiet, play_through, sound_system

        system = sound_system()
        with libraries_quiet():
            play_through(system, sound, RATE_HZ)


def _asked(wheel: Wheel, spoke: int, target: float | None) -> tuple[Place, float]:
    if not 1 <= spoke <= wheel.spokes:
        raise UsageError(f"--spoke {spoke} is no spoke of this wheel; give 1 to {wheel.spokes}")
    place = wheel.place(spoke)
    target_n = target if target is not None else wheel.sides[place.side].target_n
    if target_n is None:
        raise UsageError(
            f"no target is stated for the {place.side} side; give --target NEWTON, or target_n in the wheel file"
        )
    if not 50 <= target_n <= 3000:
        raise UsageError(f"--target {target_n:g} N is no tension of a spoke (50 to 3000 N); correct it")
    return place, target_n


def _save(path: str, sound: Sound, rate_hz: float) -> None:
    """Write a WAV file."""
    import soundfile

    if Path(path).suffix.lower() != ".wav":
        raise UsageError(f"--save {path} must end in .wav")
    try:
        soundfile.write(path, sound, round(rate_hz))
    except (OSError, soundfile.LibsndfileError) as error:
        raise InputError(f"{path} cannot be written ({error}); check the folder") from None
