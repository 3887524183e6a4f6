"""Large signs, the level meter and the bar of turns, in characters. Pure; imports glyphs only."""

from __future__ import annotations

from tensionear.capture.levels import Level
from tensionear.dashboard.glyphs import Glyphs

LARGE_ROWS = 5
_ROWS = {
    "0": ("###", "# #", "# #", "# #", "###"),
    "1": (" # ", "## ", " # ", " # ", "###"),
    "2": ("###", "  #", "###", "#  ", "###"),
    "3": ("###", "  #", " ##", "  #", "###"),
    "4": ("# #", "# #", "###", "  #", "  #"),
    "5": ("###", "#  ", "###", "  #", "###"),
    "6": ("###", "#  ", "###", "# #", "###"),
    "7": ("###", "  #", " # ", " # ", " # "),
    "8": ("###", "# #", "###", "# #", "###"),
    "9": ("###", "# #", "###", "  #", "###"),
    "R": ("## ", "# #", "## ", "# #", "# #"),
    "L": ("#  ", "#  ", "#  ", "#  ", "###"),
}
_QUIET_DB, _LOUD_DB, _CELLS = -70.0, 0.0, 24


def large(text: str, glyphs: Glyphs) -> tuple[str, ...]:
    """A spoke's label in signs five rows high, each cell two columns wide."""
    full = glyphs.bars[-1]
    rows = []
    for row in range(LARGE_ROWS):
        cells = [_ROWS.get(sign, ("   ",) * LARGE_ROWS)[row] for sign in text]
        rows.append("  ".join("".join(2 * (full if cell == "#" else " ") for cell in each) for each in cells).rstrip())
    return tuple(rows)


def meter(level: Level, glyphs: Glyphs) -> str:
    """The level as a bar from -70 to 0 dB, with a word where it is too loud or nothing at all."""
    share = (min(max(level.peak_db, _QUIET_DB), _LOUD_DB) - _QUIET_DB) / (_LOUD_DB - _QUIET_DB)
    filled = round(share * _CELLS)
    word = "TOO LOUD" if level.clipped else "nothing heard" if level.peak_db < -120 else f"{level.peak_db:.0f} dB"
    return f"level {glyphs.bars[-1] * filled}{glyphs.dot * (_CELLS - filled)} {word}"


def turn_bar(eighths: int | None, glyphs: Glyphs) -> str:
    """Eighths of a turn to go as a bar about a middle: to the right tightens, to the left loosens; over a turn, an arrow."""
    to_go = 0 if eighths is None else max(-8, min(8, eighths))
    left = "".join(glyphs.bars[-1] if place <= -to_go else glyphs.dot for place in range(8, 0, -1))
    right = "".join(glyphs.bars[-1] if place <= to_go else glyphs.dot for place in range(1, 9))
    more = (eighths or 0) if abs(eighths or 0) > 8 else 0
    return f"{'<' if more < 0 else ' '}{left}|{right}{'>' if more > 0 else ' '}"
