"""A round broken off anywhere and gone on with reads as one that was never broken off."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
import soundfile

from tensionear.capture.microphone import Piece
from tensionear.cli import main
from tensionear.live.events import Asked as AskedFor
from tensionear.live.events import Value
from tensionear.live.keeping import LogKeeper, Restored, latest_unfinished, restored
from tensionear.live.session import Session
from tensionear.live.told import Told
from tensionear.reading import PluckReading
from tensionear.records.log import Log
from tensionear.records.values import Asked
from tests.live.stand import Shelf, drawn, heard, pieces, session_of

SPOKES = 6


def tensions(document: str) -> dict[int, float]:
    (reading,) = json.loads(document)["recordings"]
    return {each["spoke"]: each["tension_n"] for each in reading["spokes"]}


@pytest.fixture
def files(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> tuple[str, str]:
    monkeypatch.setenv("TENSIONEAR_LOG", str(tmp_path / "log.sqlite"))
    wheel, sound = tmp_path / "stand.toml", tmp_path / "stand.wav"
    wheel.write_text(drawn(SPOKES).wheel_toml)
    soundfile.write(sound, drawn(SPOKES).samples, drawn(SPOKES).sample_rate_hz, subtype="PCM_24")
    return str(wheel), str(sound)


#: Tensions of the round that was not broken off, by how it is heard; each heard once for all tests.
NEVER_BROKEN: dict[tuple[str, ...], dict[int, float]] = {}
PLUCKED, SILENT, WHOLE = ("--plucks", "2"), ("--plucks", "2", "--no-audio"), ()


@pytest.mark.parametrize(
    ("broken_s", "how"), [(2.4, PLUCKED), (7.1, PLUCKED), (13.1, PLUCKED), (4.7, SILENT), (4.7, WHOLE)]
)
def test_from_a_file_it_reads_the_same(
    files: tuple[str, str],
    broken_s: float,
    how: tuple[str, ...],
    tmp_path: Path,
    capsys: pytest.CaptureFixture[str],
) -> None:
    wheel, sound = files
    start = tmp_path / "start.wav"
    soundfile.write(start, drawn(SPOKES).samples[: round(broken_s * 48_000)], 48_000, subtype="PCM_24")
    options = ["--fast", "--json", *how]
    if how not in NEVER_BROKEN:
        main(["listen", wheel, "--from", sound, *options, "--log", str(tmp_path / "other.sqlite")])
        NEVER_BROKEN[how] = tensions(capsys.readouterr().out)
    whole = NEVER_BROKEN[how]
    main(["listen", wheel, "--from", str(start), *options])
    capsys.readouterr()
    (row,) = Log().unfinished()
    assert 0 < row.plucks < 2 * SPOKES
    assert main(["listen", wheel, "--from", sound, *options, "--resume"]) == 0
    again = tensions(capsys.readouterr().out)
    assert set(again) == set(whole) == set(range(1, SPOKES + 1))
    assert again == pytest.approx(whole, rel=0.0005)
    assert Log().unfinished() == ()


def test_over_a_microphone_the_kept_sounds_give_the_same(tmp_path: Path) -> None:
    """What was rejected between is not kept, and the ring across the break is not heard."""
    log, take = Log(tmp_path / "log.sqlite"), drawn(SPOKES)
    before = heard(SPOKES)
    keeper = LogKeeper(lambda: log.open_round(Asked(), "stand"), str, True, None)
    session = session_of(take, [], keeper)
    blocks = pieces(take)
    broken = next(index for index in range(len(blocks)) if _has(session, blocks[index], 3))
    opened = latest_unfinished(log, "stand")
    told: list[Told] = []
    going_on = session_of(take, told, LogKeeper(lambda: opened, str, True, None), restored(opened))
    assert told[0].text == "going on: 3 of 6 spokes were kept"
    for piece in blocks[broken + 1 :]:
        going_on.push(piece)
    going_on.finish()
    assert going_on.round.closed
    whole = {each.spoke: each.tension_n for each in before.session.read().spokes}
    again = {each.spoke: each.tension_n for each in going_on.read().spokes}
    assert again == pytest.approx(whole, rel=0.002)


def _has(session: Session, piece: Piece, spokes: int) -> bool:
    session.push(piece)
    return len(session.round.accepted) == spokes


def test_a_lap_that_was_closed_stays_closed(files: tuple[str, str]) -> None:
    value = Value(400.0, 1000.0, 9.0)
    plucks = [(1.0 + spoke + pluck / 4, spoke) for spoke in range(1, SPOKES + 1) for pluck in range(2)]
    kept = [Restored(onset_s, spoke, value, None) for onset_s, spoke in plucks]
    session = session_of(drawn(SPOKES), [], Shelf({}, []), kept)
    assert session.round.complete
    assert not session.over
    session = session_of(drawn(SPOKES), [], Shelf({}, []), [*kept, Restored(20.0, 1, value, None)])
    assert session.round.closed
    assert session.over


def test_what_was_kept_before_the_break_can_be_taken_back(tmp_path: Path) -> None:
    log = Log(tmp_path / "log.sqlite")
    opened = log.open_round(Asked(), "stand")
    value = Value(400.0, 1000.0, 9.0)
    for onset_s, spoke in ((1.0, 1), (2.0, 2)):
        opened.append(PluckReading(onset_s, spoke, None, True, None, None, 400.0, None, None, 1000.0, 9.0))
    kept = [Restored(1.0, 1, value, None), Restored(2.0, 2, value, None)]
    session = session_of(drawn(SPOKES), [], LogKeeper(lambda: opened, str, True, None), kept)
    session.ask(AskedFor("back"))
    assert [each.reading.spoke for each in opened.plucks] == [1]
