"""Listening for long takes no more memory than listening for a while; what grows is the round itself."""

from __future__ import annotations

import tracemalloc

import numpy as np

from tensionear.capture.microphone import Piece
from tests.live.stand import drawn, pieces, session_of

RATE_HZ = 48_000


def test_quiet_leaves_nothing_behind() -> None:
    session = session_of(drawn(), [])
    for piece in pieces(drawn()):
        session.push(piece)
    chance = np.random.default_rng(0)
    held = []
    tracemalloc.start()
    try:
        for _ in range(3):
            for _ in range(50 * 4):
                room = 0.001 * chance.standard_normal((RATE_HZ // 50, 1)).astype(np.float32)
                session.push(Piece(room, 0.0, False))
            held.append(tracemalloc.get_traced_memory()[0])
    finally:
        tracemalloc.stop()
    assert held[-1] - held[0] < 0.3e6  # eight seconds of sound are 1.5 MB
