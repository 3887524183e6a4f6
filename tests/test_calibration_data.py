"""Every number in ``calibration/`` has a source and a standard uncertainty, and the check that says so can fail."""

import copy
import tomllib

import pytest

from tensionear.data import data_file

FILES = sorted(path.name for path in data_file("calibration", "spokes.toml").parent.glob("*.toml"))
UNCERTAINTIES = {"u_percent", "u_mm", "u_g", "u_factor"}
# An uncertainty alone, of what an owner states: it is the value.
DEFAULTS = "defaults"


def faults(table, sources, path=()):
    """What lacks a source or an uncertainty, by path."""
    if "source" in table or "value" in table or UNCERTAINTIES & set(table):
        return [".".join(path) + f": {fault}" for fault in entry_faults(table, sources, DEFAULTS in path)]
    found = []
    for key, item in table.items():
        if isinstance(item, dict):
            found += faults(item, sources, (*path, key))
        elif not isinstance(item, str):
            found.append(f"{'.'.join((*path, key))}: a bare number")
    return found


def entry_faults(entry, sources, default):
    if entry.get("source") not in sources:
        yield "no source"
    stated = UNCERTAINTIES & set(entry)
    if len(stated) != 1 or not all(isinstance(entry[key], float) and entry[key] > 0 for key in stated):
        yield "no uncertainty"
    if not default and not (isinstance(entry.get("value"), float) and entry["value"] > 0):
        yield "no value"


def loaded(name):
    return tomllib.loads(data_file("calibration", name).read_text("utf-8"))


def checked(tables):
    return faults({key: item for key, item in tables.items() if key != "sources"}, tables["sources"])


@pytest.mark.parametrize("name", FILES)
def test_every_value_has_a_source_and_an_uncertainty(name):
    assert checked(loaded(name)) == []


@pytest.mark.parametrize("name", FILES)
def test_every_source_is_told_and_used(name):
    tables = loaded(name)
    text = data_file("calibration", name).read_text("utf-8")
    for key, source in tables["sources"].items():
        assert len(source) > 10
        assert f'source = "{key}"' in text


@pytest.mark.parametrize(
    ("spoil", "fault"),
    [
        (lambda steel: steel["density_kg_m3"].pop("source"), "steel.density_kg_m3: no source"),
        (lambda steel: steel["density_kg_m3"].update(source="hearsay"), "steel.density_kg_m3: no source"),
        (lambda steel: steel["density_kg_m3"].pop("u_percent"), "steel.density_kg_m3: no uncertainty"),
        (lambda steel: steel["density_kg_m3"].update(u_percent=0.0), "steel.density_kg_m3: no uncertainty"),
        (lambda steel: steel["density_kg_m3"].pop("value"), "steel.density_kg_m3: no value"),
        (lambda steel: steel.update(density_kg_m3=7900.0), "steel.density_kg_m3: a bare number"),
    ],
)
def test_the_check_sees_what_is_missing(spoil, fault):
    tables = copy.deepcopy(loaded("materials.toml"))
    spoil(tables["steel"])
    assert checked(tables) == [fault]


def test_thread_sizes_agree_with_each_other():
    """DIN 79012: major - minor = 2 x 0.5327 pitch, 56 threads to the inch (secondary table)."""
    for name, thread in loaded("threads.toml").items():
        if name == "sources":
            continue
        pitch_mm = thread["pitch_mm"]["value"]
        assert pitch_mm == pytest.approx(25.4 / 56, abs=1e-6)
        depth_mm = thread["major_diameter_mm"]["value"] - thread["minor_diameter_mm"]["value"]
        assert depth_mm == pytest.approx(2 * 0.5327 * pitch_mm, abs=0.001)
