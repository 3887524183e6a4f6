"""What fits on the printed sheet beside what: heights estimated from the length of texts. Pure; imports nothing of the package.

Millimetres of a Letter page, the lower of the two (279.4 mm), without its margins. The estimates are kept on the safe side by
`SPARE_MM`; the page itself holds the signature in its place whatever they miss.
"""

from __future__ import annotations

import math
from collections.abc import Sequence

PAGE_MM, SPARE_MM = 257.0, 28.0
#: What every card has: title, verdict, limits, facts, sentence; pictures; headings and captions of the table; signature.
HEAD_MM, PICTURES_MM, TABLE_MM, SIGN_MM = 31.0, 66.0, 20.0, 12.0
_LINE_MM, _HEADING_MM, _COLUMN_SIGNS = 3.5, 5.0, 62
_TREND_MM = 34.0
#: The tallest row worth the room, and the lowest that reads well; below it the table is set in more blocks.
TALLEST_MM, READABLE_MM = 4.0, 2.7


def lines_of(texts: Sequence[str]) -> int:
    """Lines that these paragraphs take in one of the two columns at the foot."""
    return sum(max(1, math.ceil(len(text) / _COLUMN_SIGNS)) for text in texts)


def foot_mm(sections: Sequence[Sequence[str]], trend: bool) -> float:
    """Height of the two columns at the foot: sections of paragraphs, and the trend."""
    heights = [_HEADING_MM + _LINE_MM * lines_of(section) for section in sections if section]
    heights += [_TREND_MM] if trend else []
    half = sum(heights) / 2
    return max(half, max(heights, default=0.0)) + _LINE_MM


def row_mm(rows: int, long_title: bool, alarms: int, foot: float, pictures: bool) -> float:
    """The height of a row of the table, so that all fits."""
    taken = HEAD_MM + (9.0 if long_title else 0.0) + 8.0 * alarms + TABLE_MM + SIGN_MM + foot
    taken += PICTURES_MM if pictures else 0.0
    return min(TALLEST_MM, max(1.2, (PAGE_MM - SPARE_MM - taken) / max(rows, 1)))
