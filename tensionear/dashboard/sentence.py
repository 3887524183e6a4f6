"""What to do, in one sentence of plain English, and what comes before any picture. Imports reading and states only.

Nobody is told to tighten a spoke that something else is said of: a magnet or a wrong reading sounds just like a slack
spoke. And where no tension is known, no maximum is known either, so the level of the wheel is left alone.
"""

from __future__ import annotations

from tensionear.reading import Reading, SpokeReading

from .states import COVERAGE, of_spokes, side_mean, with_interval

#: Findings of a spoke that say no more than its tension does; after any other, no advice to tighten it.
#: A length common to a side does not spoil its evenness.
HARMLESS = frozenset(
    {
        *("over-maximum", "under-floor", "loose-spoke", "out-of-evenness", "length-disagrees", "neighbours-differ"),
        *("slack-side", "off-target", "undecided-pluck-again", "undecided-stays", "twisted-spoke", "brittle-material"),
        *("calibrated", "calibration-missing", "calibration-unlike", "calibration-unreadable"),
    }
)
#: Findings that are alarms by themselves.
ALARMING = frozenset({"crash", "slack-side"})
#: Findings after which no nipple is turned on this reading, and what is done instead.
TURN_NOTHING = {
    "lacing-disagrees": "correct the lacing in the wheel file (sides, and which spoke is 1) and read again",
    "mixed-spokes": "see whether {names} are of another kind or length, state it in the wheel file and read again",
    "zigzag": "see whether the heads of {names} sit elbow-in and elbow-out in turn, state their free lengths and read again",
    "loose-pair": "look for a dent or a moved rim at {names}, and have it put right first",
}
#: The overtones contradict the stated kind: after that no number of the round is to be believed.
OTHER_SPOKE = "other-spoke"
BROKEN = frozenset({"broken-spoke"})
#: Findings that must be answered by the user before a verdict can be given.
CROSSING_UNKNOWN = frozenset({"crossing-unknown"})
SOUND_TOGETHER = frozenset({"crossing-touching", "crossing-pinched", "crossing-tied"})
FOREIGN = frozenset({"something-on-spoke", "overtones-do-not-fit"})
#: As many spokes as a sentence names.
NAMED = 4
#: One-sided 95 % quantile of a normal distribution: the guard band of JCGM 106:2012, 8.3.
ONE_SIDED = 1.645

CAUTION = (
    "Stop: do not ride this wheel as it is. Take the load off it, keep to the limits of the makers of rim, "
    "spokes and hub, and let a qualified wheel builder look at it."
)


def alarms(reading: Reading) -> tuple[str, ...]:
    """What is said before any picture: broken, over-limit and under-floor spokes, then the caution; often empty."""
    found = []
    broken = spokes_with(reading, BROKEN)
    if broken:
        found.append(f"{names_of(reading, broken)}: broken, or not holding at all.")
    for each in reading.findings:
        if each.code in ALARMING:
            found.append(f"{each.text[0].upper()}{each.text[1:]}.")
        elif each.code == "under-floor" and reading.limits.floor_n is None:
            found.append(f"{names_of(reading, each.spokes)}: {each.text}.")
    found.extend(_over(reading))
    found.extend(_under(reading))
    return (*found, CAUTION) if found else ()


def _over(reading: Reading) -> list[str]:
    """The spokes over the maximum: surely, or with the possibility left open."""
    limit = reading.limits.max_tension_n
    if limit is None:
        return []
    found = []
    for spoke in _judged(reading):
        assert spoke.tension_n is not None
        if spoke.tension_n > limit:
            sure = spoke.tension_n - ONE_SIDED * (spoke.u_tension_n or 0.0) > limit
            word = "is over" if sure else "may be over"
            found.append(f"{_what(reading, spoke)} {word} the maximum of {limit:.0f} {reading.units}.")
    return found


