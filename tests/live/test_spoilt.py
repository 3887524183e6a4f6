"""Tones of the program's own and lost sound: what they spoil, and for how long."""

from __future__ import annotations

from tensionear.live.spoilt import Spoilt


def test_a_tone_spoils_what_begins_in_it_and_nothing_later() -> None:
    spoilt = Spoilt()
    spoilt.tone(10.0)
    assert [spoilt.is_own_tone(onset_s) for onset_s in (9.9, 10.0, 10.5, 10.7)] == [False, True, True, False]
    spoilt.tone(20.0)
    assert not spoilt.is_own_tone(10.5)  # long forgotten
    assert spoilt.is_own_tone(20.1)


def test_lost_sound_makes_the_rings_around_it_doubtful() -> None:
    spoilt = Spoilt()
    spoilt.lost(10.0)
    assert spoilt.is_doubtful(9.5, 10.4)
    assert spoilt.is_doubtful(10.1, 10.7)
    assert not spoilt.is_doubtful(10.2, 10.8)
    assert not spoilt.is_doubtful(9.0, 9.8)
