"""The JSON form of a reading, key by key, as other people's scripts rely on it."""

from __future__ import annotations

import json
from typing import Any

from tensionear.reading import Reading

MEMBER = {
    "file",
    "duration_s",
    "sample_rate_hz",
    "warnings",
    "findings",
    "verdict",
    "plucks",
    "spokes",
    "sides",
    "ends",
}
FINDING = {"code", "text", "spokes", "severity"}
PLUCK = {
    *("onset_s", "spoke", "side", "used", "rejected", "frequency_hz", "u_frequency_hz", "edge_frequency_hz"),
    *("tension_n", "u_tension_n", "partials"),
}
PARTIAL = {"mode", "plane", "frequency_hz", "u_frequency_hz", "decay_s", "level_db"}
SPOKE = {
    *("spoke", "label", "side", "tension_n", "u_tension_n", "interval_95_n", "u_individual_n", "u_common_n"),
    *("deviation_percent", "u_deviation_percent", "verdict"),
}
SIDE = {"mean_n", "u_mean_n", "spread_percent", "verdict"}
END = {"end", "plane", "n_m_per_rad", "interval_95", "how"}
VERDICTS = {"within", "out", "undecided", None}


def checked(reading: Reading) -> dict[str, Any]:
    """The JSON form, after a round trip through text, with every key and kind of value looked at."""
    given = reading.to_dict()
    assert given["format"] == "tensionear.read/1"
    assert {"format": given["format"], **reading.to_member()} == given
    plain(given)
    found = json.loads(json.dumps(given, allow_nan=False))
    assert found == given
    assert found.keys() >= MEMBER
    assert found["verdict"] in VERDICTS
    assert found["probability_within"] is None or 0 <= found["probability_within"] <= 1
    for finding in found["findings"]:
        assert finding.keys() >= FINDING
        assert finding["text"]
        assert finding["severity"] in ("danger", "fault", "caution", "note")
        assert all(isinstance(spoke, int) for spoke in finding["spokes"])
    for pluck in found["plucks"]:
        check_pluck(pluck)
    for spoke in found["spokes"]:
        check_spoke(spoke)
    for side in found["sides"].values():
        assert side.keys() >= SIDE
        assert side["verdict"] in VERDICTS
    for ends in found["ends"].values():
        for end in ends:
            assert end.keys() >= END
            assert end["interval_95"][0] < end["n_m_per_rad"] < end["interval_95"][1]
            assert end["how"] in ("found", "assumed")
    return found


def plain(value: Any) -> None:
    """Only what JSON knows, and exactly that: no subclass of a number or text, so no numpy."""
    if isinstance(value, dict):
        assert all(type(key) is str for key in value)
        for item in value.values():
            plain(item)
    elif isinstance(value, list):
        for item in value:
            plain(item)
    else:
        assert value is None or type(value) in (str, int, float, bool), repr(value)


def check_pluck(pluck: dict[str, Any]) -> None:
    assert pluck.keys() >= PLUCK
    assert pluck["used"] is (pluck["rejected"] is None)
    if not pluck["used"]:
        assert pluck["advice"]
        assert (pluck["frequency_hz"], pluck["tension_n"], pluck["partials"]) == (None, None, [])
        return
    assert pluck["u_frequency_hz"] > 0
    firsts = [each for each in pluck["partials"] if each["mode"] == 1]
    assert pluck["frequency_hz"] in [each["frequency_hz"] for each in firsts if each["plane"] != "edge"]
    for partial in pluck["partials"]:
        assert partial.keys() >= PARTIAL
        assert partial["plane"] in ("flat", "edge", "both")
        assert partial["mode"] >= 1
        assert partial["decay_s"] > 0
    assert max(each["level_db"] for each in pluck["partials"]) == 0


def check_spoke(spoke: dict[str, Any]) -> None:
    assert spoke.keys() >= SPOKE
    assert spoke["verdict"] in VERDICTS
    if spoke["tension_n"] is None:
        assert (spoke["u_tension_n"], spoke["interval_95_n"]) == (None, None)
        return
    low, high = spoke["interval_95_n"]
    assert low < spoke["tension_n"] < high
    assert abs(spoke["u_tension_n"] - (high - low) / 2 / 1.96) < 1e-3 * spoke["u_tension_n"]
    assert abs(spoke["u_individual_n"] ** 2 + spoke["u_common_n"] ** 2 - spoke["u_tension_n"] ** 2) < 1e-6 * high**2
