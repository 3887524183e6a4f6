"""A microphone that is fed by hand: copies, lost sound, zeros, nonsense, gone and back."""

from __future__ import annotations

import re
import sys

import numpy as np
import pytest

from tensionear.capture import microphone as module
from tensionear.capture.devices import again, choose, explained, inputs_among
from tensionear.capture.microphone import (
    FrameCounter,
    Microphone,
    Piece,
    Recovered,
    Trouble,
    list_inputs,
    play,
    sound_system,
)
from tensionear.errors import DeviceError
from tests.capture.fake_audio import Clock, FakeSystem, PortAudioError, device

ROOM = 0.01 * np.random.default_rng(0).standard_normal(480).astype(np.float32)


def running(**kind: float) -> tuple[FakeSystem, Microphone, Clock]:
    system, clock = FakeSystem([device("desk", **kind)]), Clock()
    microphone = Microphone(system, list_inputs(system)[0], clock)
    microphone.start()
    return system, microphone, clock


def test_a_piece_is_a_copy_of_what_the_callback_saw() -> None:
    system, microphone, _ = running()
    block = ROOM.reshape(-1, 1).copy()
    system.streams[0].give(block)
    block[:] = 7.0  # the sound system uses its memory again
    got = microphone.take(0.1)
    assert isinstance(got, Piece)
    assert np.array_equal(got.samples[:, 0], ROOM)
    assert not got.doubtful


def test_an_overflow_makes_its_piece_doubtful_and_only_that() -> None:
    system, microphone, _ = running()
    for overflow in (False, True, False):
        system.streams[0].give(ROOM, overflow)
    assert [microphone.take(0.1).doubtful for _ in range(3)] == [False, True, False]  # type: ignore[union-attr]


