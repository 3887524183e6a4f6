"""A round from its sound: named right, read as the file is, kept before it is said, and taken up again."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from tensionear.capture.recording import Recording
from tensionear.listening import Hearing, listen_through
from tensionear.live.ear import LiveEar
from tensionear.live.events import Asked
from tensionear.live.keeping import KeptPluck, Restored
from tensionear.live.session import Session
from tensionear.live.subject import CountSubject, WheelSubject
from tensionear.live.told import Setup, Told
from tensionear.options import RoundOptions
from tensionear.pipeline import expectations_of, read
from tests.live.stand import Shelf, drawn, heard, pieces, session_of, wheel


def truth_of(onset_s: float, spokes: int = 4, late: float = 0.0) -> int | None:
    return min(drawn(spokes, late).plucks, key=lambda event: abs(event.onset_s - onset_s)).spoke


def as_restored(kept: KeptPluck) -> Restored:
    sound = Recording(kept.pluck.samples, kept.pluck.rate_hz)
    return Restored(kept.onset_s, kept.spoke, kept.value, sound)


@pytest.mark.parametrize("late", [0.0, 0.4])
def test_every_pluck_is_its_spoke_and_the_lap_is_closed(late: float) -> None:
    state = heard(4, late).session.round
    assert state.closed
    assert set(state.accepted) == {1, 2, 3, 4}
    for spoke, taken in state.accepted.items():
        assert {truth_of(each.onset_s, 4, late) for each in taken} == {spoke}


def test_tensions_are_those_of_the_file_and_near_the_truth() -> None:
    reading = heard().session.read()
    assert any(finding.code == "lap-closed" for finding in reading.findings)
    for each, true in zip(reading.spokes, drawn().spokes, strict=True):
        assert each.tension_n == pytest.approx(true.tension_n, rel=0.03)


def test_the_whole_ring_is_heard_as_in_the_file_to_the_bit() -> None:
    take = drawn()
    expectations = expectations_of(wheel())
    from_file = listen_through(Recording(take.samples, take.sample_rate_hz), expectations).strikes
    ear = LiveEar(take.sample_rate_hz, 0, expectations)
    found = [each for piece in pieces(take, 517) for each in ear.push(piece.samples)] + ear.flush()
    live = [each.strike for each in found if each.stage == "whole"]
    assert [each.onset_s for each in live] == [each.onset_s for each in from_file]
    for one, other in zip(live, from_file, strict=True):
        assert one.probability == other.probability
        assert [h.lines for h in one.heard] == [h.lines for h in other.heard]


def test_first_looks_and_last_words_come_in_time_and_near_the_whole() -> None:
    take = drawn()
    ear = LiveEar(take.sample_rate_hz, 0, expectations_of(wheel()))
    when: dict[str, list[float]] = {"first": [], "last": []}
    for piece in pieces(take):
        for each in ear.push(piece.samples):
            if each.stage in when and each.strike.probability > 0.5:
                when[each.stage].append(ear.now_s - each.strike.onset_s)
    assert len(when["last"]) == len(take.plucks)
    assert max(when["first"]) < 0.22  # of 0.3 s; the rest is the sound card's and the arithmetic's
    assert max(when["last"]) < 0.65  # of 0.9 s


def test_a_dead_first_channel_is_not_listened_to() -> None:
    take = drawn()
    ear = LiveEar(take.sample_rate_hz, None, expectations_of(wheel()))
    samples = np.column_stack([np.zeros(len(take.samples), np.float32), take.samples])[: 4 * take.sample_rate_hz]
    found = [each for start in range(0, len(samples), 960) for each in ear.push(samples[start : start + 960])]
    assert ear.channel == 1
    assert any(each.strike.probability > 0.9 for each in found)


def test_a_pluck_is_kept_before_it_is_told_and_its_whole_ring_after() -> None:
    take, told = drawn(), []
    shelf = Shelf({}, [])
    seen: list[tuple[Told, int]] = []
    session = session_of(take, told, shelf)
    session._tell = lambda one: seen.append((one, len(shelf.kept)))
    for piece in pieces(take):
        session.push(piece)
        if session.round.place == 2:
            break
    accepted = [(one, kept) for one, kept in seen if one.kind == "accepted"]
    assert [kept for _, kept in accepted] == [2, 4]
    first = min(shelf.kept)
    assert shelf.kept[first].pluck.ring_s > 0.6  # the last word has 0.55 s


def test_a_full_disk_is_told_and_the_spoke_stays_open() -> None:
    take, told = drawn(), []
    shelf = Shelf({}, [], full=True)
    session = session_of(take, told, shelf)
    for piece in pieces(take)[: round(3.2 / 0.02)]:
        session.push(piece)
    assert session.round.spoke == 1
    assert not session.round.accepted
    assert any(one.code == "not-kept" and "disk is full" in one.text for one in told)
    shelf.full = False
    for piece in pieces(take)[: round(3.2 / 0.02)]:
        session.push(piece)
    assert 1 in session.round.accepted


def test_a_kept_round_goes_on_with_a_corrected_wheel() -> None:
    take, told = drawn(), []
    shelf = Shelf({}, [])
    session = session_of(take, told, shelf)
    for piece in pieces(take):
        session.push(piece)
    session.finish()
    places = tuple(replace(place, free_length_m=place.free_length_m * 1.01) for place in wheel().places)
    longer = replace(wheel(), places=places)
    again = Session(WheelSubject(longer), Setup("stand", 1, RoundOptions(), 2), shelf, lambda cue: None, told.append)
    again.restore([as_restored(shelf.kept[onset]) for onset in sorted(shelf.kept)])
    assert again.round.complete
    again.listen_to(48_000.0, 1, 0)
    before, after = session.read(), again.read()
    ratios = [
        (other.tension_n or 0.0) / (one.tension_n or 1.0)
        for one, other in zip(before.spokes, after.spokes, strict=True)
    ]
    assert np.mean(ratios) == pytest.approx(1.0125, abs=0.005)  # by 1 % of length


def test_lost_sound_makes_its_pluck_doubtful() -> None:
    take, told = drawn(), []
    session = session_of(take, told)
    for number, piece in enumerate(pieces(take)[: round(2.6 / 0.02)]):
        session.push(replace(piece, doubtful=number == round(1.2 / 0.02)))
    assert next(one.code for one in told if one.kind == "pluck") == "lost"
    assert not session.round.accepted


def test_the_microphone_may_go_and_come_back_within_a_round() -> None:
    take, told = drawn(), []
    session = session_of(take, told)
    half = pieces(take)[: round(5.0 / 0.02)]
    for piece in half:
        session.push(piece)
    before = dict(session.round.accepted)
    session.microphone("gone", "gone")
    assert session.round.trouble == "gone"
    session.microphone(None, "back")
    session.listen_to(take.sample_rate_hz, 1, 0)
    for piece in pieces(take)[len(half) :]:
        session.push(piece)
    session.finish()
    assert set(before) < set(session.round.accepted)
    onsets = [each.onset_s for taken in session.round.accepted.values() for each in taken]
    assert max(onsets) < len(take.samples) / take.sample_rate_hz


def test_turning_shows_every_pluck_and_makes_neighbours_stale() -> None:
    take, told = drawn(), []
    session = session_of(take, told)
    session.turn(1, 1100.0)
    for piece in pieces(take)[: round(6.0 / 0.02)]:
        session.push(piece)
    state = session.snapshot().turning
    assert state is not None
    assert len(state.trace) >= 3
    assert state.left_n is not None
    assert not session.round.accepted
    assert session.snapshot().stale


def test_a_recording_named_by_the_whole_reads_as_read_does() -> None:
    take = drawn()
    subject = CountSubject(4)
    told: list[Told] = []
    setup = Setup("recording", 1, RoundOptions(), 1, named_by_whole=True)
    session = Session(subject, setup, Shelf({}, []), lambda cue: None, told.append)
    session.listen_to(take.sample_rate_hz, 1, 0)
    for piece in pieces(take):
        session.push(piece)
    session.finish()
    assert session.read() == read(Recording(take.samples, take.sample_rate_hz), spokes=4)


def test_whoever_leads_by_hand_names_the_plucks() -> None:
    setup = Setup("recording", 1, RoundOptions(), 1, named_by_whole=True)
    session = Session(CountSubject(4), setup, Shelf({}, []), lambda cue: None, lambda told: None)
    session.ask(Asked("jump", spoke=3))
    assert not session.setup.named_by_whole


def test_hearing_gives_each_strike_with_its_sound() -> None:
    take = drawn()
    hearing = Hearing(take.sample_rate_hz, 0, expectations_of(wheel()))
    found = [each for piece in pieces(take)[:150] for each in hearing.push(piece.samples)]
    assert all(pluck.onset_s == strike.onset_s and len(pluck.samples) > 0 for pluck, strike in found)