def _under(reading: Reading) -> list[str]:
    """The spokes under the floor: surely, or with the possibility left open."""
    floor = reading.limits.floor_n
    if floor is None:
        return []
    found = []
    for spoke in _judged(reading):
        assert spoke.tension_n is not None
        if spoke.tension_n < floor:
            sure = spoke.tension_n + ONE_SIDED * (spoke.u_tension_n or 0.0) < floor
            word = "is under" if sure else "may be under"
            found.append(f"{_what(reading, spoke)} {word} the floor of {floor:.0f} {reading.units}.")
    return found


def _judged(reading: Reading) -> list[SpokeReading]:
    """The spokes with a tension that the wheel file does not leave out."""
    return [spoke for spoke in reading.spokes if spoke.tension_n is not None and spoke.leave_out is None]


def _what(reading: Reading, spoke: SpokeReading) -> str:
    """A spoke with its place and tension."""
    return f"{names_of(reading, (spoke.spoke,))} ({with_interval(spoke.tension_n, spoke.u_tension_n, reading.units)})"


def to_do(reading: Reading) -> str:
    """The one sentence that says what to do."""
    if reading.job == "tone":
        return "Nothing to judge: a pitch alone gives no tension; add kind and length of the spoke (--kind, --length)."
    if any(each.code == OTHER_SPOKE for each in reading.findings):
        return (
            "Turn nothing on this reading: the overtones are another spoke's than the stated one's; "
            "check its kind and free length, and read again."
        )
    if reading.job == "pluck":
        return _to_do_with_plucks(reading)
    if not (reading.plucks or reading.duration_s or reading.spokes):
        return (
            "Now read the tensions: pluck round the wheel, record it, and give this sheet to tensionear read (--sheet)."
        )
    tabled = not reading.plucks and any(spoke.tension_n for spoke in reading.spokes)
    if not tabled and not any(pluck.used for pluck in reading.plucks):
        return "Record the round again: no pluck of it could be used."
    for rule in (
        *(
            _broken,
            _exchanged,
            _foreign,
            _bounds,
            _crossing,
            _turn_nothing,
            _slack_side,
            _turns,
            _doubtful,
            _unread,
            _rim,
        ),
        *(_undecided, _level),
    ):
        sentence = rule(reading)
        if sentence:
            return sentence
    return _nothing_to_turn(reading)


def _to_do_with_plucks(reading: Reading) -> str:
    """Single plucks have no side to be even with."""
    used = [pluck for pluck in reading.plucks if pluck.tension_n is not None]
    if not used:
        return "Pluck again: no tension could be read; what to change is said above."
    again = len(reading.plucks) - len(used)
    if again:
        return f"Pluck again where a pluck was not used ({again} of {len(reading.plucks)}); the others stand."
    return "Compare the tension with the limits of your rim, spoke and hub: none is known here."


def _broken(reading: Reading) -> str:
    broken = spokes_with(reading, BROKEN)
    if not broken:
        return ""
    names = names_of(reading, broken)
    return f"Stop using the wheel, take the load off it, and have {names} replaced by a qualified wheel builder."


def _foreign(reading: Reading) -> str:
    found = spokes_with(reading, FOREIGN)
    if not found:
        return ""
    return (
        f"See whether something sits on {names_of(reading, found)} (magnet, reflector, tag, tape), take it off and pluck "
        "again before turning any nipple there: it drags the pitch down like a slack spoke."
    )


def _bounds(reading: Reading) -> str:
    limits = reading.limits
    judged = _judged(reading)
    over = [
        each for each in judged if limits.max_tension_n is not None and (each.tension_n or 0) > limits.max_tension_n
    ]
    if over:
        return (
            f"First slacken {_list(reading, over)} by small steps until below the maximum, then record the round again."
        )
    under = [each for each in judged if limits.floor_n is not None and (each.tension_n or 0) < limits.floor_n]
    if not under:
        return ""
    free = [spoke for spoke in under if not is_doubtful(reading, spoke)]
    if not free:
        return (
            f"Look at {_list(reading, under)} closely, find out why it is so slack, and pluck again before turning it."
        )
    return (
        f"Look {_list(reading, free)} over for damage, and only if sound tighten by small steps, an eighth of a turn "
        "each, towards the mean of the side, then record the round again."
    )


