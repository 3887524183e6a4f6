"""The one way in: what may be asked of a recording, and what is refused with which words."""

from __future__ import annotations

import json
import math
from pathlib import Path

import numpy as np
import pytest
import soundfile

import tensionear as te
from tensionear.capture.plucks import find_plucks
from tensionear.catalogue import build_spoke, library_spoke
from tensionear.errors import SoundError, UsageError
from tensionear.listening import Listener, listen_through
from tensionear.physics.generic import expect_any_tone
from tensionear.pipeline import LONGEST_M, SHORTEST_M
from tensionear.reading import FORMAT, EndStiffness, Finding, Limits, Reading
from tests.readings.contract import checked
from tests.readings.recorded import read_single, recording_of, single, spoke_of, string
from tests.wheel.wheel_texts import SHORT

RATE_HZ = 48_000
SPOKE = library_spoke("steel-round-2.0")
QUIET = te.Recording(np.zeros(RATE_HZ, np.float32), RATE_HZ, "mute.wav")


@pytest.mark.parametrize(
    "given",
    [
        {},
        {"spoke": SPOKE, "free_length_m": 0.29, "spokes": 28},
        {"wheel": "W", "spokes": 28},
        {"wheel": "W", "spoke": SPOKE, "free_length_m": 0.29},
        {"wheel": "W", "spoke": SPOKE, "spokes": 28},
        {"free_length_m": 0.29},
    ],
)
def test_exactly_one_thing_is_asked(given: dict[str, object], tmp_path: Path) -> None:
    if "wheel" in given:
        path = tmp_path / "w.toml"
        path.write_text(SHORT)
        given = {**given, "wheel": te.load_wheel(path)}
    with pytest.raises(UsageError, match="exactly one of: wheel; spoke with free_length_m; spokes"):
        te.read(QUIET, **given)


@pytest.mark.parametrize("spokes", [0, -3])
def test_a_wheel_has_a_spoke(spokes: int) -> None:
    with pytest.raises(UsageError, match=f"{spokes} spokes: a wheel has at least 1"):
        te.read(QUIET, spokes=spokes)


@pytest.mark.parametrize(
    ("length_m", "message"),
    [
        (None, "give its free length too"),
        (0.0499, r"49\.9 mm is no free length of a spoke \(50 to 600 mm\); check --length"),
        (0.6001, r"600\.1 mm is no free length"),
        (290.0, r"290000\.0 mm is no free length"),
        (-0.29, r"-290\.0 mm is no free length"),
        (math.nan, "nan mm is no free length"),
    ],
)
def test_lengths_no_spoke_has(length_m: float | None, message: str) -> None:
    with pytest.raises(UsageError, match=message):
        te.read(QUIET, spoke=SPOKE, free_length_m=length_m)


def test_a_length_must_hold_the_thick_ends() -> None:
    butted = build_spoke(
        "mine",
        {
            "material": "steel",
            "shape": "butted",
            "end_diameter_mm": 2.0,
            "middle_diameter_mm": 1.8,
            "head_mm": 60.0,
            "tail_mm": 40.0,
        },
    )
    with pytest.raises(
        UsageError, match=r"100\.0 mm is shorter than the thick ends of mine \(100 mm\); check --length"
    ):
        te.read(QUIET, spoke=butted, free_length_m=0.1)
    with pytest.raises(SoundError, match="silent"):  # one millimetre more is a spoke
        te.read(QUIET, spoke=butted, free_length_m=0.101)


def test_the_shortest_and_the_longest_are_allowed() -> None:
    for length_m in (SHORTEST_M, LONGEST_M):
        with pytest.raises(SoundError, match="silent"):
            te.read(QUIET, spoke=SPOKE, free_length_m=length_m)


def with_one(value: float, at: int = 70_000) -> np.ndarray:
    sound = (0.01 * np.random.default_rng(1).standard_normal(2 * RATE_HZ)).astype(np.float32)
    sound[at] = value
    return sound


@pytest.mark.parametrize(
    ("samples", "rate_hz", "message"),
    [
        (np.zeros(0, np.float32), RATE_HZ, r"take\.wav holds no sound \(0 samples\)"),
        (np.zeros((0, 2), np.float32), RATE_HZ, "holds no sound"),
        (np.zeros(RATE_HZ, np.float32), RATE_HZ, "take.wav is silent"),
        (with_one(np.nan), RATE_HZ, r"not a number \(NaN\) at 1\.458 s"),
        (with_one(np.inf), RATE_HZ, "infinite sample at 1.458 s"),
        (with_one(1e6), RATE_HZ, "times full scale"),
        (with_one(0.1), 8000, "8000 Hz; 16000 to 384000 Hz is read"),
        (with_one(0.1), 1, "header is broken"),
        (with_one(0.1), 3_000_000, "header is broken"),
    ],
)
@pytest.mark.parametrize("asked", [{"spokes": 1}, {"spokes": 28}, {"spoke": SPOKE, "free_length_m": 0.29}])
def test_what_is_no_sound_is_refused(
    samples: np.ndarray, rate_hz: float, message: str, asked: dict[str, object]
) -> None:
    with pytest.raises(SoundError, match=message) as caught:
        te.read(te.Recording(samples, rate_hz, "take.wav"), **asked)
    assert "\n" not in str(caught.value)
    assert caught.value.exit_code == 2


def test_a_missing_file_is_one_line(tmp_path: Path) -> None:
    with pytest.raises(SoundError, match=r"nowhere\.wav") as caught:
        te.read(tmp_path / "nowhere.wav", spokes=1)
    assert "\n" not in str(caught.value)


