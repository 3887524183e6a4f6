"""The JSON forms of rounds and changes, for scripts. Pure; imports values and changes."""

from __future__ import annotations

from dataclasses import asdict
from typing import Any

from tensionear.reading import plain_form

from .changes import Changes
from .values import KeptRound, RoundRow

LIST_FORMAT = "tensionear.log/1"
ROUND_FORMAT = "tensionear.round/1"
CHANGES_FORMAT = "tensionear.changes/1"


def rows_document(rows: tuple[RoundRow, ...]) -> dict[str, Any]:
    """``{"format": ..., "rounds": [...]}``: one member a round, without its reading."""
    return {"format": LIST_FORMAT, "rounds": [asdict(row) for row in rows]}


def round_document(kept: KeptRound) -> dict[str, Any]:
    """One round with all that was kept of it; ``reading`` as ``read --json`` gives it, null while unfinished."""
    return {
        "format": ROUND_FORMAT,
        **asdict(kept.row),
        "program": kept.program,
        "model": kept.model,
        "state": kept.state.to_dict(),
        "asked": kept.asked.to_dict(),
        "wheel_text": kept.asked.wheel_text,
        "sheet": plain_form(kept.sheet),
        "sound": kept.sound,
        "reading": None if kept.reading is None else kept.reading.to_dict(),
        "plucks_kept": [
            {"number": each.number, "sound": each.sound, **plain_form(each.reading)} for each in kept.plucks
        ],
    }


def changes_document(changes: Changes, before: int, after: int) -> dict[str, Any]:
    """What changed, spoke by spoke: ``basis`` ``tension`` is in N, ``evenness`` in percent of the side's mean."""
    spokes = [plain_form(each) for each in changes.spokes]
    return {
        "format": CHANGES_FORMAT,
        "before": before,
        "after": after,
        "basis": changes.terms.basis,
        "said": list(changes.terms.said),
        "spokes": spokes,
        "sides": {side: plain_form(each) for side, each in changes.sides.items()},
    }
