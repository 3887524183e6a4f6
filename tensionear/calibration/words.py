"""What a calibration found, as plain lines for people. Imports the computing modules and the rounding rule."""

from __future__ import annotations

import math
from collections.abc import Iterator

from tensionear.physics.known import tolerances_of
from tensionear.physics.uncertainty import Budget
from tensionear.reading import EndStiffness
from tensionear.wheel.model import Wheel
from tensionear.wheel.sidefit import ends_of

from .hanging import HangingResult
from .lots import Lot, figures_of
from .tying import TiedGroup
from .weighing import WeighingResult

_COVERAGE = 1.96
#: Probability below which the known values are said to disagree; level in standard uncertainties that is told.
_DISAGREE, _LEVEL_U = 0.05, 1.96


def tied_lines(wheel: Wheel, group: TiedGroup) -> Iterator[str]:
    """One group of a calibration by known tensions."""
    side, head, spoke = group.key
    known = [one for one in group.spokes if one.known_n is not None]
    yield f"{side.capitalize()} side, {spoke}, {head} heads: {len(known)} of {len(group.spokes)} spokes known."
    yield f"  {'spoke':<6} {'known N':>8} {'by sound N':>14} {'tied N':>14} {'known-tied':>11}"
    for one in group.spokes:
        label = wheel.place(one.spoke).label
        there = "" if one.known_n is None else f"{one.known_n:.0f}"
        apart = "" if one.known_n is None else f"{100 * (one.known_n / one.tied_n - 1):+.1f} %"
        sound, tied = _with(one.sound_n, one.u_sound_n), _with(one.tied_n, one.u_tied_n)
        yield f"  {label:<6} {there:>8} {sound:>14} {tied:>14} {apart:>11}".rstrip()
    yield from (f"  {text}" for text in verdict_lines(wheel, group))
    for before, after in zip(_ends(group, False), _ends(group, True), strict=True):
        low, high = after.interval_95
        yield (
            f"  {after.end} end, plane {after.plane}: {after.n_m_per_rad:.3g} N m/rad ({low:.3g} to {high:.3g} at 95 %), "
            f"by sound alone {before.n_m_per_rad:.3g} ({before.interval_95[0]:.3g} to {before.interval_95[1]:.3g})"
        )
    yield from (f"  {text}" for text in _learned(group))
    if group.budgets is not None:
        yield "  Budget of the level of the spokes not known (one standard uncertainty, % of tension):"
        yield from (f"  {text}" for text in budget_lines(*group.budgets))


def verdict_lines(wheel: Wheel, group: TiedGroup) -> Iterator[str]:
    """How the known values agree among themselves, and what it means if all are off alike."""
    found = group.agreement
    if found.degrees:
        told = f"chi-square {found.chi_square:.1f} with {found.degrees} degrees of freedom, probability {found.probability:.2f}"
        if found.probability < _DISAGREE:
            yield f"The known values disagree among themselves ({told}); worst is {wheel.place(found.worst).label}."
        else:
            yield f"The known values agree among themselves ({told})."
    if abs(found.level) > _LEVEL_U * found.u_level:
        slope = sum(group.before.sensitivity) / len(group.before.sensitivity)
        length_mm = 1e3 * group.places[0].free_length_m
        # d ln T / d ln L = 2 S - 2 and d ln T / d ln d = 4 - S, S = d ln T / d ln f (identities of the tensioned beam).
        off_mm, thick = found.level / (2 * slope - 2) * length_mm, 100 * found.level / (4 - slope)
        way = "above" if found.level > 0 else "below"
        yield (
            f"All known values are {100 * abs(math.expm1(found.level)):.1f} % {way} the sound: likelier than an error of them "
            "all is a "
            f"wrong free length ({off_mm:+.1f} mm would do it) or section ({thick:+.1f} % of its size). Check both."
        )


