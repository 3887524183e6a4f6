"""Good inputs broken at random: bytes, texts by their tokens, JSON by its values, command lines. Imports nothing of the package.

All chance comes from the `random.Random` that is handed in, so a case is found again by its number.
"""

from __future__ import annotations

import copy
import random
import re
from collections.abc import Sequence
from typing import Any

#: Bytes and whole numbers at the edges of what fields hold.
_EDGES = (
    0,
    1,
    2,
    4,
    0x7F,
    0x80,
    0xFF,
    0x7FFF,
    0x8000,
    0xFFFF,
    0x7FFFFFFF,
    0x80000000,
    0xFFFFFFFF,
    1 << 63,
    (1 << 64) - 1,
)
#: Texts in the place of numbers, names and cells.
ODD_TEXTS = (
    *("", " ", "0", "-0", "-1", "1", "0.5", "1e308", "-1e308", "1e-308", "5e-324", "1e999", "nan", "-inf", "inf", "NaN"),
    *("9" * 25, "9" * 5000, "0x10", "1_000", "1,5", "٣", "²", "½", "true", "null", "none", "[]", "{}", "[[[[]]]]"),
    *("\0", "\x1b[31m", "\u2028", "\ufeff", "\U0001f6b2", "\ud7ff", "é", "'", '"', '"""', "#", "=", "%s", "{0}", "../../x"),
    *("=1+1", "a" * 200_000, "\r", "\n\n", "\r\n", "spoke", "R1", "L999", "R0", "-R1", "1979-05-27", "25:61:61"),
)  # fmt: skip
#: Nested as deep as no honest file is.
_DEEP = ("[" * 20_000, '{"a":' * 20_000, "a = " + "[" * 3000, "[" + "a." * 3000 + "b]")
_TOKEN = re.compile(r"[A-Za-z_][\w-]*|[+-]?\d[\d.eE+-]*|\"[^\"\n]*\"|[^\w\s]")


def broken_bytes(good: bytes, others: Sequence[bytes], chance: random.Random) -> bytes:
    """A few places of a file changed, cut, doubled, put in from elsewhere."""
    data = bytearray(good)
    for _ in range(1 << chance.randrange(5)):
        at = _place(len(data), chance)
        match chance.randrange(8):
            case 0 if data:
                data[at % len(data)] ^= 1 << chance.randrange(8)
            case 1 if data:
                data[at % len(data)] = chance.choice((0, 1, 0x7F, 0x80, 0xFE, 0xFF, chance.randrange(256)))
            case 2 | 3:
                size = chance.choice((1, 2, 4, 8))
                value = chance.choice(_EDGES) & ((1 << 8 * size) - 1)
                data[at : at + size] = value.to_bytes(size, chance.choice(("little", "big")))
            case 4:
                del data[at : at + 1 + chance.randrange(64)]
            case 5:
                data[at:at] = data[at : at + chance.randrange(256)]
            case 6:
                other = chance.choice(others)
                start = _place(len(other), chance)
                data[at : at + chance.choice((0, 16, 256))] = other[start : start + 1 + chance.randrange(512)]
            case 7 if chance.randrange(4) == 0:
                del data[at:]
    return bytes(data)


def _place(length: int, chance: random.Random) -> int:
    """A place in a file, oftener near its start, where headers stand."""
    if not length:
        return 0
    return chance.randrange(min(length, 128)) if chance.randrange(2) else chance.randrange(length)


def broken_text(good: str, others: Sequence[str], chance: random.Random) -> bytes:
    """Tokens and lines of a text changed, left out, doubled, exchanged; now and then its bytes."""
    text = good
    for _ in range(1 + chance.randrange(4)):
        tokens = list(_TOKEN.finditer(text))
        lines = text.split("\n")
        line = chance.randrange(len(lines))
        match chance.randrange(9):
            case 0 | 1 | 2 | 3 if tokens:
                start, end = chance.choice(tokens).span()
                text = text[:start] + chance.choice(ODD_TEXTS) + text[end:]
            case 4 if tokens:
                (start, end), other = chance.choice(tokens).span(), chance.choice(tokens)[0]
                text = text[:start] + other + text[end:]
            case 5:
                del lines[line]
                text = "\n".join(lines)
            case 6:
                lines.insert(chance.randrange(len(lines)), lines[line])
                text = "\n".join(lines)
            case 7:
                at = chance.randrange(len(text) + 1)
                text = text[:at] + chance.choice((*ODD_TEXTS, *_DEEP)) + text[at:]
            case 8:
                lines[line] = chance.choice(chance.choice(others).split("\n"))
                text = "\n".join(lines)
    data = text.encode("utf-8", "surrogatepass")
    return broken_bytes(data, [data], chance) if chance.randrange(6) == 0 else data


def broken_json(good: Any, chance: random.Random) -> Any:
    """A document with a few of its values exchanged, left out or of another kind."""
    document = copy.deepcopy(good)
    for _ in range(1 + chance.randrange(3)):
        holders = list(_holders(document))
        if not holders:
            return document
        holder = chance.choice(holders)
        keys = list(holder) if isinstance(holder, dict) else list(range(len(holder)))
        key = chance.choice(keys)
        match chance.randrange(4):
            case 0:
                del holder[key]
            case 1:
                holder[key] = chance.choice(
                    (None, True, 0, -1, 10**30, 1e308, 5e-324, float("nan"), float("inf"), [], {})
                )
            case 2:
                holder[key] = chance.choice(ODD_TEXTS)
            case 3:
                other = chance.choice(holders)
                values = list(other.values()) if isinstance(other, dict) else list(other)
                if values:
                    holder[key] = copy.deepcopy(chance.choice(values))
    return document


def _holders(value: Any) -> list[Any]:
    """All objects and lists with something in them."""
    inner = value.values() if isinstance(value, dict) else value if isinstance(value, list) else ()
    own = [value] if isinstance(value, (dict, list)) and value else []
    return [*own, *(each for one in inner for each in _holders(one))]


def broken_line(good: Sequence[str], words: Sequence[str], chance: random.Random) -> list[str]:
    """A command line with words exchanged, left out, put in."""
    line = list(good)
    for _ in range(1 + chance.randrange(4)):
        at = chance.randrange(len(line) + 1)
        word = chance.choice(words) if chance.randrange(2) else chance.choice(ODD_TEXTS)
        match chance.randrange(4):
            case 0 if line:
                line[at % len(line)] = word
            case 1 if len(line) > 1:
                del line[at % len(line)]
            case 2 | 3:
                line.insert(at, word)
    return [each.replace("\0", "") for each in line]