def test_a_full_queue_loses_sound_and_says_so(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(module, "_QUEUED", 2)
    system, microphone, _ = running()
    for _ in range(4):
        system.streams[0].give(ROOM)
    got = [microphone.take(0.01) for _ in range(2)]
    system.streams[0].give(ROOM)
    assert [each.doubtful for each in (*got, microphone.take(0.01))] == [False, False, True]  # type: ignore[union-attr]


def test_half_a_second_of_zeros_is_told_once_and_sound_goes_on() -> None:
    system, microphone, _ = running()
    for _ in range(60):
        system.streams[0].give(np.zeros(480))
    got = [microphone.take(0.01) for _ in range(60)]
    told = [each for each in got if isinstance(each, Trouble)]
    assert len(told) == 1
    assert "only zeros come" in told[0].text
    system.streams[0].give(ROOM)
    assert isinstance(microphone.take(0.01), Piece)


@pytest.mark.parametrize("value", [np.nan, np.inf, 1e30])
def test_nonsense_is_not_passed_on(value: float) -> None:
    system, microphone, _ = running()
    system.streams[0].give(np.full(480, value))
    got = microphone.take(0.01)
    assert isinstance(got, Trouble)
    assert "no sound" in got.text


def test_a_failing_callback_is_an_error_of_ours() -> None:
    system, microphone, _ = running()
    system.streams[0].callback(None, 480, None, None)
    with pytest.raises(DeviceError, match="desk stopped"):
        microphone.take(0.01)


def test_unplugged_and_plugged_in_again() -> None:
    system, microphone, clock = running()
    system.streams[0].give(ROOM)
    assert isinstance(microphone.take(0.01), Piece)
    system.streams[0].active = False
    lost = microphone.take(0.01)
    assert isinstance(lost, Trouble)
    assert "plug it in again" in lost.text
    system.devices = []
    clock.now_s += 1.5
    assert microphone.take(0.01) is None
    system.devices = [device("another"), device("desk")]  # its number has changed
    clock.now_s += 1.5
    back = microphone.take(0.01)
    assert isinstance(back, Recovered)
    assert microphone.device.index == 1
    system.streams[-1].give(ROOM)
    assert isinstance(microphone.take(0.01), Piece)
    assert system.streams[0].closed


def test_a_stream_that_falls_silent_without_a_word_is_gone_after_a_second() -> None:
    system, microphone, clock = running()
    system.streams[0].give(ROOM)
    microphone.take(0.01)
    for _ in range(3):
        clock.now_s += 0.3
        assert microphone.take(0.01) is None
    clock.now_s += 0.2
    assert isinstance(microphone.take(0.01), Trouble)


def test_a_program_that_was_stopped_does_not_blame_the_microphone() -> None:
    system, microphone, clock = running()
    system.streams[0].give(ROOM)
    microphone.take(0.01)
    clock.now_s += 5.0
    assert microphone.take(0.01) is None
    system.streams[0].give(ROOM)
    assert isinstance(microphone.take(0.01), Piece)


def test_a_slow_first_block_is_waited_for() -> None:
    _, microphone, clock = running()
    for _ in range(12):
        clock.now_s += 0.4
        assert microphone.take(0.01) is None
    clock.now_s += 0.4
    assert isinstance(microphone.take(0.01), Trouble)


def test_a_rate_too_low_for_overtones_is_refused() -> None:
    with pytest.raises(DeviceError, match="8000 Hz; 16000 Hz or more"):
        running(rate_hz=8000.0)


def test_errors_say_what_to_do() -> None:
    system = FakeSystem([device("desk")], refuses=PortAudioError("Device unavailable", -9985))
    with pytest.raises(DeviceError, match="in use by another program"):
        Microphone(system, list_inputs(system)[0]).start()
    with pytest.raises(DeviceError, match="--quiet"):
        play(system, ROOM, 48_000.0)


def test_without_the_library_the_error_names_the_package(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setitem(sys.modules, "sounddevice", None)
    with pytest.raises(DeviceError, match="libportaudio2"):
        sound_system()


def test_frames_that_never_came_show_as_a_lag_that_stays() -> None:
    counter, at = FrameCounter(48_000.0), 0.0
    jitter = np.random.default_rng(1).uniform(0, 0.03, 1000)
    found = []
    for number in range(600):
        at += 0.01
        if number == 300:
            at += 0.25  # a quarter of a second without its frames
        if counter.add(480, at + jitter[number]):
            found.append(at)
    assert len(found) == 1
    assert counter.lost_s == pytest.approx(0.25, abs=0.03)


def test_a_stall_without_loss_is_no_loss() -> None:
    counter = FrameCounter(48_000.0)
    for number in range(600):
        late = max(0.0, 1.0 - 0.01 * (number - 300)) if number >= 300 else 0.0
        assert not counter.add(480, 0.01 * number + (late if late > 0 else 0.0))
    assert counter.lost_s == 0.0


LIST = inputs_among(
    [device("speaker", 0), device("hw:1,0 card"), device("pulse", 32), device("default", 32)], [{"name": "ALSA"}], 3
)


def test_the_shared_microphone_is_taken_unless_another_is_named() -> None:
    assert choose(LIST, None).name == "pulse"
    assert choose(LIST, "1").name == "hw:1,0 card"
    assert choose(LIST, "card").index == 1
    assert again(LIST, choose(LIST, "card")) is not None


@pytest.mark.parametrize(
    ("wanted", "said"),
    [("headset", "no microphone here; there are: 1 hw"), ("u", "fits several"), ("0", "no microphone")],
)
def test_a_wish_that_fits_none_or_several_is_told(wanted: str, said: str) -> None:
    with pytest.raises(DeviceError, match=said):
        choose(LIST, wanted) if wanted != "u" else choose([*LIST, *LIST[1:]], "ul")


def test_no_microphone_at_all() -> None:
    with pytest.raises(DeviceError, match="no microphone found"):
        choose([], None)


def test_on_windows_wasapi_comes_before_the_short_names() -> None:
    found = inputs_among(
        [device("Desk microph"), device("Desk microphone", host=1)], [{"name": "MME"}, {"name": "Windows WASAPI"}], 0
    )
    assert choose(found, None).host == "Windows WASAPI"
    assert "Privacy" in explained(-9999, "Desk microphone", "Windows")


@pytest.mark.parametrize("code", [-9997, -9996])
def test_the_windows_mixer_converts_a_rate_that_it_refuses(code: int) -> None:
    hosts = [{"name": "Windows WASAPI"}]
    refusing = FakeSystem([device("desk")], hosts, refuses=PortAudioError("refused", code), converts=True)
    microphone = Microphone(refusing, list_inputs(refusing)[0])
    microphone.start()
    assert refusing.streams[0].active
    elsewhere = FakeSystem([device("desk")], [{"name": "Core Audio"}], refuses=refusing.refuses, converts=True)
    with pytest.raises(DeviceError, match="refuses the sample rate"):
        Microphone(elsewhere, list_inputs(elsewhere)[0]).start()


@pytest.mark.parametrize(
    ("system", "host", "said"),
    [
        ("Darwin", "Core Audio", "Privacy & Security, Microphone.*closed lid"),
        ("Windows", "Windows WASAPI", "unmute it under Settings, Sound.*Privacy, Microphone"),
        ("Linux", "ALSA", "it is muted"),
    ],
)
def test_exact_zeros_are_explained_for_the_system(
    system: str, host: str, said: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("platform.system", lambda: system)
    fake = FakeSystem([device("desk")], [{"name": host}])
    microphone = Microphone(fake, list_inputs(fake)[0], Clock())
    microphone.start()
    found = []
    for _ in range(60):
        fake.streams[0].give(np.zeros(480))
        found.append(microphone.take(0.0))
    (trouble,) = [each for each in found if isinstance(each, Trouble)]
    assert re.search(said, trouble.text)


@pytest.mark.parametrize(
    ("system", "host", "code", "said"),
    [
        ("Windows", "Windows WASAPI", -9999, "Settings, Privacy, Microphone"),
        ("Darwin", "Core Audio", -9985, "in use by another program"),
        ("Linux", "ALSA", -9986, "is it plugged in"),
    ],
)
def test_what_cannot_be_opened_is_explained_for_the_system(
    system: str, host: str, code: int, said: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("platform.system", lambda: system)
    fake = FakeSystem([device("desk")], [{"name": host}], refuses=PortAudioError("no", code))
    with pytest.raises(DeviceError, match=said):
        Microphone(fake, list_inputs(fake)[0]).start()