def hanging_lines(result: HangingResult) -> Iterator[str]:
    """A calibration by hanging masses."""
    yield f"{'mass kg':>8} {'pull N':>14} {'by sound N':>11} {'apart':>9}"
    for row in result.rows:
        yield f"{row.mass_kg:>8.3f} {_with(row.pull_n, row.u_pull_n, 2):>14} {row.sound_n:>11.2f} {row.residual_sd:>+6.1f} sd"
    yield (
        f"The masses agree among themselves by chi-square {result.chi_square:.1f} with {result.degrees} degrees of freedom, "
        f"probability {result.probability:.2f}."
        + ("" if result.probability >= _DISAGREE else " That is little: look at the row farthest apart.")
    )
    yield from lot_lines(result.lot)
    parts = [f"{each.source} {100 * each.contribution:.2f}" for each in result.budget.contributions]
    whole = 100 * result.budget.combined_standard_uncertainty
    yield f"Budget of the mass per length (one standard uncertainty, %): {', '.join(parts)}; all together {whole:.2f}."


def budget_lines(before: Budget, after: Budget) -> Iterator[str]:
    """Two budgets of a logarithm beside each other, in percent; sources that are in the second alone have nothing before."""
    sooner = {each.source: each.contribution for each in before.contributions}
    yield f"  {'':<32} {'by sound':>8} {'tied':>8}"
    for each in after.contributions:
        then = "" if each.source not in sooner else f"{100 * sooner[each.source]:.2f}"
        yield f"  {each.source:<32} {then:>8} {100 * each.contribution:>8.2f}"
    whole = [100 * budget.combined_standard_uncertainty for budget in (before, after)]
    yield f"  {'all together':<32} {whole[0]:>8.2f} {whole[1]:>8.2f}"


def lot_lines(lot: Lot) -> Iterator[str]:
    """What is now known of a lot of spokes, and what was before."""
    for each in figures_of(lot):
        now, then = 100 * _COVERAGE * each.u / each.value, 100 * _COVERAGE * each.u_tabled / each.tabled
        yield (
            f"{each.name}: {each.value:.4g} {each.unit} +/- {now:.2f} %, before {each.tabled:.4g} {each.unit} +/- {then:.2f} % "
            "(half of 95 % intervals)"
        )


def weighing_lines(result: WeighingResult) -> Iterator[str]:
    """Mass per length with its budget."""
    budget, value = result.budget, result.kg_m
    half = budget.expanded_uncertainty(0.95)
    yield f"Mass per length {1e3 * value:.4g} g/m +/- {1e3 * half:.2g} g/m ({100 * half / value:.2f} %, half of a 95 % interval)."
    for item in budget.contributions:
        yield f"  {item.source}: {100 * item.contribution / value:.3f} % (one standard uncertainty)"
    if result.tabled_kg_m is not None:
        yield f"Its section and material give {1e3 * result.tabled_kg_m:.4g} g/m: {result.implies}."


def _learned(group: TiedGroup) -> Iterator[str]:
    """How much the known tensions told of what was known within a tolerance."""
    mean, covariance = tolerances_of(group.learned)
    for index, source in enumerate(group.sources):
        sd = math.sqrt(float(covariance[index, index]))
        if source == "length":
            u = 1e3 * group.places[0].u_length_m
            now = f"{mean[index] * u:+.2f} +/- {_COVERAGE * sd * u:.2f} mm"
            yield f"effective length: {now} off the stated, before 0 +/- {_COVERAGE * u:.2f}"
        else:
            now = f"{mean[index]:+.1f} +/- {_COVERAGE * sd:.1f}"
            yield f"{source}: {now} of its stated standard uncertainties, before 0 +/- {_COVERAGE:.1f}"


def _ends(group: TiedGroup, tied: bool) -> tuple[EndStiffness, ...]:
    fit = group.after if tied else group.before
    return ends_of(fit, group.places[0].spoke.is_flat, tied)


def _with(value: float, u: float, digits: int = 0) -> str:
    return f"{value:.{digits}f} +/- {_COVERAGE * u:.{digits}f}"
