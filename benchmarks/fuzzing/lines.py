"""Good command lines, and the words that broken ones are made of. Imports the command line's own options."""

from __future__ import annotations

import shlex
from functools import cache
from typing import Any

#: Of every command that neither waits for a microphone nor starts others; all are of files that are soon read.
LINES = tuple(
    tuple(shlex.split(line))
    for line in (
        "--version",
        "read noise.wav --wheel wheel.toml --first 3 --order right-then-left --direction ccw --missing 4 --json",
        "read noise.wav --spokes 28 --crossing apart --plain --strict",
        "read noise.wav --kind steel-round-2.0 --length 290 --explain --against known.csv",
        "read noise.wav --wheel wheel.toml --assign 3=4 --skip 2 --keep --log rounds.sqlite --note again",
        "describe wheel.toml --show",
        "sheet wheel.toml --tensions known.csv --runout runout.csv --dish 0.2 --out sheet.toml --plain",
        "sheet wheel.toml --flip 0.4 --mass 812 --width-outer 19 --notes loft --out sheet.toml --json",
        "plan wheel.toml --tensions known.csv --runout runout.csv --step 1/8 --most 1/2 --leave 3 --json",
        "plan wheel.toml --tensions 1 --log rounds.sqlite --turn R1=+1/4 --plain",
        "calibrate wheel.toml --known known.csv --sound noise.wav --carry 5 --sure",
        "calibrate --kind steel-round-2.0 --length 280 --hanging known.csv --latitude 47 --height 400",
        "calibrate --again ferry --json",
        "weigh --mass 67.5 --count 10 --whole-length 272 --kind steel-round-2.0 --json",
        "tone wheel.toml --spoke 3",
        "log list --wheel cart --since 2026-03-01 --until 2026-12-01 --verdict out --limit 5 --log rounds.sqlite",
        "log show 1 --log rounds.sqlite --json",
        "log compare 1 2 --log rounds.sqlite --plain",
        "log trend 1 --log rounds.sqlite --plain",
        "log backup copy.sqlite --log rounds.sqlite",
        "log forget 2 --yes --log rounds.sqlite",
        "log export out.zip 1 2 --log rounds.sqlite",
        "log check --log rounds.sqlite",
        "card 1 --log rounds.sqlite --out card.html",
        "study study.csv --tolerance 100 --report study.html",
        "listen wheel.toml --from noise.wav --fast --plain --log rounds.sqlite",
    )
)
_VALUES = (
    *("wheel.toml", "known.csv", "runout.csv", "noise.wav", "rounds.sqlite", "study.csv"),
    *("nothing.here", ".", "/dev/null", "--"),
)


@cache
def words() -> tuple[str, ...]:
    """Options of all commands, and names of files that are there and are not."""
    from .taken import built

    commands: Any = built()
    groups = [each for each in commands.commands.values() if hasattr(each, "commands")]
    every = [*commands.commands.values(), *(each for group in groups for each in group.commands.values())]
    options = {option for each in every for param in each.params for option in param.opts}
    return (*sorted(options - _LEFT_OUT), *sorted(set(commands.commands) - _LEFT_OUT), *_VALUES)


#: Would wait for a microphone, start workers, watch folders, or run what is named.
_LEFT_OUT = {"batch", "listen", "inputs", "demo", "--on-result", "--watch", "--cluster", "--workers"}
