"""No test sees the calibrations of whoever runs it."""

from __future__ import annotations

from pathlib import Path

import pytest


@pytest.fixture(autouse=True)
def no_own_calibrations(tmp_path_factory: pytest.TempPathFactory, monkeypatch: pytest.MonkeyPatch) -> Path:
    folder = tmp_path_factory.mktemp("data") / "calibrations"
    monkeypatch.setenv("TENSIONEAR_CALIBRATIONS", str(folder))
    return folder
