"""A reading held against tensions known from elsewhere: differences, bias, scatter. Imports reading and errors only."""

from __future__ import annotations

import math
import statistics
from collections.abc import Mapping
from dataclasses import dataclass, replace

from tensionear.errors import InputError
from tensionear.reading import SpokeReading
from tensionear.texts import Rows, shown

#: Newtons in one of each unit: standard gravity 9.80665 m/s2 (3rd CGPM, 1901) and the international pound
#: 0.45359237 kg (agreement of 1959), as in the SI Brochure, 9th edition, and NIST SP 811, appendix B.
NEWTONS = {"tension_n": 1.0, "tension_dan": 10.0, "tension_kgf": 9.80665, "tension_lbf": 0.45359237 * 9.80665}
COVERAGE = 1.96
#: Standard uncertainty of a tension on a card or by a gauge that states none, and what of it is each reading's own,
#: percent. Mechanical gauges: 5 to 10 % absolute, 2 to 3 % repeatable; from memory, no source.
CARD_PERCENT, CARD_OWN_PERCENT = 7.0, 2.5
TYRES = ("none", "mounted", "inflated")


@dataclass(frozen=True, slots=True)
class Known:
    """A tension known from elsewhere, with its standard uncertainty (None where not stated).

    ``u_own_n`` is what of it is this reading's own (None: all of it). ``tyre`` is the state it was taken in, if told.
    """

    tension_n: float
    u_tension_n: float | None
    u_own_n: float | None = None
    tyre: str | None = None


@dataclass(frozen=True, slots=True)
class Difference:
    """One spoke: what was read, what is known, and the difference in percent of the known.

    ``held`` tells whether the 95 % interval of the difference contains zero; ``differs`` whether this spoke differs from
    its fellows, the bias of all taken off, by more than both readings' own uncertainties explain.
    """

    spoke: int
    label: str
    read_n: float
    u_read_n: float
    known_n: float
    u_known_n: float | None
    difference_percent: float
    held: bool
    differs: bool = False


@dataclass(frozen=True, slots=True)
class Comparison:
    """All differences; bias is their mean, scatter their sample standard deviation (None below two spokes).

    ``agreement_percent`` are the limits of agreement, bias -+ 1.96 scatter (Bland and Altman, Lancet 327, 1986, 307; from
    memory). ``tyres`` are the states the known tensions were taken in, if told.
    """

    differences: tuple[Difference, ...]
    bias_percent: float
    scatter_percent: float | None
    largest_percent: float
    held: int
    agreement_percent: tuple[float, float] | None = None
    tyres: tuple[str, ...] = ()


def known_tensions(text: str, name: str) -> dict[int, Known]:
    """Known tensions from the text of a CSV file.

    Parameters
    ----------
    text : str
        A heading with ``spoke``, one of ``tension_n``, ``tension_dan``, ``tension_kgf``, ``tension_lbf``, and
        optionally ``u_percent`` (standard uncertainty, percent of the tension, >= 0) and ``tyre`` (the state it was
        taken in: none, mounted, inflated); further columns are ignored.
    name : str
        What to call the file in messages.

    Returns
    -------
    dict
        Spoke number to `Known`, in newtons.

    Raises
    ------
    InputError
        If a column is missing or doubled, or a row is no number, out of range, or of a spoke seen before.
    """
    rows = Rows(text, name)
    heading = rows.heading
    units = [column for column in heading if column in NEWTONS]
    if "spoke" not in heading or len(units) != 1:
        raise InputError(
            f"{name}: the columns are {rows.columns}; needed are spoke and one of {', '.join(NEWTONS)}; add a heading line"
        )
    found: dict[int, Known] = {}
    for row in rows:
        spoke, known = _row(row, units[0], f"{name}, line {rows.line_num}")
        if spoke in found:
            raise InputError(f"{name}, line {rows.line_num}: spoke {spoke} is there twice; keep one row of each spoke")
        found[spoke] = known
    if not found:
        raise InputError(f"{name}: a heading but no rows; needed is one row of each known spoke")
    return found


