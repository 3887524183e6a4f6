"""From a recording to a reading: listen, name the plucks, fit the sides, judge. Imports everything below the dashboard."""

from __future__ import annotations

import os
from dataclasses import replace

from .capture.files import open_sound
from .capture.recording import AudioSource, Recording
from .errors import UsageError
from .listening import listen_through
from .options import RoundOptions
from .physics.expectation import expect
from .physics.generic import expect_any_tone
from .physics.spoke import Spoke
from .pitch.lines import Expectation
from .reading import Reading
from .readings.evenness import read_evenness
from .readings.singles import read_singles, read_tones
from .readings.unknown import listen_unknown
from .readings.wheel import read_wheel
from .wheel.model import Wheel
from .wheel.sheet import EMPTY, Sheet

SHORTEST_M, LONGEST_M = 0.05, 0.60


def read(
    sound: str | os.PathLike[str] | Recording,
    wheel: Wheel | None = None,
    spoke: Spoke | None = None,
    free_length_m: float | None = None,
    spokes: int | None = None,
    first: int = 1,
    options: RoundOptions | None = None,
    sheet: Sheet | None = None,
) -> Reading:
    """Read one recording.

    Parameters
    ----------
    sound : path or Recording
    wheel : Wheel, optional
        A whole round of this wheel, from spoke ``first`` on.
    spoke, free_length_m : Spoke and float, optional
        Single plucks of a spoke of this kind and free length (m), no wheel.
    spokes : int, optional
        Only the number of spokes: evenness alone; 1 gives the pitch of single plucks of anything.
    first : int
        The spoke the round starts at.
    options : RoundOptions, optional
        How the round was plucked.
    sheet : Sheet, optional
        The other readings of the sitting; only with a wheel.

    Returns
    -------
    Reading

    Raises
    ------
    SoundError
        If the recording cannot be read as sound.
    UsageError
        If not exactly one of wheel, spoke with free length, and spokes is given, or options contradict the wheel.
    """
    options = options or RoundOptions()
    source = _source(sound)
    if sum(given is not None for given in (wheel, spoke, spokes)) != 1:
        raise UsageError("give exactly one of: wheel; spoke with free_length_m; spokes (their number)")
    if wheel is not None:
        listened = listen_through(source, expectations_of(wheel, options))
        return read_wheel(source.name, listened, wheel, kinds_of(wheel), first, options, sheet or EMPTY)
    if spoke is not None:
        length_m = checked_length(free_length_m, spoke)
        return read_singles(source.name, listen_through(source, [expect(spoke, length_m)]), spoke, length_m)
    assert spokes is not None
    if spokes < 1:
        raise UsageError(f"{spokes} spokes: a wheel has at least 1; give the number of spokes")
    if spokes == 1:
        return read_tones(source.name, listen_through(source, [expect_any_tone()]))
    listened, kind = listen_unknown(source)
    return read_evenness(source.name, listened, spokes, first, options, kind)


def kinds_of(wheel: Wheel) -> tuple[Spoke, ...]:
    """The distinct kinds of spoke of a wheel, in the order they are listened for."""
    return tuple(dict.fromkeys(place.spoke for place in wheel.places))


def expectations_of(wheel: Wheel, options: RoundOptions | None = None) -> list[Expectation]:
    """What to listen for in a wheel: one expectation a kind of spoke, at the free length of the first such spoke."""
    stated = None if options is None else options.crossing
    found = []
    for kind in kinds_of(wheel):
        places = [place for place in wheel.places if place.spoke == kind]
        touch = any((stated or place.crossing) in ("touching", "tied") for place in places)
        found.append(replace(expect(kind, places[0].free_length_m), ring="touching" if touch else "free"))
    return found


def _source(sound: str | os.PathLike[str] | Recording) -> AudioSource:
    return sound if isinstance(sound, Recording) else open_sound(sound)


def checked_length(free_length_m: float | None, spoke: Spoke) -> float:
    """The free length, if a spoke can have it."""
    if free_length_m is None:
        raise UsageError("a kind of spoke alone gives no tension; give its free length too (--length MM)")
    if not SHORTEST_M <= free_length_m <= LONGEST_M:
        given, low, high = (1000 * value for value in (free_length_m, SHORTEST_M, LONGEST_M))
        raise UsageError(f"{given:.1f} mm is no free length of a spoke ({low:.0f} to {high:.0f} mm); check --length")
    if spoke.head_m + spoke.tail_m >= free_length_m:
        thick = 1000 * (spoke.head_m + spoke.tail_m)
        raise UsageError(
            f"{1000 * free_length_m:.1f} mm is shorter than the thick ends of {spoke.name} ({thick:.0f} mm); check --length"
        )
    return free_length_m
