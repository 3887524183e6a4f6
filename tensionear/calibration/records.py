"""A calibration as a document: what was measured, in what state, the result, and how to compute it again. Pure.

Imports the computing modules and the wheel file. A document is what stands in the TOML file, tables and keys as they are there.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import asdict, dataclass
from typing import Any

import numpy as np

from tensionear.physics.believed import SharedPrior
from tensionear.physics.gravity import Gravity
from tensionear.physics.inverse import Partials
from tensionear.physics.spoke import Spoke
from tensionear.physics.spokemodel import Array
from tensionear.wheel.comparison import Known
from tensionear.wheel.model import Wheel
from tensionear.wheel.wheelfile import parse_wheel

from .builds import build_table, spoke_table
from .hanging import HangingResult, Hung, Jig, fit_hanging
from .lots import Lot, figures_of, weighed_lot
from .tying import HeardSpoke, TiedGroup, tie_wheel
from .weighing import Weighed, weigh, whole_slopes

FORMAT = 1
_DIGITS = 8

Document = dict[str, Any]


@dataclass(frozen=True, slots=True)
class Head:
    """What every record begins with: its name, day, who measured, program, and a note."""

    name: str
    date: str
    measured_by: str
    program: str
    note: str = ""


@dataclass(frozen=True, slots=True, eq=False)
class KnownData:
    """All that a calibration by known tensions is computed from; ``wheel_text`` is the wheel file."""

    wheel_text: str
    heard: Mapping[int, HeardSpoke]
    known: Mapping[int, Known]
    state: Mapping[str, Any]


@dataclass(frozen=True, slots=True, eq=False)
class HangingData:
    """All that a calibration by hanging masses is computed from."""

    kind: str
    spoke: Spoke
    jig: Jig
    masses: tuple[Hung, ...]
    sounds: tuple[str, ...]
    heard: Partials


def known_document(head: Head, data: KnownData, wheel: Wheel, groups: tuple[TiedGroup, ...]) -> Document:
    """The record of a calibration by known tensions."""
    known = {
        str(spoke): {
            "tension_n": one.tension_n,
            "u_tension_n": one.u_tension_n or 0.0,
            **({} if one.u_own_n is None else {"u_own_n": one.u_own_n}),
            **({} if one.tyre is None else {"tyre": one.tyre}),
        }
        for spoke, one in sorted(data.known.items())
    }
    heard = {str(spoke): _heard_table(one) for spoke, one in sorted(data.heard.items())}
    tied = {f"group-{number}": _group_table(wheel, group) for number, group in enumerate(groups, 1)}
    return {
        **_head_table("known", head),
        "state": dict(data.state),
        "data": {"wheel_file": data.wheel_text, "known": known, "heard": heard},
        "result": tied,
    }


def hanging_document(head: Head, data: HangingData, result: HangingResult) -> Document:
    """The record of a calibration by hanging masses."""
    jig = data.jig
    rows = {
        str(number): {
            "sound": sound,
            "mass_kg": one.mass_kg,
            "u_mass_kg": one.u_mass_kg,
            **_heard_table(HeardSpoke(data.heard.log_frequency[number - 1], data.heard.sd[number - 1], start)),
            "pull_n": _short(row.pull_n),
            "u_pull_n": _short(row.u_pull_n),
            "residual_sd": _short(row.residual_sd),
        }
        for number, (sound, one, row, start) in enumerate(
            zip(data.sounds, data.masses, result.rows, data.heard.start_log_tension.tolist(), strict=True), 1
        )
    }
    density = {} if jig.density_kg_m3 is None else {"mass_density_kg_m3": jig.density_kg_m3}
    return {
        **_head_table("hanging", head),
        "state": {"hung": "from its head, free, nothing touching it"},
        "data": {
            "kind": data.kind,
            "free_length_m": jig.free_length_m,
            "u_length_m": jig.u_length_m,
            "gravity_m_s2": jig.gravity.m_s2,
            "u_gravity_m_s2": jig.gravity.u_m_s2,
            **density,
            "masses": rows,
        },
        "result": {
            "chi_square": _short(result.chi_square),
            "degrees": result.degrees,
            "probability": _short(result.probability),
            **lot_table(result.lot),
        },
    }


def weighed_document(head: Head, kind: str, given: Weighed, spoke: Spoke) -> Document:
    """The record of weighed spokes; ``spoke`` is the library's of this kind."""
    found = weigh(given, spoke)
    relative, u = found.relative or 0.0, found.u_relative or 0.0
    lot = weighed_lot(spoke, relative, u, whole_slopes(spoke, given.length_m - given.ends_m))
    return {
        **_head_table("weighed", head),
        "state": {"weighed": "whole, without nipples"},
        "data": {"kind": kind, **asdict(given)},
        "result": lot_table(lot),
    }


def known_data(document: Mapping[str, Any]) -> KnownData:
    """What a record of known tensions was computed from."""
    data = document["data"]
    known = {
        int(spoke): Known(row["tension_n"], row["u_tension_n"], row.get("u_own_n"), row.get("tyre"))
        for spoke, row in data["known"].items()
    }
    heard = {int(spoke): _heard_from(row) for spoke, row in data["heard"].items()}
    return KnownData(data["wheel_file"], heard, known, document["state"])


