"""Slips in known tensions: wrong unit, lost decimal, numbers off by one, two spokes exchanged. Pure; imports tying, wheel.

Every slip is a question, not a verdict: the values may be right and the sound or the wheel file wrong.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from tensionear.physics.inverse import GroupFit
from tensionear.physics.known import foretold
from tensionear.physics.spokemodel import Array
from tensionear.wheel.comparison import NEWTONS, Known
from tensionear.wheel.model import Place, Wheel
from tensionear.wheel.sidefit import groups_of

from .tying import HeardSpoke, fit_heard, known_of

#: ln of a ratio this near that of a unit or of a power of ten is taken for it.
_NEAR = 0.16
#: Known values as far off as this chance allows are asked about.
_RARE = 0.01
#: Another reading of the values must fit by so much better (chi-square) to be named, and the better one be this likely.
_BETTER, _LIKELY = 9.0, 0.001
#: Level of all values against the sound, in standard uncertainties and at least relative, that is asked about.
_LEVEL_U, _LEVEL = 3.0, 0.05
_DECIMALS = (0.001, 0.01, 0.1, 10.0, 100.0, 1000.0)


@dataclass(frozen=True, slots=True)
class Question:
    """What looks wrong, as a question, and the spokes that are meant."""

    code: str
    text: str
    spokes: tuple[int, ...] = ()


@dataclass(frozen=True, slots=True, eq=False)
class Sounds:
    """What sound alone says of the wheel: for each group its spokes' numbers, mean and covariance of ln T."""

    groups: tuple[tuple[tuple[int, ...], Array, Array], ...]
    order: tuple[int, ...]

    def log_tension(self) -> dict[int, float]:
        """ln T by spoke."""
        return {number: float(mean[at]) for numbers, mean, _ in self.groups for at, number in enumerate(numbers)}

    def chi_square(self, known: Mapping[int, Known]) -> tuple[float, int]:
        """Misfit of known values given by spoke, and how many were heard."""
        total, _, count = self._misfit(known)
        return total, count

    def scatter(self, known: Mapping[int, Known]) -> tuple[float, int]:
        """Misfit of known values about a level that all share, whatever it is, and its degrees of freedom."""
        total, by_level, count = self._misfit(known)
        return total - by_level, max(count - 1, 0)

    def _misfit(self, known: Mapping[int, Known]) -> tuple[float, float, int]:
        """Misfit of known values, what of it a level of them all would mend, and how many were heard."""
        total, pull, weight, count = 0.0, 0.0, 0.0, 0
        for numbers, mean, covariance in self.groups:
            values = known_of(list(numbers), known)
            if not len(values.at):
                continue
            apart = values.log_tension - mean[values.at]
            spread = covariance[np.ix_(values.at, values.at)] + np.diag(values.own_sd**2) + values.common_sd**2
            weights = np.linalg.inv(spread)
            total += float(apart @ weights @ apart)
            pull += float(weights.sum(axis=0) @ apart)
            weight += float(weights.sum())
            count += len(apart)
        return total, pull**2 / weight if count else 0.0, count


def sounds_of(wheel: Wheel, heard: Mapping[int, HeardSpoke]) -> Sounds:
    """What sound alone says of a wheel."""
    found = []
    for places in groups_of([place for place in wheel.places if place.number in heard]).values():
        found.append(_sound(places, fit_heard(wheel, places, heard)))
    return Sounds(tuple(found), tuple(place.number for place in wheel.places))


def _sound(places: list[Place], fit: GroupFit) -> tuple[tuple[int, ...], Array, Array]:
    return tuple(place.number for place in places), *foretold(fit, np.arange(len(places)))


def questions_of(sounds: Sounds, known: Mapping[int, Known], labels: Mapping[int, str]) -> tuple[Question, ...]:
    """What to ask about the known values before they are used; empty if nothing looks wrong."""
    by_sound = sounds.log_tension()
    apart = {number: math.log(one.tension_n) - by_sound[number] for number, one in known.items() if number in by_sound}
    if not apart:
        return ()
    scale = _unit(apart) or _decimals(apart, labels)
    if scale is not None:
        return (scale,)
    return tuple(each for each in (_order(sounds, known, labels), _level(sounds, known, apart)) if each is not None)[:1]


def _unit(apart: Mapping[int, float]) -> Question | None:
    """All values off by the factor between two units."""
    middle = float(np.median(list(apart.values())))
    names = {"kgf": NEWTONS["tension_kgf"], "daN": NEWTONS["tension_dan"], "lbf": NEWTONS["tension_lbf"]}
    for name, factor in names.items():
        for sign, text in ((-1, f"are they {name} under a heading of N"), (1, f"are they N under a heading of {name}")):
            if abs(middle - sign * math.log(factor)) < _NEAR and _alike(apart, middle):
                ratio = math.exp(middle)
                return Question(
                    "unit", f"the known tensions are {ratio:.3g} of what the sound says: {text}?", tuple(apart)
                )
    return None