def _exchanged(reading: Reading) -> str:
    """The sides sound the wrong way round: nothing that is said of single spokes holds."""
    if not any(each.code == "sides-exchanged" for each in reading.findings):
        return ""
    return "Turn nothing: the spokes seem to be numbered wrongly; check --first, --order, --direction and the sides."


def _crossing(reading: Reading) -> str:
    codes = {each.code for each in reading.findings}
    if codes & CROSSING_UNKNOWN:
        return (
            "Look where the spokes cross and say whether they touch there (--crossing touching, or --crossing apart): "
            "until that is known, turn nothing on this reading."
        )
    if codes & SOUND_TOGETHER and reading.verdict is None:
        return (
            "Turn nothing on this reading: spokes that meet at their crossings sound together, and which of a pair is the "
            "tighter cannot be told from it."
        )
    return ""


def _turn_nothing(reading: Reading) -> str:
    """What looks like uneven tension and may be something else."""
    for code, instead in TURN_NOTHING.items():
        named = spokes_with(reading, frozenset({code}))
        if any(each.code == code for each in reading.findings):
            return f"Turn nothing yet: {instead.format(names=names_of(reading, named) if named else '')}."
    return ""


def _slack_side(reading: Reading) -> str:
    """A side, or all of the wheel, that is slack as a whole."""
    if not any(each.code == "slack-side" for each in reading.findings):
        return ""
    return "Look the wheel over for damage; if it is sound, tighten the slack side all round by small equal steps and read again."


def _rim(reading: Reading) -> str:
    """A wheel of even spokes whose rim is not where it should be."""
    codes = [each.code for each in reading.findings]
    if "bent-rim" in codes:
        return "Have the rim looked at by a qualified wheel builder: its spokes are even, so turning them only hides the bend."
    if "wrong-dish" in codes or "dish-out" in codes:
        return "Correct the dish: all spokes of one side by equal small steps, then read both sides again."
    if "lateral-out" in codes or "radial-out" in codes:
        return "True the rim by small steps that keep the tension even (tensionear plan), then read again."
    if "balance-off" in codes:
        return "Measure the dish, and state the rim's spoke bed (seat_offset_mm): the sides do not balance as the file is now."
    return ""


def _turns(reading: Reading) -> str:
    """The spokes to bring to the mean; tight ones first, slack ones only if nothing else is said of them."""
    high = of_spokes(reading, "high")
    low = [spoke for spoke in of_spokes(reading, "low") if not is_doubtful(reading, spoke)]
    again = [spoke for spoke in of_spokes(reading, "low") if is_doubtful(reading, spoke)]
    steps = []
    if high:
        steps.append(f"slacken {_list(reading, high)}")
    if low:
        steps.append(f"tighten {_list(reading, low)}")
    if not steps:
        if not again:
            return ""
        return f"Pluck {_list(reading, again)} again before turning anything: what it reads is in doubt."
    known = reading.job == "wheel"
    mean = "the mean of the side" if known else "the mean of the group"
    doubt = f", leave {_list(reading, again)} alone until plucked again" if again else ""
    advice = f"{' and '.join(steps)} towards {mean}, an eighth of a turn at a time{doubt}, then record the round again"
    if known:
        return f"{advice[0].upper()}{advice[1:]}."
    return f"{advice[0].upper()}{advice[1:]}; this is evenness only, so leave the level of the wheel as it is."


def _doubtful(reading: Reading) -> str:
    doubtful = [spoke for spoke in reading.spokes if spoke.doubt is not None and spoke.leave_out is None]
    if not doubtful:
        return ""
    return f"Say which pluck is which spoke (--assign, --skip, --missing): {_list(reading, doubtful)} cannot be told."


