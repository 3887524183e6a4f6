"""Tables for spreadsheets: the unit in the heading, a point for decimals, no cell that could be taken for a formula.

Pure; imports reading and the dashboard's words.
"""

from __future__ import annotations

import csv
import io

from tensionear.dashboard.states import STATE_WORDS, state_of
from tensionear.reading import Reading

HEADING = (
    "spoke", "label", "side", "tension_n", "u_tension_n", "low_95_n", "high_95_n", "u_individual_n", "u_common_n",
    "deviation_percent", "u_deviation_percent", "verdict", "state", "note",
)  # fmt: skip
#: What makes a spreadsheet take a cell for a formula when it begins with it (OWASP, "CSV Injection").
FORMULA = ("=", "+", "-", "@", "\t", "\r", "\n", "＝", "＋", "－", "＠")  # noqa: RUF001 - wide forms are meant


def spoke_table(reading: Reading) -> str:
    """One row a spoke, in N and percent; empty where unknown. The first columns are those of ``plan --tensions``."""
    rows = []
    for spoke in reading.spokes:
        low, high = spoke.interval_95_n or (None, None)
        numbers = (
            spoke.tension_n, spoke.u_tension_n, low, high, spoke.u_individual_n, spoke.u_common_n,
            spoke.deviation_percent, spoke.u_deviation_percent,
        )  # fmt: skip
        note = "; ".join(part for part in (spoke.leave_out, spoke.doubt) if part)
        words = (spoke.verdict or "", STATE_WORDS[state_of(spoke)], note)
        rows.append((str(spoke.spoke), safe(spoke.label), safe(spoke.side), *map(_number, numbers), *map(safe, words)))
    file = io.StringIO()
    writer = csv.writer(file, lineterminator="\r\n")  # RFC 4180, 2.1
    writer.writerow(HEADING)
    writer.writerows(rows)
    return file.getvalue()


def safe(text: str) -> str:
    """A text that no spreadsheet takes for a formula: an apostrophe before what begins like one, no control characters."""
    line = "".join(sign if sign.isprintable() else " " for sign in text)
    return f"'{line}" if text.lstrip(" ").startswith(FORMULA) or line.startswith(FORMULA) else line


def _number(value: float | None) -> str:
    """A number with a point, never an exponent; empty where unknown."""
    return "" if value is None else f"{value:.3f}"
