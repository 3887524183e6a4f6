"""The words of a live round, the same on the screen and in plain lines. Imports live, wheel and the dashboard's states."""

from __future__ import annotations

from tensionear.dashboard.states import pair
from tensionear.live.events import Value
from tensionear.live.machine import Round
from tensionear.live.told import Told
from tensionear.live.turning import Turning
from tensionear.wheel.model import Place, in_words

_SOFT, _FLAT = "a soft fingertip", "across its flat face"


def number_words(value: Value | None, final: bool = True) -> str:
    """``1043 +/- 30 N``; ``~ 1040 N`` at a first look; the pitch where no tension is known."""
    if value is None:
        return "-"
    if value.tension_n is None:
        return f"{value.pitch_hz:.1f} Hz" if final else f"~ {value.pitch_hz:.0f} Hz"
    if not final:
        return f"~ {round(value.tension_n, -1):.0f} N"
    number, half = pair(value.tension_n, value.u_tension_n)
    return f"{number} +/- {half} N" if half else f"{number} N"


def deviation_words(value: Value | None) -> str:
    """``+4.2 % of the side's mean``; empty where not known yet."""
    if value is None or value.deviation_percent is None:
        return ""
    what = "of the side's mean" if value.tension_n is not None else "in pitch, of the side's mean"
    return f"{value.deviation_percent:+.1f} % {what}"


def where(spoke: int) -> str:
    """``4th clockwise from the valve, seen from the right``."""
    return in_words(spoke)


def where_from_left(spoke: int) -> str:
    """The same spoke for someone on the other side of the wheel, who counts the other way round."""
    return f"from the left: {in_words(spoke).split()[0]} counter-clockwise"


def way(before: int | None, spoke: int, spokes: int) -> str:
    """Which way to go from one spoke to the next, and how far."""
    if before is None or before == spoke:
        return ""
    on = (spoke - before) % spokes
    if on <= spokes // 2:
        return f"go {_count(on)} clockwise (from the left: the other way)"
    return f"go {_count(spokes - on)} counter-clockwise (from the left: clockwise)"


def _count(spokes: int) -> str:
    return "1 spoke" if spokes == 1 else f"{spokes} spokes"


def how_to_pluck(place: Place | None) -> tuple[str, ...]:
    """Where and with what to pluck this kind of spoke (common practice, no source)."""
    if place is None:
        return ("3 to 6 cm from the rim", "a fingernail or a plastic pick, let go quickly")
    spoke = place.spoke
    carbon = spoke.material.name == "carbon"
    tool = f"{_SOFT}, nothing hard on carbon" if carbon else "a fingernail or a plastic pick, let go quickly"
    if spoke.is_flat:
        way_to = _FLAT
    elif place.crossing == "touching":
        way_to = "slantwise, between rim and axle: its neighbour at the crossing is heard by that"
    else:
        way_to = "slantwise, between rim and axle"
    return ("3 to 6 cm from the rim", way_to, tool)


def progress(state: Round) -> str:
    """``3 of 36 spokes``."""
    return f"{len([spoke for spoke in state.plan if spoke in state.accepted])} of {len(state.plan)} spokes"


def eighths_words(eighths: int | None) -> str:
    """``tighten 3/8 of a turn``; ``there``."""
    if eighths is None:
        return "no target stated"
    if eighths == 0:
        return "there"
    whole, rest = divmod(abs(eighths), 8)
    verb = "tighten" if eighths > 0 else "loosen"
    if not rest:
        return f"{verb} {whole} turn{'s' if whole > 1 else ''}"
    half = {2: "1/4", 4: "1/2", 6: "3/4"}.get(rest, f"{rest}/8")
    return f"{verb} {whole} {half} turns" if whole else f"{verb} {half} of a turn"


def turning_words(state: Turning) -> str:
    """What is missing, in words, newtons and percent."""
    left_n = state.left_n
    if left_n is None or state.target_n is None:
        return eighths_words(None)
    return f"{eighths_words(state.eighths)}; {left_n:+.0f} N, {100 * left_n / state.target_n:+.1f} % to {state.target_n:.0f} N"


def told_line(told: Told, label: str, needed: int) -> str:
    """One finished line for whatever happened."""
    if told.kind in ("accepted", "pluck") and told.spoke is not None:
        parts = [f"{label}, {where(told.spoke)}: {number_words(told.value)}"]
        deviation = deviation_words(told.value)
        if deviation:
            parts.append(deviation)
        if told.kind == "accepted":
            parts.append("accepted" if told.count <= 1 else f"accepted from {told.count} plucks")
        elif told.text:
            parts.append(told.text)
        else:
            parts.append(f"pluck {told.count} of {needed}")
        return "; ".join(parts)
    if told.kind == "refused":
        return f"not used, {told.text}"
    return told.text


CAUTIONS = (
    "Wear eye protection: a spoke that breaks can throw its end.",
    "Let the tyre's pressure down before turning.",
    "Hold a flat spoke with pliers or a slotted tool, so that it does not wind up.",
    "Stop the wheel before you pluck; never pluck a moving wheel.",
)
