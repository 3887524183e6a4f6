"""Recordings for a calibration: a wheel's round, and a spoke under one mass. Imports capture, pipeline, readings."""

from __future__ import annotations

import math
import os
from collections.abc import Mapping

import numpy as np

from tensionear.capture.files import open_sound
from tensionear.capture.recording import AudioSource, Recording
from tensionear.errors import InputError
from tensionear.listening import listen_through
from tensionear.options import RoundOptions
from tensionear.physics.expectation import expect
from tensionear.physics.observations import partials_of
from tensionear.physics.spoke import Spoke
from tensionear.pipeline import expectations_of, kinds_of
from tensionear.readings.plucks import ACCEPTED, fault_of, listed
from tensionear.readings.wheel import name_round, usable_rings
from tensionear.wheel.model import Wheel
from tensionear.wheel.sidefit import groups_of, heard_of

from .tying import HeardSpoke

Sound = str | os.PathLike[str] | Recording


def hear_round(sound: Sound, wheel: Wheel, first: int, options: RoundOptions) -> Mapping[int, HeardSpoke]:
    """What is heard of each spoke in a round; spokes whose pluck is in doubt are left out."""
    listened = listen_through(_source(sound), expectations_of(wheel))
    strikes = listed(listened)
    naming = name_round(strikes, wheel, first, options)
    found = usable_rings(strikes, naming, wheel, kinds_of(wheel), options)
    rings = {number: each.rings for number, each in found.items() if each.doubt is None}
    heard: dict[int, HeardSpoke] = {}
    for places in groups_of([place for place in wheel.places if place.number in rings]).values():
        partials = heard_of(places, rings)
        for at, place in enumerate(places):
            start = float(partials.start_log_tension[at])
            heard[place.number] = HeardSpoke(partials.log_frequency[at], partials.sd[at], start)
    return heard


def hear_hanging(sound: Sound, spoke: Spoke, free_length_m: float, pull_n: float) -> HeardSpoke:
    """What is heard of a spoke under a mass: all usable plucks of a recording together.

    Raises
    ------
    InputError
        If no pluck can be used.
    """
    source = _source(sound)
    strikes = listed(listen_through(source, [expect(spoke, free_length_m)]))
    good = [each for each in strikes if fault_of(each) is None and each.heard[0].first_modes(0)]
    needed = min(ACCEPTED, max((each.probability for each in good), default=1.0))
    heard = [each.heard[0] for each in good if each.probability >= needed]
    if not heard:
        raise InputError(
            f"{source.name}: no pluck of the hanging spoke was heard; pluck it again, nearer to the microphone"
        )
    partials = partials_of([heard], not spoke.is_flat, [math.log(pull_n)])
    return HeardSpoke(partials.log_frequency[0], partials.sd[0], float(np.log(pull_n)))


def _source(sound: Sound) -> AudioSource:
    return sound if isinstance(sound, Recording) else open_sound(sound)
