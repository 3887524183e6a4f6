"""Invented readings for the benches of the log: the shape of a real one, numbers by a simple rule."""

from __future__ import annotations

from tensionear.reading import Limits, Partial, PluckReading, Reading, SideReading, SpokeReading


def a_round(seed: int, title: str, count: int = 12) -> Reading:
    """A round of a wheel of ``count`` spokes, all within its limits."""
    spokes, plucks = [], []
    for number in range(1, count + 1):
        side = ("right", "left")[(number + 1) % 2]
        tension = (1100.0 if side == "right" else 650.0) * (1 + 0.01 * ((seed * 7 + number * 13) % 7 - 3))
        interval = (0.96 * tension, 1.04 * tension)
        label = f"{side[0].upper()}{(number + 1) // 2}"
        spokes.append(
            SpokeReading(
                number,
                label,
                side,
                tension,
                0.02 * tension,
                interval,
                0.006 * tension,
                0.019 * tension,
                0.5,
                0.6,
                "within",
            )
        )
        partials = tuple(Partial(mode, "flat", 441.0 * mode, 0.1, 0.4 / mode, -6.0 * mode) for mode in range(1, 9))
        plucks.append(
            PluckReading(1.1 * number, number, side, True, None, None, 441.0, 0.1, None, tension, 20.0, partials)
        )
    sides = {"right": SideReading(1100.0, 19.0, 3.0, "within"), "left": SideReading(650.0, 12.0, 3.0, "within")}
    return Reading(
        "round.wav", "wheel", title, 45.0, 48000.0, (), (), "within", tuple(plucks), tuple(spokes), sides, {}, Limits(5.0)
    )  # fmt: skip
