"""Spokes held against their limits, alone and as quantities that share causes. Imports conformance, floors, sidefit."""

from __future__ import annotations

import itertools
import math
import statistics
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field, replace

from tensionear.reading import Finding, Limits, Verdict

from .conformance import Limited, Rule, between
from .floors import Floors
from .sidefit import ReadTension

_POPULATION = 8  # spokes of a side from which its scatter is known well enough to count
_STRANGE = 3.0  # scatters away from the mean at which a spoke half belongs to the rest; judgement
_LEAST_SHARE = 0.25  # no reading counts less than this
_LEAST_RATIO = 0.05  # to the side's mean, for a spoke that hardly holds
LOOSE = -0.25  # so far below its side's mean a spoke is called loose; common practice, no source


@dataclass(frozen=True, slots=True)
class Judgement:
    """One spoke's verdict, and the probability that it is within all its limits."""

    verdict: Verdict
    within: float


@dataclass(frozen=True, slots=True)
class Judge:
    """What spokes are held against: limits, whether their level is judged, the floors, and the rule of decision."""

    limits: Limits
    level: bool
    floors: Floors | None = None
    rule: Rule = field(default_factory=Rule)

    @property
    def surely(self) -> float:
        """The probability of being out from which something is called out."""
        return 1 - self.rule.producer_risk

    def spoke(self, tension: ReadTension) -> Judgement:
        """Judge one spoke."""
        chances = [between(*each) for each in self._bounds(tension, 0.0)]
        guarded = [between(*each) for each in self._bounds(tension, self.rule.guard_band_u)]
        within = math.prod(chances)
        verdict = self.rule.decide(min(chances), max(math.prod(guarded), 0.0))
        return Judgement(verdict, within)

    def _bounds(self, one: ReadTension, guard: float) -> list[tuple[float, float, float, float]]:
        """Value, u and limits of each limited quantity of a spoke, limits drawn in by ``guard`` times u."""
        allowed = self.limits.evenness_percent / 100 - guard * one.u_deviation
        drawn_in = guard * one.u_tension_n
        found = [(one.deviation, one.u_deviation, -allowed, allowed)]
        if self.level and self.limits.max_tension_n is not None:
            found.append((one.tension_n, one.u_tension_n, -math.inf, self.limits.max_tension_n - drawn_in))
        floor = self.floor_n
        if self.level and floor is not None:
            found.append((one.tension_n, one.u_tension_n, floor + drawn_in, math.inf))
        return found

    @property
    def floor_n(self) -> float | None:
        """The highest floor that holds for every spoke."""
        stated = self.limits.floor_n
        standard = None if self.floors is None else self.floors.spoke_n
        return max((each for each in (stated, standard) if each is not None), default=None)

    def together(self, members: Sequence[Sequence[ReadTension]], sides: Sequence[str]) -> list[list[Limited]]:
        """All limited quantities of each side, with the causes they share.

        A spoke moves by its own error, which is that of its deviation; what is left of the uncertainty of its tension
        is common to its side. Sides are taken as independent. Before it was read a spoke belonged to its side, whose
        scatter the readings tell (`believed`): of many spokes the worst reads worse than it is.
        """
        found = []
        causes = itertools.count()
        for read, side in zip(members, sides, strict=True):
            group = believed(read)
            common = next(causes)
            own = [next(causes) for _ in group]
            quantities = []
            loadings = []
            for one, cause in zip(group, own, strict=True):
                allowed = self.limits.evenness_percent / 100
                quantities.append(Limited(one.deviation, {cause: one.u_deviation}, -allowed, allowed))
                loadings.append(loading_of(one, cause, common))
            if self.level:
                ceiling, floor = self.limits.max_tension_n or math.inf, self.floor_n or 0.0
                for one, loading in zip(group, loadings, strict=True):
                    quantities.append(Limited(one.tension_n, loading, floor, ceiling))
                quantities += self._mean(group, loadings, side)
            found.append(quantities)
        return found

    def _mean(self, group: Sequence[ReadTension], loadings: Sequence[dict[int, float]], side: str) -> list[Limited]:
        """The side's mean against the floor of the standard and its target."""
        if not group:
            return []
        mean = sum(one.tension_n for one in group) / len(group)
        loading: dict[int, float] = {}
        for each in loadings:
            for cause, size in each.items():
                loading[cause] = loading.get(cause, 0.0) + size / len(group)
        found = []
        if self.floors is not None and side in self.floors.mean_n:
            found.append(Limited(mean, loading, self.floors.mean_n[side], math.inf))
        target = self.limits.target_n.get(side)
        if target is not None and self.limits.level_percent is not None:
            apart = self.limits.level_percent / 100 * target
            found.append(Limited(mean, loading, target - apart, target + apart))
        return found


