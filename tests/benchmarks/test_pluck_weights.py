"""The bench that fits the pluck classifier: its regression, and which onset is which pluck."""

from __future__ import annotations

from types import SimpleNamespace

import numpy as np
import pytest

from benchmarks.pluck_weights import fit, loss, plucks_at
from benchmarks.simulator.rounds import Event


def test_it_finds_the_weights_that_made_the_data() -> None:
    random = np.random.default_rng(3)
    values = np.column_stack([np.ones(20_000), random.normal(size=(20_000, 2))])
    wanted = np.array([0.5, -1.5, 2.0])
    plucked = random.uniform(size=20_000) < 1 / (1 + np.exp(-values @ wanted))
    assert fit(values, plucked.astype(float)) == pytest.approx(wanted, abs=0.1)


def test_the_loss_is_that_of_a_coin() -> None:
    assert loss(np.full(4, 0.5), [True, False, True, False]) == pytest.approx(4 * np.log(2))


def test_each_pluck_is_the_nearest_onset_only() -> None:
    strikes = [SimpleNamespace(onset_s=at) for at in (1.04, 1.00, 1.30, 2.0)]
    events = [Event(1.0, "pluck", 0.0, spoke=1), Event(1.31, "pluck", 0.0, spoke=2), Event(2.0, "knock", 0.0)]
    found = plucks_at(strikes, events)  # type: ignore[arg-type]
    assert [each.spoke if each else None for each in found] == [None, 1, 2, None]
