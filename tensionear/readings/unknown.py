"""A round of unknown spokes, heard twice: for any spoke, then for the kind they tell. Imports listening, physics.

One pluck may be explained by many a spoke; a round of them by one kind. Heard for that kind, partials are named as surely as
with a wheel file.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence

from tensionear.capture.recording import AudioSource
from tensionear.listening import Listened, Strike, heard_again, listen_through
from tensionear.physics.generic import expect_any_spoke
from tensionear.physics.kinds import Kind, expect_kind, expect_some_spokes, likeliest_kinds
from tensionear.pitch.lines import Expectation

_LIKELY, _CLEAR = 0.5, 0.9  # probability of a pluck before its kind is known, and after
_FEWEST = 4  # plucks that tell the kind
#: Lines of the edge plane that a pluck shows, and in what share of the plucks, if there is such a plane.
_EDGE_LINES, _FLAT_SHARE = 3, 0.09


def listen_unknown(source: AudioSource) -> tuple[Listened, Kind | None]:
    """What is heard of a source, and the kind of spoke it was heard for; None if too few plucks tell.

    Raises
    ------
    SoundError
        As ``listen_through``.
    """
    return _settled(lambda expected: listen_through(source, [expected]))


def hear_unknown_again(listened: Listened) -> tuple[Listened, Kind | None]:
    """The same of plucks whose sounds were kept as they came; as they were heard, and None, if they were not."""
    if not listened.plucks:
        return listened, None
    return _settled(lambda expected: heard_again(listened, [expected]))


def _settled(hear: Callable[[Expectation], Listened]) -> tuple[Listened, Kind | None]:
    """Heard for the kind that a first hearing tells."""
    plucks = _plucks(hear(expect_some_spokes()), _LIKELY)
    if len(plucks) < _FEWEST:
        return hear(expect_any_spoke()), None
    plain, flat = likeliest_kinds([strike.heard[0].peaks for strike in plucks])
    if flat is not None:
        again = hear(expect_kind(flat))
        if _shows_edge(_plucks(again, _CLEAR)):
            return again, flat
    return hear(expect_kind(plain)), plain


def _plucks(listened: Listened, probability: float) -> list[Strike]:
    """What is a pluck at least this probably, loudest first."""
    likely = [strike for strike in listened.strikes if strike.probability > probability]
    return sorted(likely, key=lambda strike: -strike.level_db)


def _shows_edge(plucks: Sequence[Strike]) -> bool:
    """Whether lines of the edge plane were named often enough to be there."""
    shown = [sum(line.plane == 1 for line in strike.heard[0].lines) >= _EDGE_LINES for strike in plucks]
    return sum(shown) > _FLAT_SHARE * len(shown)