def believed(group: Sequence[ReadTension]) -> list[ReadTension]:
    """What is believed of the spokes of a side, given all of them.

    Notes
    -----
    Knowledge before the measurement, as JCGM 106:2012 (clause 6) allows it, here a normal prior: a spoke's deviation is
    taken from a population of standard deviation t about the mean, so that its reading d with standard uncertainty u
    becomes b d with u sqrt(b), where b = t^2 / (t^2 + u^2). The side's readings scatter by s^2 = t^2 + u^2, found from
    their median and taken one standard deviation high, so that little is taken off where few spokes tell it. A spoke
    far outside that scatter is none of the population, and the less is taken off it. Few spokes are left as read.
    """
    if len(group) < _POPULATION:
        return list(group)
    usual = (1.4826 * statistics.median(abs(one.deviation) for one in group)) ** 2
    scatter = max(usual * (1 + math.sqrt(2 / (len(group) - 1))), 1e-12)
    found = []
    for one in group:
        belongs = 1 / (1 + (one.deviation**2 / scatter / _STRANGE**2) ** 2)
        share = max(1 - belongs * one.u_deviation**2 / scatter, _LEAST_SHARE)
        deviation = share * one.deviation
        ratio = max(1 + one.deviation, _LEAST_RATIO)
        value = one.tension_n * (1 + deviation) / ratio
        own, less = one.tension_n * one.u_deviation / ratio, one.u_deviation * math.sqrt(share)
        shared = max(one.u_tension_n**2 - own**2, 0.0)
        u = math.sqrt(shared + (value * less / max(1 + deviation, _LEAST_RATIO)) ** 2)
        found.append(replace(one, tension_n=value, u_tension_n=u, deviation=deviation, u_deviation=less))
    return found


def loading_of(one: ReadTension, own: int, common: int) -> dict[int, float]:
    """How a tension moves with its own cause and its side's."""
    mine = one.tension_n * one.u_deviation / max(1 + one.deviation, _LEAST_RATIO)
    shared = math.sqrt(max(one.u_tension_n**2 - mine**2, 0.0))
    return {own: min(mine, one.u_tension_n), common: shared}


def findings_of(
    tensions: Mapping[int, ReadTension], judge: Judge, explained: frozenset[int] = frozenset()
) -> list[Finding]:
    """What stands out of single spokes: over the maximum, under the floor, loose, uneven (unless explained otherwise)."""
    limits, surely, found = judge.limits, judge.surely, []
    maximum, floor, allowed = limits.max_tension_n, judge.floor_n, limits.evenness_percent / 100
    if judge.level and maximum is not None:
        over = _named(tensions, surely, lambda one: between(one.tension_n, one.u_tension_n, -math.inf, maximum))
        if over:
            text = f"over the maximum of {maximum:.0f} N the makers allow: slacken"
            found.append(Finding("over-maximum", text, over, "danger"))
    if judge.level and floor is not None:
        under = _named(tensions, surely, lambda one: between(one.tension_n, one.u_tension_n, floor, math.inf))
        if under:
            whose = "" if limits.floor_n == floor else " of JIS D 9301"
            text = f"under the floor of {floor:.0f} N{whose}: look it over before turning"
            found.append(Finding("under-floor", text, under, "danger"))
    loose = _named(tensions, surely, lambda one: between(one.deviation, one.u_deviation, LOOSE, math.inf))
    loose = tuple(spoke for spoke in loose if spoke not in explained)
    if loose:
        text = (
            f"far slacker than its side (more than {-100 * LOOSE:.0f} % under the mean): look it over for damage first"
        )
        found.append(Finding("loose-spoke", text, loose, "fault"))
    uneven = _named(tensions, surely, lambda one: between(one.deviation, one.u_deviation, -allowed, allowed))
    uneven = tuple(spoke for spoke in uneven if spoke not in loose and spoke not in explained)
    if uneven:
        text = f"more than {limits.evenness_percent:g} % off the mean of its side"
        found.append(Finding("out-of-evenness", text, uneven, "fault"))
    return found


def _named(
    tensions: Mapping[int, ReadTension], surely: float, chance: Callable[[ReadTension], float]
) -> tuple[int, ...]:
    """Spokes whose chance of being within is so small that they are out."""
    return tuple(spoke for spoke, one in sorted(tensions.items()) if 1 - chance(one) > surely)
