"""What is plucked, a wheel or a number of spokes: what to listen for, what one pluck says, the reading of a round.

Imports pipeline, readings, wheel and physics.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Protocol

import numpy as np

from tensionear.errors import UsageError
from tensionear.listening import Listened, Strike
from tensionear.options import RoundOptions
from tensionear.physics.expectation import LOG_TENSION
from tensionear.physics.generic import expect_any_spoke
from tensionear.pipeline import expectations_of, kinds_of
from tensionear.pitch.lines import Expectation, Heard
from tensionear.reading import Reading
from tensionear.readings.evenness import read_evenness, read_evenness_named
from tensionear.readings.plucks import first_modes, listed
from tensionear.readings.unknown import hear_unknown_again
from tensionear.readings.wheel import read_named, read_wheel
from tensionear.wheel.model import Wheel
from tensionear.wheel.roundplan import plan_round
from tensionear.wheel.sequence import Candidate, Naming
from tensionear.wheel.sidefit import Rings, fit_side

from .events import Lines, Value

_FELLOWS = 7  # spokes of its side that a pluck is fitted with: enough to know the ends by, few enough to be quick
_FIRST_LOOK_PERCENT = 2.0  # one standard deviation of a number from a tenth of a second; seen on simulated rounds
_WHOLE_LENGTH = ("apart", None)
#: Spokes of a side that must be read before a deviation from their mean is told.
_ENOUGH = 3


@dataclass(frozen=True, slots=True, eq=False)
class Counted:
    """An accepted pluck: what was heard and what it said."""

    strike: Strike
    value: Value


Others = Mapping[int, Sequence[Counted]]


@dataclass(frozen=True, slots=True)
class Names:
    """Which of the listed strikes (from 0) is which spoke, and whether the lap was closed."""

    spokes: Mapping[int, int]
    closed: bool


class Subject(Protocol):
    """What is plucked."""

    @property
    def spokes(self) -> int:
        """How many there are."""
        ...

    @property
    def title(self) -> str:
        """What to call it."""
        ...

    @property
    def hears_again(self) -> bool:
        """Whether a whole round is heard again from the sounds of its plucks, which then have to be kept."""
        ...

    def expectations(self) -> list[Expectation]:
        """What to listen for."""
        ...

    def plan(self, first: int, options: RoundOptions) -> tuple[int, ...]:
        """The spokes in the order they are plucked."""
        ...

    def side(self, spoke: int) -> str:
        """Which spokes it is alike with: those of its side."""
        ...

    def label(self, spoke: int) -> str:
        """What a spoke is called."""
        ...

    def glance(self, spoke: int, strike: Strike) -> Value | None:
        """What a first look says, at no cost; None if nothing."""
        ...

    def weigh(self, spoke: int, strike: Strike, others: Others) -> Value | None:
        """What a pluck says, together with the accepted plucks of the others."""
        ...

    def read(self, file: str, listened: Listened, first: int, options: RoundOptions) -> Reading:
        """The reading of a recording, its plucks named by the whole of it."""
        ...

    def read_named(self, file: str, listened: Listened, names: Names, options: RoundOptions) -> Reading:
        """The reading of a round whose plucks were named as they came."""
        ...


class WheelSubject:
    """A described wheel.

    Parameters
    ----------
    wheel : Wheel
    earlier_n : mapping of int to float, optional
        Tensions read before; they stand for spokes that are not plucked anew when a side's mean is told.
    """

    def __init__(self, wheel: Wheel, earlier_n: Mapping[int, float] | None = None) -> None:
        self.wheel, self._earlier_n = wheel, dict(earlier_n or {})
        self._kinds = kinds_of(wheel)

    @property
    def spokes(self) -> int:
        """How many spokes the wheel has."""
        return self.wheel.spokes

    @property
    def title(self) -> str:
        """Its name."""
        return self.wheel.name

    @property
    def hears_again(self) -> bool:
        """No: its spokes are known from the start."""
        return False

    def expectations(self) -> list[Expectation]:
        """One a kind of spoke."""
        return expectations_of(self.wheel)

    def plan(self, first: int, options: RoundOptions) -> tuple[int, ...]:
        """The spokes in the order they are plucked."""
        letters = "".join("R" if place.side == "right" else "L" for place in self.wheel.places)
        return plan_round(self.spokes, letters, first, options.order, options.direction, options.missing).spokes

    def side(self, spoke: int) -> str:
        """right or left."""
        return self.wheel.place(spoke).side

    def label(self, spoke: int) -> str:
        """R1, L1 and so on."""
        return self.wheel.place(spoke).label

    def glance(self, spoke: int, strike: Strike) -> Value | None:
        """The tension of the state that explains the lines best."""
        heard, pitch_hz = self._heard(spoke, strike)
        if pitch_hz is None:
            return None
        if self.wheel.place(spoke).crossing not in _WHOLE_LENGTH or not heard.candidates:
            return Value(pitch_hz)
        tension = float(np.exp(LOG_TENSION[heard.candidates[0].state_index]))
        return Value(pitch_hz, tension, tension * _FIRST_LOOK_PERCENT / 100)

    def weigh(self, spoke: int, strike: Strike, others: Others) -> Value | None:
        """Fitted together with the last few spokes of its side, which tell what the ends are like."""
        heard, pitch_hz = self._heard(spoke, strike)
        if pitch_hz is None:
            return None
        place = self.wheel.place(spoke)
        fellows = [each for each in self.wheel.places if each.side == place.side and each.number != spoke]
        earlier = [
            self._earlier_n[one.number] for one in fellows if one.number in self._earlier_n.keys() - others.keys()
        ]
        fellows = [each for each in fellows if others.get(each.number)]
        counted = [others[each.number][-1] for each in fellows]
        if place.crossing not in _WHOLE_LENGTH or not heard.candidates:
            return against(Value(pitch_hz), [each.value for each in counted])
        rings = {spoke: _rings(heard)}
        for each in sorted(fellows, key=lambda one: others[one.number][-1].strike.onset_s)[-_FELLOWS:]:
            found, pitch = self._heard(each.number, others[each.number][-1].strike)
            if pitch is not None and found.candidates:
                rings[each.number] = _rings(found)
        fit = fit_side([each for each in self.wheel.places if each.number in rings], rings, self.wheel.learned)
        one = fit.spokes[spoke]
        value = Value(pitch_hz, one.tension_n, one.u_tension_n, None, 100 * one.u_individual_n / one.tension_n)
        return against(value, [each.value for each in counted], earlier)

    def read(self, file: str, listened: Listened, first: int, options: RoundOptions) -> Reading:
        """As ``tensionear read --wheel``."""
        return read_wheel(file, listened, self.wheel, self._kinds, first, options)

    def read_named(self, file: str, listened: Listened, names: Names, options: RoundOptions) -> Reading:
        """The same with names that are known."""
        naming = certain(names, len(listed(listened)))
        return read_named(file, listened, self.wheel, self._kinds, naming, options)

    def _heard(self, spoke: int, strike: Strike) -> tuple[Heard, float | None]:
        heard = strike.heard[self._kinds.index(self.wheel.place(spoke).spoke)]
        main, _ = first_modes(heard, True)
        return heard, main.frequency_hz if main else None


class CountSubject:
    """A wheel of which only the number of spokes is known."""

    def __init__(self, spokes: int) -> None:
        if spokes < 2:
            raise UsageError(f"{spokes} spokes make no round; give the number of spokes of the wheel")
        self._spokes = spokes

    @property
    def spokes(self) -> int:
        """How many there are."""
        return self._spokes

    @property
    def title(self) -> str:
        """What to call it."""
        return f"a wheel of {self._spokes} spokes"

    @property
    def hears_again(self) -> bool:
        """Yes: only the whole round tells what kind its spokes are."""
        return True

    def expectations(self) -> list[Expectation]:
        """Any spoke."""
        return [expect_any_spoke()]

    def plan(self, first: int, options: RoundOptions) -> tuple[int, ...]:
        """The spokes in the order they are plucked."""
        return plan_round(self._spokes, None, first, options.order, options.direction, options.missing).spokes

    def side(self, spoke: int) -> str:
        """Every second spoke is on the same side on most wheels."""
        return "odd" if spoke % 2 else "even"

    def label(self, spoke: int) -> str:
        """Its number."""
        return str(spoke)

    def glance(self, spoke: int, strike: Strike) -> Value | None:  # noqa: ARG002 - any spoke is heard alike
        """Its pitch."""
        main, _ = first_modes(strike.heard[0], True)
        return Value(main.frequency_hz) if main else None

    def weigh(self, spoke: int, strike: Strike, others: Others) -> Value | None:
        """Its pitch against that of every second spoke, which is its side on most wheels."""
        main, _ = first_modes(strike.heard[0], True)
        if main is None:
            return None
        fellows = [each[-1].value for number, each in others.items() if number % 2 == spoke % 2 and number != spoke]
        return against(Value(main.frequency_hz), fellows)

    def read(self, file: str, listened: Listened, first: int, options: RoundOptions) -> Reading:
        """As ``tensionear read --spokes``, if the sounds of the plucks are there."""
        again, kind = hear_unknown_again(listened)
        return read_evenness(file, again, self._spokes, first, options, kind)

    def read_named(self, file: str, listened: Listened, names: Names, options: RoundOptions) -> Reading:
        """The same with names that are known."""
        again, kind = hear_unknown_again(listened)
        spoke_at = {listed(listened)[index].onset_s: spoke for index, spoke in names.spokes.items()}
        onsets = [strike.onset_s for strike in listed(again)]
        known = {index: spoke_at[onset_s] for index, onset_s in enumerate(onsets) if onset_s in spoke_at}
        naming = certain(replace(names, spokes=known), len(onsets))
        return read_evenness_named(file, again, self._spokes, naming, options, kind)


def certain(names: Names, strikes: int) -> Naming:
    """Names that a person watched being given, as the naming of so many strikes."""
    candidates: dict[int, tuple[Candidate, ...]] = {}
    for index, spoke in sorted(names.spokes.items()):
        before = candidates.get(spoke, ())
        candidates[spoke] = (*before, Candidate(index, 1.0, 0.0 if before else 1.0))
    spokes = tuple(names.spokes.get(index) for index in range(strikes))
    named = tuple(index in names.spokes for index in range(strikes))
    return Naming(spokes, tuple(float(each) for each in named), named, candidates, names.closed, False, ())


def lines_of(strike: Strike) -> Lines:
    """The partials of a pluck that a spoke can have."""
    named = [line for line in strike.heard[strike.best].lines if line.mode is not None]
    return Lines(tuple(line.frequency_hz for line in named), tuple(line.energy_db for line in named))


def _rings(heard: Heard) -> Rings:
    return Rings((heard,), float(LOG_TENSION[heard.candidates[0].state_index]))


def against(value: Value, fellows: Sequence[Value], earlier_n: Sequence[float] = ()) -> Value:
    """The value with its deviation from the mean of its side so far, if there are enough of it."""
    tensions = [*earlier_n, *(each.tension_n for each in fellows if each.tension_n is not None)]
    if value.tension_n is not None and len(tensions) >= _ENOUGH:
        mean = float(np.mean([*tensions, value.tension_n]))
        return replace(value, deviation_percent=100 * (value.tension_n / mean - 1))
    if value.tension_n is None and len(fellows) >= _ENOUGH:
        mean = float(np.mean([*(each.pitch_hz for each in fellows), value.pitch_hz]))
        return replace(value, deviation_percent=100 * (value.pitch_hz / mean - 1))
    return replace(value, u_deviation_percent=None)