def test_a_file_reads_as_the_same_samples_in_memory(tmp_path: Path) -> None:
    """Single plucks and tones, by text and by path; the name is the path as given."""
    drawn = single(2000)
    path = tmp_path / "pluck.wav"
    soundfile.write(path, drawn.samples, drawn.sample_rate_hz, subtype="FLOAT")
    found = te.read(str(path), spoke=spoke_of(drawn), free_length_m=drawn.free_length_m)
    assert found.file == str(path)
    assert found.to_dict()["plucks"] == read_single(2000).to_dict()["plucks"]
    assert te.read(path, spokes=1).to_dict()["plucks"] == te.read(recording_of(drawn), spokes=1).to_dict()["plucks"]


def test_the_channel_that_rings_is_used_and_said() -> None:
    mono = string(220.0)
    hiss = (0.0005 * np.random.default_rng(2).standard_normal(len(mono.samples))).astype(np.float32)
    both = te.Recording(np.stack([hiss, mono.samples], axis=1), mono.sample_rate_hz)
    found = te.read(both, spokes=1)
    assert any("channel 2" in warning for warning in found.warnings)
    assert found.to_dict()["plucks"] == te.read(mono, spokes=1).to_dict()["plucks"]


def test_16_bit_and_float_samples_of_any_kind_are_read() -> None:
    mono = string(220.0)
    wide = te.Recording(mono.samples.astype(np.float64), mono.sample_rate_hz)
    assert te.read(wide, spokes=1).to_dict()["plucks"] == te.read(mono, spokes=1).to_dict()["plucks"]


def test_two_strings_that_overlap_have_each_their_own_pitch() -> None:
    """The second is plucked while the first rings."""
    one, two = string(220.0, onset_s=0.5), string(311.1, onset_s=1.0)
    length = max(len(one.samples), len(two.samples))
    mixed = sum(np.pad(each.samples, (0, length - len(each.samples))) for each in (one, two))
    used = [pluck for pluck in te.read(te.Recording(mixed, 48_000.0), spokes=1).plucks if pluck.used]
    assert [round(pluck.onset_s, 2) for pluck in used] == [0.5, 1.0]
    assert [pluck.frequency_hz for pluck in used] == pytest.approx([220.0, 311.1], rel=1e-3)


def test_a_listener_remembers_what_rings_and_not_what_was_noise() -> None:
    listener = Listener([expect_any_tone()])
    plucks = list(find_plucks(string(220.0), 0))
    pluck = next(each for each in plucks if abs(each.onset_s - 0.6) < 0.01)
    strike = listener.hear(pluck)
    assert strike.probability > 0.5
    known = [line.frequency_hz for line in listener._old]
    assert min(abs(hz - 220.0) for hz in known) < 0.5
    hiss = te.Recording((0.01 * np.random.default_rng(3).standard_normal(4 * RATE_HZ)).astype(np.float32), RATE_HZ)
    for each in find_plucks(hiss, 0):
        assert listener.hear(each).probability < 0.3
    assert [line.frequency_hz for line in listener._old] == known


def test_a_ring_stopped_by_a_finger_is_seen_at_the_next_pluck() -> None:
    """The first string is stopped dead 70 ms before the second onset, or rings on."""
    one, two = string(220.0, onset_s=0.5), string(311.1, onset_s=1.0)
    stopped = one.samples.copy()
    stopped[round(0.93 * RATE_HZ) :] *= 0.01
    length = max(len(one.samples), len(two.samples))
    fall_db = []
    for first in (stopped, one.samples):
        mixed = sum(np.pad(each, (0, length - len(each))) for each in (first, two.samples))
        heard = listen_through(te.Recording(mixed, RATE_HZ), [expect_any_tone()])
        fall_db.append(next(each.fall_db for each in heard.strikes if abs(each.onset_s - 1.0) < 0.01))
    assert fall_db[0] > 15
    assert -3 < fall_db[1] < 4


def test_json_never_holds_what_json_cannot() -> None:
    """Numbers that are none become null, wherever they stand; numpy's become plain."""
    ends = EndStiffness("hub", "both", math.inf, (1.0, math.nan), "assumed")
    reading = Reading(
        *("x.wav", "wheel", "t", np.float64(1.5), 48_000.0, ("w",), (Finding("c", "t", (1, 2)),), None, (), (), {}),
        *({"right": (ends,)}, Limits(5.0, math.nan, None, {"right": -math.inf})),
    )
    found = reading.to_dict()
    assert json.loads(json.dumps(found, allow_nan=False)) == found
    assert found["format"] == FORMAT
    assert found["ends"]["right"][0]["n_m_per_rad"] is None
    assert found["ends"]["right"][0]["interval_95"] == [1.0, None]
    assert found["limits"]["max_tension_n"] is None
    assert found["limits"]["target_n"] == {"right": None}
    assert type(found["duration_s"]) is float
    assert found["findings"] == [{"code": "c", "text": "t", "spokes": [1, 2], "severity": "caution"}]


def test_public_names_come_from_where_they_live() -> None:
    assert te.read is __import__("tensionear.pipeline", fromlist=["read"]).read
    assert set(te.__all__) <= set(dir(te))
    with pytest.raises(AttributeError, match="no attribute 'reed'"):
        te.reed  # noqa: B018


def test_a_reading_has_the_json_form_of_the_design() -> None:
    checked(read_single(2000))
