"""Wheels as they come from careless building, with a rim nobody knows, in the frame model; and the hands that turn nipples."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from benchmarks.simulator.frame import PER_GAP, Floats, Frame, RimBeam, State

PITCH_M = 0.4536e-3
TIP_M = 0.010
#: One sigma of each true stiffness of a rim, as a factor; the wheel file only knows the class.
STIFFNESS_FACTOR = 1.35
READING_PERCENT, READING_M = 1.0, 0.02e-3

#: ea_n, ei_radial, ei_lateral, gj of the classes.
CLASSES = {
    "alloy-shallow": (5.6e6, 84.0, 280.0, 39.0),
    "alloy-box": (7.0e6, 175.0, 560.0, 130.0),
    "alloy-deep": (8.4e6, 490.0, 700.0, 260.0),
    "carbon-shallow": (7.2e6, 600.0, 540.0, 110.0),
    "carbon-deep": (9.0e6, 1800.0, 720.0, 162.0),
}


@dataclass(frozen=True, slots=True)
class Build:
    """How a wheel is built; mm. ``flanges`` and ``crosses`` right, left; the kind of spoke is steel and round."""

    name: str
    rim: str
    spokes: int
    sides: str
    seat_mm: float
    bed_offset_mm: float
    flanges: tuple[float, float]
    crosses: tuple[int, int]
    diameter_mm: float
    tight_n: float


BUILDS = (
    Build("alloy box 36, dished", "alloy-box", 36, "RL", 601.0, 0.0, (18.0, 35.0), (3, 3), 2.0, 1100.0),
    Build("alloy box 32, even", "alloy-box", 32, "RL", 602.0, 0.0, (34.0, 34.0), (3, 3), 1.8, 950.0),
    Build("alloy deep 28, offset bed", "alloy-deep", 28, "RL", 580.0, -2.5, (17.5, 35.0), (3, 3), 1.8, 1150.0),
    Build("alloy box 24, two to one", "alloy-box", 24, "RLR", 598.0, 0.0, (19.0, 37.0), (2, 0), 2.0, 1050.0),
    Build("carbon shallow 28, dished", "carbon-shallow", 28, "RL", 590.0, 0.0, (18.0, 36.0), (2, 2), 1.8, 1150.0),
    Build("carbon deep 24, two to one", "carbon-deep", 24, "RLR", 540.0, 0.0, (18.0, 36.0), (2, 0), 2.0, 1150.0),
    Build("carbon deep 32, even", "carbon-deep", 32, "RL", 545.0, 0.0, (33.0, 33.0), (2, 2), 1.8, 1100.0),
    Build("alloy shallow 32, dished", "alloy-shallow", 32, "RL", 607.0, 0.0, (20.0, 34.0), (3, 3), 1.8, 900.0),
)
HUB_CIRCLE_MM = 52.0
#: The maximum stated over the tight side's target.
MAXIMUM = 1.2


class UntrueWheel:
    """One drawn wheel, badly built: ``state`` is how it stands."""

    def __init__(self, seed: int) -> None:
        self.chance = np.random.default_rng(seed)
        self.build = BUILDS[seed % len(BUILDS)]
        build, chance = self.build, self.chance
        factors = STIFFNESS_FACTOR ** chance.standard_normal(4)
        stiffness = np.array(CLASSES[build.rim]) * factors
        self.rim = RimBeam(*(float(each) for each in stiffness), build.seat_mm / 2000, build.bed_offset_mm / 1000)
        self.side = [build.sides[one % len(build.sides)] for one in range(build.spokes)]
        self.hub = _hub_holes(build, self.side)
        seats = _seats(build)
        lengths = np.linalg.norm(seats - self.hub, axis=1)
        modulus = 200e9 * np.pi * (build.diameter_mm / 2000) ** 2
        self.free_m = lengths - TIP_M
        self.along = modulus / self.free_m
        self.frame = Frame(self.rim, self.hub, self.along * lengths, _untrue_rim(chance, build.spokes))
        self.friction = 0.15 * np.exp(0.25 * chance.standard_normal(build.spokes))
        self.wanted_n = _wanted(build, self.side, seats, self.hub)
        self.state = self._built()

    def _built(self) -> State:
        """Brought to an even level below or at the target, then spoilt at random until it is uneven enough."""
        chance, count = self.chance, self.build.spokes
        level = chance.uniform(0.85, 1.02)
        state = self.frame.shorten(0.7 * level * self.wanted_n / self.along)
        for _ in range(6):
            state = self.frame.shorten((level * self.wanted_n - state.tension_n) / self.along)
        uneven = float(np.clip(20 * np.exp(0.35 * chance.standard_normal()), 8, 45))
        angles = 2 * np.pi * np.arange(count) / count
        spoilt = chance.standard_normal(count)
        for order in (2, 3, 4):
            spoilt += 0.35 * chance.standard_normal() * np.cos(order * angles + chance.uniform(0, 2 * np.pi))
        size = 0.15 * PITCH_M
        done = np.zeros(count)
        for _ in range(6):
            state = self.frame.shorten(size * spoilt - done)
            done = size * spoilt
            size *= uneven / max(self.half_range(state))
        return state

    def half_range(self, state: State) -> tuple[float, ...]:
        """Half the range of tensions of each side in percent of its mean: right, left."""
        found = []
        for side in "RL":
            mine = state.tension_n[[each == side for each in self.side]]
            found.append(50 * float(np.ptp(mine)) / float(mine.mean()))
        return tuple(found)

    def read(self) -> tuple[Floats, Floats, Floats, float]:
        """Tension, lateral, radial (its zero arbitrary) and dish as somebody reads them."""
        chance, count = self.chance, self.build.spokes
        return (
            self.state.tension_n * (1 + READING_PERCENT / 100 * chance.standard_normal(count)),
            self.state.lateral_m + READING_M * chance.standard_normal(count),
            self.state.radial_m + READING_M * chance.standard_normal(count) + 0.3e-3,
            self.state.dish_m + READING_M * chance.standard_normal(),
        )

    def turn(self, spoke: int, turns: float) -> None:
        """Turn one nipple, going past and coming back: 15 % (one sigma) of the spoke's wind-up stays."""
        shorter = np.zeros(self.build.spokes)
        shorter[spoke] = PITCH_M * (turns + 0.15 * self._wound(spoke) * self.chance.standard_normal())
        self.state = self.frame.shorten(shorter)

    def _wound(self, spoke: int) -> float:
        """Turns a spoke twists before its nipple slips."""
        radius = self.build.diameter_mm / 2000
        torque = self.state.tension_n[spoke] * radius * (1.155 * self.friction[spoke] + PITCH_M / (2 * np.pi * radius))
        return float(torque * self.free_m[spoke] / (76.9e9 * np.pi * radius**4 / 2) / (2 * np.pi))

    def toml(self) -> str:
        """The wheel file: what its owner knows of it."""
        build = self.build
        targets = {side: self.wanted_n[self.side.index(side)] for side in "RL"}
        text = f"""\
format = 1
name = "{build.name}"
[lacing]
spokes = {build.spokes}
sides = "{build.sides}"
[rim]
seat_diameter_mm = {build.seat_mm}
seat_offset_mm = {build.bed_offset_mm}
stiffness = "{build.rim}"
max_tension_n = {MAXIMUM * build.tight_n:.1f}
"""
        for place, (side, name) in enumerate((("R", "right"), ("L", "left"))):
            text += f"""\
[{name}]
spoke = "steel-round-{build.diameter_mm}"
hub_circle_diameter_mm = {HUB_CIRCLE_MM}
flange_offset_mm = {build.flanges[place]}
crosses = {build.crosses[place]}
first_runs = "clockwise"
target_n = {targets[side]:.1f}
"""
        return text


