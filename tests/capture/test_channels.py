"""Which channel is listened to: the one whose ring stands highest over its pauses."""

from __future__ import annotations

import tracemalloc
from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
import pytest
from numpy.typing import NDArray

from tensionear.capture.channels import Channel, best_channel
from tensionear.capture.recording import Recording, Samples
from tensionear.errors import SoundError

RATE = 48_000
RNG = np.random.default_rng(11)


def plucks(seconds: float = 10.0, level: float = 0.3) -> NDArray[np.float64]:
    at_s = np.arange(round(RATE * seconds)) / RATE
    return level * np.sin(2 * np.pi * 440.0 * at_s) * np.exp(-6.0 * (at_s % 1.2))


def noise(level: float, seconds: float = 10.0) -> NDArray[np.float64]:
    return level * RNG.standard_normal(round(RATE * seconds))


def chosen(*channels: NDArray[np.float64]) -> Channel:
    return best_channel(Recording(np.column_stack(channels).astype(np.float32), float(RATE)))


def test_the_channel_with_less_noise_is_taken_even_if_softer() -> None:
    found = chosen(plucks() + noise(0.05), 0.3 * plucks() + noise(0.0005))
    assert found == Channel(1, "channel 2 of 2 has the stronger ring")


def test_of_three() -> None:
    found = chosen(plucks() + noise(0.02), plucks() + noise(0.001), plucks() + noise(0.01))
    assert found == Channel(1, "channel 2 of 3 has the strongest ring")


def test_a_dead_channel_is_never_taken() -> None:
    assert chosen(0.0 * plucks(), plucks() + noise(0.1)) == Channel(1, "channel 2 of 2 is used, the other is silent")
    assert (
        chosen(noise(1e-6), plucks() + noise(0.1), 0.0 * plucks()).text
        == "channel 2 of 3 is used, the others are silent"
    )


def test_equal_channels_are_called_alike_and_the_first_taken() -> None:
    one = plucks() + noise(0.001)
    assert chosen(one, one) == Channel(0, "channel 1 of 2 is used, both sound alike")
    assert chosen(one, one, one).text == "channel 1 of 3 is used, others sound alike"


def test_a_clipped_channel_loses_against_a_clean_one_a_little_noisier() -> None:
    clipped = np.clip(plucks(level=3.0), -1.0, 1.0) + noise(0.001)
    clean = plucks(level=0.8) + noise(0.001)
    assert chosen(clipped, clean).index == 1


def test_hum_and_an_offset_are_no_ring() -> None:
    at_s = np.arange(10 * RATE) / RATE
    hum = 0.5 * np.sin(2 * np.pi * 50.0 * at_s) + 0.2
    assert chosen(hum + noise(0.001), plucks(level=0.05) + noise(0.001)).index == 1


def test_a_noise_gate_does_not_win_over_a_quiet_pause() -> None:
    at_s = np.arange(10 * RATE) / RATE
    gated = plucks(level=0.05) * (at_s % 1.2 < 0.4)
    assert chosen(gated, plucks(level=0.5) + noise(1e-5)).index == 1


@dataclass(frozen=True)
class Generated:
    """A long source whose blocks are made as they are asked for."""

    seconds: int
    block_frames: int = RATE
    channels: int = 2
    sample_rate_hz: float = float(RATE)
    name: str = "generated"

    def blocks(self) -> Iterator[Samples]:
        sound = np.column_stack([plucks(1.0) + 0.05 * np.cos(np.arange(RATE) ** 2), plucks(1.0)]).astype(np.float32)
        for start in range(0, self.seconds * RATE, self.block_frames):
            yield np.take(sound, range(start, start + self.block_frames), axis=0, mode="wrap")

    def notes(self) -> tuple[str, ...]:
        return ()


@pytest.mark.parametrize("block_frames", [64, 479, 4801, 48_000])
def test_block_sizes_do_not_matter(block_frames: int) -> None:
    assert best_channel(Generated(2, block_frames)) == best_channel(Generated(2, 96_000))


def test_memory_does_not_grow_with_the_length() -> None:
    def peak(seconds: int) -> int:
        tracemalloc.start()
        assert best_channel(Generated(seconds)).index == 1
        used = tracemalloc.get_traced_memory()[1]
        tracemalloc.stop()
        return used

    assert peak(60) < 1.05 * peak(5)


class Unreadable:
    """A source whose blocks must not be asked for."""

    name, sample_rate_hz, channels = "one", 48_000.0, 1

    def blocks(self) -> Iterator[Samples]:
        raise AssertionError("read for nothing")

    def notes(self) -> tuple[str, ...]:
        return ()


def test_a_single_channel_is_taken_unread() -> None:
    assert best_channel(Unreadable()) == Channel(0, "")


def test_a_recording_shorter_than_a_piece() -> None:
    assert best_channel(Recording(np.ones((100, 2), dtype=np.float32), 48_000.0)).index == 0


def test_errors_of_the_source_come_through(tmp_path) -> None:
    import soundfile

    from tensionear.capture.files import open_sound

    soundfile.write(tmp_path / "silent.wav", np.zeros((RATE, 2)), RATE)
    with pytest.raises(SoundError, match="is silent"):
        best_channel(open_sound(tmp_path / "silent.wav"))