def _alike(apart: Mapping[int, float], middle: float) -> bool:
    """Whether most values are off by the same factor."""
    return sum(abs(each - middle) < 0.5 for each in apart.values()) > len(apart) / 2


def _decimals(apart: Mapping[int, float], labels: Mapping[int, str]) -> Question | None:
    """Values off by a power of ten: a decimal comma or point lost or misread."""
    odd = tuple(n for n, each in apart.items() if any(abs(each - math.log(factor)) < 2 * _NEAR for factor in _DECIMALS))
    if not odd:
        return None
    names = _names(odd, labels)
    return Question(
        "decimal", f"{names}: off by a power of ten from what the sound says: is a decimal point or comma lost?", odd
    )


def _order(sounds: Sounds, known: Mapping[int, Known], labels: Mapping[int, str]) -> Question | None:
    """Values that fit better elsewhere, or nowhere."""
    from scipy import stats

    given, count = sounds.chi_square(known)
    rare = float(stats.chi2.sf(given, count)) < _RARE
    best: tuple[float, Question] | None = None
    for text, spokes, other in _others(sounds, known, labels):
        fits, heard = sounds.chi_square(other)
        better = given / count - fits / heard if heard < count else (given - fits) / count
        if heard < 2 or better * count < _BETTER or float(stats.chi2.sf(fits, heard)) < _LIKELY:
            continue
        if best is None or better > best[0]:
            best = (better, Question("numbering" if not spokes else "exchanged", text, spokes))
    if best is not None and (rare or best[0] * count > 1.5 * _BETTER):
        return best[1]
    return _disagreement(sounds, known, labels) if rare else None


def _others(
    sounds: Sounds, known: Mapping[int, Known], labels: Mapping[int, str]
) -> list[tuple[str, tuple[int, ...], dict[int, Known]]]:
    """Other ways the values could have been meant: numbered off by one, counted the other way, two exchanged."""
    order, size = sounds.order, len(sounds.order)
    found: list[tuple[str, tuple[int, ...], dict[int, Known]]] = []
    for step in (1, -1):
        moved = {order[(order.index(n) + step) % size]: one for n, one in known.items() if n in order}
        way = "on" if step > 0 else "back"
        text = f"the known tensions fit far better one spoke {way}: is the numbering off by one?"
        found.append((text, (), moved))
    if len(known) > 2:
        turned = {order[(size - order.index(n)) % size]: one for n, one in known.items() if n in order}
        found.append(("the known tensions fit far better counted the other way round: were they?", (), turned))
    heard = [n for n in known if n in sounds.log_tension()]
    for one, other in itertools.combinations(heard, 2):
        swapped = {**known, one: known[other], other: known[one]}
        text = f"the known tensions of {_names((one, other), labels)} fit far better the other way round: are they exchanged?"
        found.append((text, (one, other), swapped))
    return found


def _disagreement(sounds: Sounds, known: Mapping[int, Known], labels: Mapping[int, str]) -> Question | None:
    """The spoke whose value, left out, mends the most, unless all are off alike."""
    from scipy import stats

    given, degrees = sounds.scatter(known)
    if degrees == 0 or float(stats.chi2.sf(given, degrees)) >= _RARE:
        return None
    gain = {n: given - sounds.scatter({m: v for m, v in known.items() if m != n})[0] for n in known}
    worst = max(gain, key=lambda number: gain[number])
    if gain[worst] < _BETTER:
        return None
    name = labels.get(worst, str(worst))
    text = (
        f"{name} ({known[worst].tension_n:.0f} N) disagrees with the other known tensions and its sound: is it right?"
    )
    return Question("disagrees", text, (worst,))


def _level(sounds: Sounds, known: Mapping[int, Known], apart: Mapping[int, float]) -> Question | None:
    """All values off alike, by more than the sound and the gauge explain."""
    given, count = sounds.chi_square(known)
    middle = float(np.median(list(apart.values())))
    from scipy import stats

    if abs(middle) < _LEVEL or float(stats.chi2.sf(given, count)) > math.erfc(_LEVEL_U / math.sqrt(2)):
        return None
    way = "above" if middle > 0 else "below"
    text = (
        f"the known tensions are all some {100 * abs(math.expm1(middle)):.0f} % {way} what the sound says: a wrong free length "
        "or "
        "section in the wheel file is likelier than that; are both right?"
    )
    return Question("level", text, tuple(apart))


def _names(spokes: tuple[int, ...], labels: Mapping[int, str]) -> str:
    named = [labels.get(spoke, str(spoke)) for spoke in spokes]
    if len(named) > 4:
        return f"{', '.join(named[:3])} and {len(named) - 3} more"
    return " and ".join(named) if len(named) < 3 else f"{', '.join(named[:-1])} and {named[-1]}"
