"""In what order spokes are plucked, and only those that an earlier reading found out of their limits."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
import soundfile

from tensionear.cli import main
from tensionear.live.events import Value
from tensionear.live.subject import against
from tensionear.records.log import Log
from tests.live.stand import drawn

SPOKES = 6


@pytest.fixture
def take(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> tuple[str, str]:
    """A round at the stand, its wheel held to 2 %, the first of its spokes only as sound."""
    monkeypatch.setenv("TENSIONEAR_LOG", str(tmp_path / "log.sqlite"))
    wheel, sound = tmp_path / "stand.toml", tmp_path / "stand.wav"
    wheel.write_text(drawn(SPOKES).wheel_toml.replace("evenness_percent = 5", "evenness_percent = 2"))
    soundfile.write(sound, drawn(SPOKES).samples[: 5 * 48_000], 48_000, subtype="PCM_24")
    return str(wheel), str(sound)


def reading_with(out: set[int], wheel: str, sound: str, capsys: pytest.CaptureFixture[str]) -> dict[str, object]:
    """A reading of the wheel that found these spokes out of their limits."""
    assert main(["read", sound, "--wheel", wheel, "--json"]) == 0
    document: dict[str, object] = json.loads(capsys.readouterr().out)
    (reading,) = document["recordings"]  # type: ignore[misc]
    for spoke in reading["spokes"]:
        spoke["verdict"] = "out" if spoke["spoke"] in out else "within"
    return document


def plucked(capsys: pytest.CaptureFixture[str]) -> list[str]:
    """Labels in the order they were awaited."""
    lines = [line.partition(",")[0] for line in capsys.readouterr().out.splitlines() if "from the valve" in line]
    return list(dict.fromkeys(lines))


def test_only_those_out_of_their_limits_in_the_order_asked_for(
    take: tuple[str, str], tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    wheel, sound = take
    before = tmp_path / "before.json"
    before.write_text(json.dumps(reading_with({2, 3}, wheel, sound, capsys)))
    options = ["listen", wheel, "--from", sound, "--fast", "--plain", "--plucks", "2", "--out-of", str(before)]
    assert main(options) == 0
    assert plucked(capsys)[:2] == ["L1", "R2"]
    assert main([*options, "--order", "right-then-left"]) == 0
    assert plucked(capsys)[:2] == ["R2", "L1"]
    before.write_text(json.dumps(reading_with(set(), wheel, sound, capsys)))
    assert main(options) == 2
    assert "no spoke out of its limits; leave out --out-of" in capsys.readouterr().err
    document = reading_with({2}, wheel, sound, capsys)
    del document["recordings"][0]["spokes"][5]  # type: ignore[index]
    before.write_text(json.dumps(document))
    assert main(options) == 2
    assert "is of 5 spokes, the wheel has 6" in capsys.readouterr().err


def test_the_last_round_in_the_log_is_one_of_the_whole_wheel(
    take: tuple[str, str], tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    wheel, _ = take
    whole = tmp_path / "whole.wav"
    soundfile.write(whole, drawn(SPOKES).samples, 48_000, subtype="PCM_24")
    options = ["listen", wheel, "--from", str(whole), "--fast", "--plain", "--plucks", "2"]
    assert main([*options, "--out-of", "last"]) == 2
    assert "no finished round of" in capsys.readouterr().err
    assert main(options) == 0
    capsys.readouterr()
    (row,) = Log().rounds()
    reading = Log().load(row.id).reading
    assert reading is not None
    out = [each.label for each in reading.spokes if each.verdict == "out"]
    assert 0 < len(out) < SPOKES / 2 + 1
    for _ in range(2):  # the second time a round of those few is the latest in the log
        assert main([*options, "--out-of", "last"]) == 0
        said = capsys.readouterr().out
        first = [line.partition(",")[0] for line in said.splitlines() if "from the valve" in line]
        assert list(dict.fromkeys(first))[: len(out)] == out


def test_the_mean_of_a_side_counts_what_was_read_before() -> None:
    value = Value(400.0, 1100.0, 9.0)
    assert against(value, []).deviation_percent is None
    assert against(value, [], [1000.0, 1000.0, 1000.0]).deviation_percent == pytest.approx(100 * (1100 / 1025 - 1))
