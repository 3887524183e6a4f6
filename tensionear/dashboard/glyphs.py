"""The signs the pictures are drawn with, and their ASCII stand-ins. Imports nothing of the package."""

from __future__ import annotations

from dataclasses import dataclass, fields


@dataclass(frozen=True, slots=True)
class Glyphs:
    """Signs by what they mean; each mark has a shape of its own."""

    within: str
    high: str
    low: str
    undecided: str
    unjudged: str
    unread: str
    left_out: str
    mean: str
    limit: str
    bound: str
    stem: str
    stem_top: str
    stem_foot: str
    rule: str
    dot: str
    plus_minus: str
    bars: str
    alarm: str
    tick: str

    def words(self, text: str) -> str:
        """A text of ours, written with +/-, with the plus-minus sign where there is one."""
        return text.replace("+/-", self.plus_minus)


DRAWN = Glyphs(
    within="●",
    high="▲",
    low="▼",
    undecided="◇",
    unjudged="○",
    unread="×",  # noqa: RUF001 - the multiplication sign is meant
    left_out="□",
    mean="─",
    limit="╌",
    bound="═",
    stem="│",
    stem_top="╷",
    stem_foot="╵",
    rule="─",
    dot="·",
    plus_minus="±",
    bars=" ▁▂▃▄▅▆▇█",
    alarm="▌",
    tick="╵",
)
ASCII = Glyphs(
    within="o",
    high="^",
    low="v",
    undecided="?",
    unjudged="0",
    unread="x",
    left_out="#",
    mean="-",
    limit=".",
    bound="=",
    stem="|",
    stem_top=",",
    stem_foot="'",
    rule="-",
    dot="-",
    plus_minus="+/-",
    bars=" .:#",
    alarm="!",
    tick="'",
)


def glyphs_for(encoding: str) -> Glyphs:
    """The drawn signs if this encoding has all of them, else the ASCII ones (``cp1252``, ``ascii``)."""
    every = "".join(getattr(DRAWN, field.name) for field in fields(DRAWN))
    try:
        every.encode(encoding)
    except (UnicodeEncodeError, LookupError):
        return ASCII
    return DRAWN