def hanging_data(document: Mapping[str, Any], spoke: Spoke) -> HangingData:
    """What a record of hanging masses was computed from; ``spoke`` is the library's kind of its name."""
    data = document["data"]
    rows = [data["masses"][str(number)] for number in range(1, len(data["masses"]) + 1)]
    heard = [_heard_from(row) for row in rows]
    jig = Jig(
        data["free_length_m"],
        data["u_length_m"],
        Gravity(data["gravity_m_s2"], data["u_gravity_m_s2"]),
        data.get("mass_density_kg_m3"),
    )
    partials = Partials(
        np.array([one.log_frequency for one in heard]),
        np.array([one.sd for one in heard]),
        np.array([one.start_log_tension for one in heard]),
    )
    masses = tuple(Hung(row["mass_kg"], row["u_mass_kg"]) for row in rows)
    return HangingData(data["kind"], spoke, jig, masses, tuple(row["sound"] for row in rows), partials)


def again(document: Mapping[str, Any], spoke: Spoke | None) -> Document:
    """The result of a record computed again from its data; ``spoke`` is the library's kind of a record that has one."""
    head = Head(*(document[key] for key in ("name", "date", "measured_by", "program", "note")))
    if document["how"] == "known":
        data = known_data(document)
        wheel = parse_wheel(data.wheel_text, f"the wheel file in calibration {head.name}")
        return known_document(head, data, wheel, tie_wheel(wheel, data.heard, data.known))
    if spoke is None:
        raise ValueError("a record of hanging masses or of weighed spokes needs its kind of spoke")
    if document["how"] == "weighed":
        told = {key: value for key, value in document["data"].items() if key != "kind"}
        return weighed_document(head, document["data"]["kind"], Weighed(**told), spoke)
    hung = hanging_data(document, spoke)
    return hanging_document(head, hung, fit_hanging(spoke, hung.jig, hung.masses, hung.heard))


def as_kept(one: HeardSpoke) -> HeardSpoke:
    """What was heard with the digits that a record keeps, so that the same result comes out of it again."""
    return _heard_from(_heard_table(one))


def learned_from(table: Mapping[str, Any]) -> SharedPrior:
    """What a group of a record learned."""
    learned = table["learned"]
    weight, mean, covariance = (np.array(learned[key], dtype=np.float64) for key in ("weight", "mean", "covariance"))
    return SharedPrior(weight, mean, covariance)


def lot_table(lot: Lot) -> Document:
    """A lot as it stands in a record."""
    figures = {
        each.name.replace(", ", " ").replace(" ", "_"): {
            "unit": each.unit,
            "value": _short(each.value),
            "u": _short(each.u),
            "before": _short(each.tabled),
            "u_before": _short(each.u_tabled),
        }
        for each in figures_of(lot)
    }
    return {
        "figures": figures,
        "spoke": spoke_table(lot.spoke),
        "tolerances": {"mean": _rows(lot.mean), "covariance": _rows(lot.covariance)},
    }


def _head_table(how: str, head: Head) -> Document:
    return {
        "format": FORMAT,
        "how": how,
        "name": head.name,
        "date": head.date,
        "measured_by": head.measured_by,
        "program": head.program,
        "note": head.note,
    }


def _group_table(wheel: Wheel, group: TiedGroup) -> Document:
    """One group's result."""
    agreement = group.agreement
    spokes = {
        str(one.spoke): {
            "sound_n": _short(one.sound_n),
            "u_sound_n": _short(one.u_sound_n),
            "tied_n": _short(one.tied_n),
            "u_tied_n": _short(one.u_tied_n),
        }
        for one in group.spokes
    }
    return {
        "build": build_table(wheel, group.key),
        "chi_square": _short(agreement.chi_square),
        "degrees": agreement.degrees,
        "probability": _short(agreement.probability),
        "level": _short(agreement.level),
        "u_level": _short(agreement.u_level),
        "sources": list(group.sources),
        "learned": {
            "weight": _rows(group.learned.weight),
            "mean": _rows(group.learned.mean),
            "covariance": _rows(group.learned.covariance),
        },
        "spokes": spokes,
    }


def _heard_table(one: HeardSpoke) -> Document:
    """Partials heard of a spoke: Hz and relative standard uncertainty by plane and mode, 0 where not heard."""
    there = np.isfinite(one.sd)
    hertz = np.where(there, np.exp(np.where(there, one.log_frequency, 0.0)), 0.0)
    return {
        "start_n": _short(float(np.exp(one.start_log_tension))),
        "partials_hz": _rows(hertz),
        "u_relative": _rows(np.where(there, one.sd, 0.0)),
    }


def _heard_from(row: Mapping[str, Any]) -> HeardSpoke:
    hertz, u = (np.array(row[key], dtype=np.float64) for key in ("partials_hz", "u_relative"))
    there = u > 0
    logs = np.log(np.where(there, hertz, 1.0))
    return HeardSpoke(logs, np.where(there, u, np.inf), float(np.log(row["start_n"])))


def _rows(values: Array) -> list[Any]:
    """An array as nested lists of short floats."""
    return [_short(each) if not isinstance(each, np.ndarray) else _rows(each) for each in values]


def _short(value: float) -> float:
    return float(f"{float(value):.{_DIGITS}g}")