def _unread(reading: Reading) -> str:
    unread = of_spokes(reading, "unread")
    return f"Pluck {_list(reading, unread)} again: not read, so nothing is known of it." if unread else ""


def _undecided(reading: Reading) -> str:
    undecided = of_spokes(reading, "undecided")
    if not undecided:
        return ""
    stay = set(spokes_with(reading, frozenset({"undecided-stays"})))
    if stay >= {spoke.spoke for spoke in undecided}:
        return (
            f"Leave {_list(reading, undecided)} or bring it a little nearer to the mean: it is at its limit as near as this "
            "can be known."
        )
    undecided = tuple(spoke for spoke in undecided if spoke.spoke not in stay)
    return f"Pluck {_list(reading, undecided)} once more: the +/- reaches over the limit, so it cannot be decided yet."


def _level(reading: Reading) -> str:
    """Even, but a side's mean is surely off its target (only where tensions are known)."""
    for side, target in reading.limits.target_n.items():
        mean = side_mean(reading, side)
        if mean is None or target is None:
            continue
        u = COVERAGE * (reading.sides[side].u_mean_n or 0.0)
        apart = 100 * (mean - target) / target
        allowed = reading.limits.level_percent or reading.limits.evenness_percent
        if abs(mean - target) <= u or abs(apart) <= allowed:
            continue
        way = "above" if apart > 0 else "below"
        off = (
            f"The wheel is even; its {side} side is {abs(apart):.0f} % {way} the target of {target:.0f} {reading.units}"
        )
        if apart < 0 and reading.limits.max_tension_n is None:
            return f"{off}: look up the maximum of rim, spokes and hub before anything is tightened."
        return f"{off}, so bring that side there all round, by small equal steps, with the maximum in sight."
    return ""


def _nothing_to_turn(reading: Reading) -> str:
    if reading.verdict is None:
        return "Nothing to turn yet: no verdict was possible; what stands in the way is said above."
    if reading.verdict != "within":
        return "Look at the notes above: no single spoke stands out, yet the wheel as a whole is not within its limits."
    even = f"every spoke is within {reading.limits.evenness_percent:g} %"
    if reading.job == "evenness":
        return f"Nothing to turn: {even} of its group's mean; whether the level is right this cannot tell."
    return f"Nothing to turn: {even} of its side's mean."


def spokes_with(reading: Reading, codes: frozenset[str]) -> tuple[int, ...]:
    """The spokes that findings of these codes name, each once, in order."""
    return tuple(sorted({spoke for each in reading.findings if each.code in codes for spoke in each.spokes}))


def is_doubtful(reading: Reading, spoke: SpokeReading) -> bool:
    """True if something is said of the spoke that its tension alone does not say."""
    if spoke.doubt is not None or any(each.code == OTHER_SPOKE for each in reading.findings):
        return True
    return any(spoke.spoke in each.spokes and each.code not in HARMLESS for each in reading.findings)


def _list(reading: Reading, spokes: tuple[SpokeReading, ...] | list[SpokeReading]) -> str:
    return names_of(reading, tuple(spoke.spoke for spoke in spokes))


def names_of(reading: Reading, spokes: tuple[int, ...]) -> str:
    """Spokes (at least one) by label: ``R4, L7 and 3 more``."""
    labels = {spoke.spoke: spoke.label for spoke in reading.spokes}
    named = [labels.get(spoke, f"spoke {spoke}") for spoke in spokes]
    if reading.job == "evenness":
        named = [name if not name.isdigit() else f"spoke {name}" for name in named]
    if len(named) > NAMED + 1:
        named = [*named[:NAMED], f"{len(named) - NAMED} more"]
    return named[0] if len(named) == 1 else f"{', '.join(named[:-1])} and {named[-1]}"
