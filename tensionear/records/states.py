"""How a wheel stood, as its file tells. Imports values."""

from __future__ import annotations

from tensionear.texts import toml_from

from .values import State


def state_of_wheel(text: str | None) -> State:
    """The ``[state]`` of a wheel file's text; no wheel file states nothing."""
    if text is None:
        return State()
    told = toml_from(text).get("state", {})
    return State(told.get("tyre", "none"), told.get("pressure_kpa"), told.get("temperature_c"))
