"""The fixed grid: any cutting of the sound gives the same chunks; a lower rate without delay, ripple or folding."""

from __future__ import annotations

import itertools
import time
from collections.abc import Iterator

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tensionear.capture.grid import Decimator, decimation_factor, gathered, regrid
from tensionear.capture.recording import Samples

SOUND = np.random.default_rng(7).standard_normal((100_003, 2)).astype(np.float32)


def cut(sound: Samples, sizes: list[int]) -> Iterator[Samples]:
    start = turn = 0
    while start < len(sound):
        yield sound[start : start + sizes[turn % len(sizes)]].copy()
        start += sizes[turn % len(sizes)]
        turn += 1


@pytest.mark.parametrize("sizes", [[1], [64], [479], [1024], [4801], [48_000], [len(SOUND)], [1, 9000, 64]])
def test_chunks_and_what_follows_are_the_same_to_the_bit_for_any_block_size(sizes: list[int]) -> None:
    decimator = Decimator(3, 48_000.0)
    chunks = list(regrid(cut(SOUND, sizes), 1, 4800))
    assert [len(chunk) for chunk in chunks] == [4800] * 20 + [4003]
    assert all(chunk.dtype == np.float32 for chunk in chunks)
    assert np.concatenate(chunks).tobytes() == SOUND[:, 1].tobytes()
    reference = Decimator(3, 48_000.0)
    expected = [reference.push(SOUND[start : start + 4800, 1]) for start in range(0, len(SOUND), 4800)]
    found = [decimator.push(chunk) for chunk in chunks]
    assert (
        np.concatenate([*found, decimator.flush()]).tobytes()
        == np.concatenate([*expected, reference.flush()]).tobytes()
    )


@settings(max_examples=30, deadline=None)
@given(
    sizes=st.lists(st.integers(1, 700), min_size=1, max_size=8), chunk=st.integers(1, 900), frames=st.integers(0, 3000)
)
def test_chunks_are_full_but_the_last_and_lose_nothing(sizes: list[int], chunk: int, frames: int) -> None:
    chunks = list(regrid(cut(SOUND[:frames], sizes), 0, chunk))
    assert [len(piece) for piece in chunks[:-1]] == [chunk] * (len(chunks) - 1)
    assert sum(map(len, chunks)) == frames
    assert not frames or np.array_equal(np.concatenate(chunks), SOUND[:frames, 0])
    assert all(len(piece) for piece in chunks)


def test_chunks_do_not_share_memory() -> None:
    kept = list(regrid(cut(SOUND, [1000]), 0, 500))
    assert not any(np.shares_memory(a, b) for a, b in itertools.pairwise(kept))


def test_pieces_are_joined_to_blocks() -> None:
    blocks = list(gathered(cut(SOUND[:1050], [100]), 250))
    assert [len(block) for block in blocks] == [300, 300, 300, 150]
    np.testing.assert_array_equal(np.concatenate(blocks), SOUND[:1050])


@pytest.mark.parametrize(
    ("rate_hz", "factor"),
    [
        (16_000, 1),
        (22_050, 1),
        (31_999, 1),
        (32_000, 2),
        (44_100, 2),
        (48_000, 3),
        (96_000, 6),
        (192_000, 12),
        (384_000, 24),
    ],
)
def test_the_factor_leaves_at_least_16_khz(rate_hz: float, factor: int) -> None:
    assert decimation_factor(rate_hz) == factor


def test_a_factor_that_leaves_too_little_is_refused() -> None:
    with pytest.raises(ValueError, match="factor 4 makes 12000 Hz of 48000 Hz; at least 16000 Hz must be left: use 3"):
        Decimator(4, 48_000.0)
    with pytest.raises(ValueError, match="factor 0"):
        Decimator(0, 48_000.0)


def through(decimator: Decimator, sound: np.ndarray, chunk: int = 5000) -> Samples:
    out = [decimator.push(sound[start : start + chunk]) for start in range(0, len(sound), chunk)]
    return np.concatenate([*out, decimator.flush()])


RATES = [(32_000, 2), (44_100, 2), (48_000, 3), (96_000, 6), (176_400, 11), (192_000, 12), (384_000, 24)]


@pytest.mark.parametrize(("rate", "factor"), RATES)
def test_up_to_7_khz_nothing_changes_and_nothing_is_late(rate: int, factor: int) -> None:
    at_s = np.arange(rate // 2) / rate
    for frequency_hz in (20.0, 440.0, 3000.0, 6000.0, 7000.0):
        out = through(Decimator(factor, float(rate)), np.sin(2 * np.pi * frequency_hz * at_s + 0.3))
        expected = np.sin(2 * np.pi * frequency_hz * at_s[::factor] + 0.3)
        assert len(out) == len(expected)
        inner = slice(200, -200)
        assert np.abs(out[inner] - expected[inner]).max() < 10 ** (0.05 / 20) - 1


@pytest.mark.parametrize(("rate", "factor"), RATES)
def test_what_would_fold_below_7_khz_is_80_db_down(rate: int, factor: int) -> None:
    at_s = np.arange(rate // 2) / rate
    out_hz = rate / factor
    folding = [
        f for f in np.linspace(out_hz - 7000.0, rate / 2, 41) if abs((f + out_hz / 2) % out_hz - out_hz / 2) <= 7000.0
    ]
    assert len(folding) > 10
    for frequency_hz in folding:
        out = through(Decimator(factor, float(rate)), np.sin(2 * np.pi * frequency_hz * at_s))
        assert np.abs(out[200:-200]).max() < 1e-4


@pytest.mark.parametrize("frames", [0, 1, 2, 3, 4, 10, 132, 133, 134, 5000, 5001, 5002])
def test_n_samples_become_n_over_factor_rounded_up(frames: int) -> None:
    decimator = Decimator(3, 48_000.0)
    out = through(decimator, SOUND[:frames, 0], 7)
    assert len(out) == -(-frames // 3)
    assert out.dtype == np.float32
    assert decimator.sample_rate_hz == 16_000.0


def test_the_very_first_sample_keeps_its_place() -> None:
    click = np.zeros(3000)
    click[600] = 1.0
    assert int(np.argmax(through(Decimator(3, 48_000.0), click))) == 200
    click = np.zeros(3000)
    click[0] = 1.0
    assert int(np.argmax(through(Decimator(3, 48_000.0), click))) == 0


def test_factor_one_passes_through() -> None:
    np.testing.assert_array_equal(through(Decimator(1, 16_000.0), SOUND[:, 0]), SOUND[:, 0])


def test_a_second_of_48_khz_is_decimated_in_a_few_milliseconds() -> None:
    decimator, second = Decimator(3, 48_000.0), SOUND[:48_000, 0]
    spent = []
    for _ in range(10):
        start = time.perf_counter()
        decimator.push(second)
        spent.append(time.perf_counter() - start)
    assert min(spent) < 0.003
