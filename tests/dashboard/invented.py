"""Invented readings for the tests of pictures, words and commands."""

from __future__ import annotations

from tensionear.reading import Finding, Limits, Partial, PluckReading, Reading, SideReading, SpokeReading, Verdict

RIGHT = (1063, 1102, 1118, 1087, 1140, 1096, 1071, 1109, 1128, 1083, 1090, 1115, 1066, 1101, 1122, 1094, 1079, 1105)
LEFT = (640, 655, 661, 648, 652, 669, 645, 658, 650, 663, 641, 656, 667, 649, 654, 660, 646, 657)


def pluck(
    spoke: int | None, tension_n: float | None = 1000.0, rejected: str | None = None, **changed: object
) -> PluckReading:
    """One pluck, used unless rejected."""
    number = spoke or 1
    advice = "keep the key off the rim" if rejected else None
    side = None if spoke is None else ("right", "left")[(spoke + 1) % 2]
    partials = (
        Partial(1, "flat", 441.7, 0.06, 0.41, 0.0),
        Partial(2, "both", 905.2, 0.11, 0.30, -7.5),
        Partial(3, "flat", 1402.9, 0.4, 0.19, -13.2),
    )
    used = rejected is None
    return PluckReading(
        1.2 * number, spoke, side, used, rejected, advice, 441.7 if used else None, 0.06 if used else None, None,
        tension_n if used else None, 21.0 if used else None, partials if used else (),
    )  # fmt: skip


def spoke(
    number: int, side: str, label: str, tension_n: float | None, mean: float, verdict: Verdict | None
) -> SpokeReading:
    """One spoke with 1.9 % of uncertainty, 0.6 % of it its own."""
    if tension_n is None:
        return SpokeReading(number, label, side, None, None, None, None, None, None, None, None)
    u, own = 0.019 * tension_n, 0.006 * tension_n
    interval = (tension_n - 1.96 * u, tension_n + 1.96 * u)
    common = (u**2 - own**2) ** 0.5
    percent = 100 * (tension_n - mean) / mean
    return SpokeReading(number, label, side, tension_n, u, interval, own, common, percent, 0.6, verdict)


def wheel(
    changes: dict[int, float | None] | None = None,
    *,
    count: int = 36,
    findings: tuple[Finding, ...] = (),
    limits: Limits | None = None,
    title: str = "Mill Lane tricycle, rear",
    warnings: tuple[str, ...] = (),
    rejected: tuple[PluckReading, ...] = (),
) -> Reading:
    """A dished wheel of alternating sides; ``changes`` gives spokes another tension, None for not read."""
    tensions: dict[int, float | None] = {}
    for number in range(1, count + 1):
        row = RIGHT if number % 2 else LEFT
        tensions[number] = float(row[(number - 1) // 2 % len(row)])
    tensions.update(changes or {})
    spokes, sides = [], {}
    for first, side in ((1, "right"), (2, "left")):
        mine = [number for number in tensions if number % 2 == first % 2]
        read = [value for number in mine if (value := tensions[number]) is not None]
        mean = sum(read) / len(read)
        percents = [100 * (value - mean) / mean for value in read]
        for place, number in enumerate(mine, 1):
            value = tensions[number]
            verdict = None if value is None else judged(100 * (value - mean) / mean)
            spokes.append(spoke(number, side, f"{side[0].upper()}{place}", value, mean, verdict))
        spread = (max(percents) - min(percents)) / 2
        worst = [judged(each) for each in percents]
        verdict = "out" if "out" in worst else "undecided" if "undecided" in worst else "within"
        sides[side] = SideReading(mean, 0.018 * mean, spread, verdict)
    spokes.sort(key=lambda each: each.spoke)
    verdicts = [each.verdict for each in sides.values()]
    whole: Verdict = "out" if "out" in verdicts else "undecided" if "undecided" in verdicts else "within"
    plucks = tuple(pluck(each.spoke, each.tension_n) for each in spokes if each.tension_n is not None)
    return Reading(
        "round.flac", "wheel", title, 45.2, 48000.0, warnings, findings, whole, (*plucks, *rejected), tuple(spokes), sides, {},
        limits or Limits(5.0, 1250.0, None, {"right": 1100.0, "left": 650.0}), ("the tyre is off",),
    )  # fmt: skip


def judged(percent: float) -> Verdict:
    """Held against 5 % with 1.96 times 0.6 % of doubt."""
    if abs(percent) < 5 - 1.2:
        return "within"
    return "out" if abs(percent) > 5 + 1.2 else "undecided"


def evenness(
    changes: dict[int, float] | None = None, *, judge: bool = True, sides: tuple[str, ...] = ("higher", "lower"),
    findings: tuple[Finding, ...] = (), count: int = 28,
) -> Reading:  # fmt: skip
    """A round of which only the number of spokes is known."""
    changes = changes or {}
    pattern = (0.4, -1.2, 1.9, -0.7, 2.2, -2.4, 0.1)
    spokes = []
    for number in range(1, count + 1):
        side = sides[(number + 1) % len(sides)]
        percent = changes.get(number, pattern[number % 7])
        spokes.append(
            SpokeReading(
                number,
                str(number),
                side,
                None,
                None,
                None,
                None,
                None,
                percent,
                0.6,
                judged(percent) if judge else None,
            )
        )
    verdicts = [each.verdict for each in spokes]
    whole: Verdict | None = ("out" if "out" in verdicts else "within") if judge else None
    plucks = tuple(pluck(number, None) for number in range(1, count + 1))
    kept = {side: SideReading(None, None, 2.3, whole) for side in sides}
    return Reading(
        "round.wav", "evenness", "28 spokes, evenness alone", 40.0, 44100.0, (), findings, whole, plucks, tuple(spokes), kept,
        {}, Limits(5.0), (),
    )  # fmt: skip


def plucks(job: str = "pluck") -> Reading:
    """Single plucks of one kind of spoke, the last one spoilt."""
    made = (pluck(None, 1043.2), pluck(None, 1021.0), pluck(None, None, "clipped"))
    if job == "tone":
        made = (pluck(None, None),)
    return Reading(
        "one.wav", job, "steel-round-2.0, 290.0 mm", 6.5, 48000.0, (), (), None, made, (), {}, {}, Limits(5.0)
    )  # type: ignore[arg-type]