def _row(row: Mapping[str, str | None], unit: str, where: str) -> tuple[int, Known]:
    """One row as spoke number and known tension."""
    if None in row:
        raise InputError(f"{where}: more values than columns: a decimal comma? write numbers with a point")
    spoke = number_of(row, "spoke", where)
    tension = number_of(row, unit, where) * NEWTONS[unit]
    if spoke < 1 or spoke != int(spoke):
        raise InputError(f"{where}: spoke {spoke:g} is no spoke number; they are whole and counted from 1")
    if tension <= 0:
        raise InputError(f"{where}: {unit} {tension / NEWTONS[unit]:g} is not above 0; leave the row out if not known")
    tyre = (row.get("tyre") or "").strip() or None
    if tyre is not None and tyre not in TYRES:
        raise InputError(f"{where}: tyre is {shown(tyre)!r}; allowed: {', '.join(TYRES)}, or leave it empty")
    if not (row.get("u_percent") or "").strip():
        return int(spoke), Known(tension, None, None, tyre)
    u_percent = number_of(row, "u_percent", where)
    if u_percent < 0:
        raise InputError(f"{where}: u_percent {u_percent:g} is below 0; give a standard uncertainty in percent")
    return int(spoke), Known(tension, tension * u_percent / 100, None, tyre)


def as_card(known: Mapping[int, Known]) -> dict[int, Known]:
    """Known tensions, those without an uncertainty given that of a card or a gauge: 7 %, 2.5 % of it its own."""
    return {
        spoke: one
        if one.u_tension_n is not None
        else replace(
            one,
            u_tension_n=one.tension_n * CARD_PERCENT / 100,
            u_own_n=one.tension_n * CARD_OWN_PERCENT / 100,
        )
        for spoke, one in known.items()
    }


def number_of(row: Mapping[str, str | None], column: str, where: str) -> float:
    """A finite number of a row."""
    given = (row.get(column) or "").strip()
    try:
        number = float(given)
    except ValueError:
        number = math.nan
    if not math.isfinite(number):
        raise InputError(f"{where}: {column} is {given!r}; needed is a number, with a point for decimals")
    return number


def compare(spokes: tuple[SpokeReading, ...], known: Mapping[int, Known]) -> Comparison:
    """Differences of a reading from known tensions, over the spokes that have both.

    Parameters
    ----------
    spokes : tuple of SpokeReading
    known : mapping
        Spoke number to `Known`.

    Returns
    -------
    Comparison
        A difference is held when it is within 1.96 of the root of the summed squares of both standard uncertainties
        (JCGM 100:2008 5.1.2; 95 % of a normal distribution).

    Raises
    ------
    InputError
        If no spoke has both.
    """
    found = []
    for spoke in spokes:
        there = known.get(spoke.spoke)
        if there is None or spoke.tension_n is None or spoke.u_tension_n is None:
            continue
        apart = spoke.tension_n - there.tension_n
        u = math.hypot(spoke.u_tension_n, there.u_tension_n or 0.0)
        percent = 100 * apart / there.tension_n
        row = (spoke.spoke, spoke.label, spoke.tension_n, spoke.u_tension_n, there.tension_n, there.u_tension_n)
        found.append(Difference(*row, percent, abs(apart) <= COVERAGE * u))
    if not found:
        raise InputError(
            f"none of the {len(known)} known spokes was read as a tension; give a wheel file (--wheel) "
            "and check the spoke numbers"
        )
    percents = [each.difference_percent for each in found]
    bias = statistics.fmean(percents)
    scatter = statistics.stdev(percents) if len(percents) > 1 else None
    own = {spoke.spoke: spoke.u_individual_n for spoke in spokes}
    return Comparison(
        _marked(found, known, own),
        bias,
        scatter,
        max(map(abs, percents)),
        sum(each.held for each in found),
        None if scatter is None else (bias - COVERAGE * scatter, bias + COVERAGE * scatter),
        tuple(dict.fromkeys(tyre for each in found if (tyre := known[each.spoke].tyre) is not None)),
    )


def _marked(
    found: list[Difference], known: Mapping[int, Known], own: Mapping[int, float | None]
) -> tuple[Difference, ...]:
    """The differences, marked where one departs from the median of all by more than its own uncertainties.

    Of many spokes one or two pass a 95 % bound by chance, so the 5 % are shared among them (Bonferroni).
    """
    middle = statistics.median(each.difference_percent for each in found)
    sure = statistics.NormalDist().inv_cdf(1 - 0.025 / len(found))
    marked = []
    for each in found:
        there = known[each.spoke]
        u_known = there.u_own_n if there.u_own_n is not None else there.u_tension_n or 0.0
        u_read = own.get(each.spoke)
        u = 100 * math.hypot(each.u_read_n if u_read is None else u_read, u_known) / each.known_n
        differs = len(found) > 2 and abs(each.difference_percent - middle) > sure * u
        marked.append(replace(each, differs=differs))
    return tuple(marked)