def _angles(build: Build) -> Floats:
    return 2 * np.pi * (np.arange(build.spokes) + 0.5) / build.spokes


def _seats(build: Build) -> Floats:
    """Nipple seats of the ideal wheel."""
    angles, radius = _angles(build), build.seat_mm / 2000
    sideways = np.full(build.spokes, build.bed_offset_mm / 1000)
    return np.column_stack([sideways, radius * np.sin(angles), radius * np.cos(angles)])


def _hub_holes(build: Build, sides: list[str]) -> Floats:
    """Holes in the flanges: evenly spaced a side, the hub turned so that leading and trailing spokes pull alike."""
    found, angles, radius = np.zeros((build.spokes, 3)), _angles(build), HUB_CIRCLE_MM / 2000
    for side, sign, offset, crosses in zip("RL", (1, -1), build.flanges, build.crosses, strict=True):
        mine = [one for one in range(build.spokes) if sides[one] == side]
        gap = 2 * np.pi / len(mine)
        start = float(np.mean(angles[mine] - gap * np.arange(len(mine))))
        for place, one in enumerate(mine):
            at = start + gap * (place + (-crosses if place % 2 == 0 else crosses))
            found[one] = sign * offset / 1000, radius * np.sin(at), radius * np.cos(at)
    return found


def _wanted(build: Build, sides: list[str], seats: Floats, hub: Floats) -> Floats:
    """Tensions that hold the rim in the middle, the tighter side at its target."""
    lengths = np.linalg.norm(seats - hub, axis=1)
    sines = (hub[:, 0] - seats[:, 0]) / lengths
    right = np.array([each == "R" for each in sides])
    ratio = -sines[right].sum() / sines[~right].sum()
    return np.where(right, 1.0, ratio) * build.tight_n / max(1.0, ratio)


def _untrue_rim(chance: np.random.Generator, spokes: int) -> Floats:
    """Lateral and radial shape of the rim at rest: low harmonics, a bump at the joint, roughness; in m."""
    nodes = PER_GAP * spokes
    angles = 2 * np.pi * (np.arange(nodes) / PER_GAP + 0.5) / spokes
    found = np.zeros((nodes, 2))
    for order in range(2, 7):
        for axis, size in ((0, 0.042e-3), (1, 0.03e-3)):
            found[:, axis] += size / (order - 1) * chance.standard_normal() * np.cos(order * angles)
            found[:, axis] += size / (order - 1) * chance.standard_normal() * np.sin(order * angles)
    found += 0.008e-3 * chance.standard_normal(found.shape)
    bump = np.exp(-(((angles - np.pi) / 0.12) ** 2))
    found[:, 0] += 0.03e-3 * chance.standard_normal() * bump
    found[:, 1] += 0.03e-3 * chance.standard_normal() * bump
    return found
