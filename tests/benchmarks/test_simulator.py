"""The simulator against published beam values, its own definitions, and the rule that it shares no code."""

from __future__ import annotations

import ast
import sys
import tomllib
from pathlib import Path

import numpy as np
import pytest
import soundfile

from benchmarks.simulator.beam import Beam, Hold, PointMass, Segment, damped_modes, modes
from benchmarks.simulator.demo import draw_demo
from benchmarks.simulator.pluck import Partials, draw_decay_law, draw_pluck, draw_voice, pluck_partials, render, stretch
from benchmarks.simulator.room import RING_S, band_rms, draw_room
from benchmarks.simulator.rounds import SCENARIOS, draw_round
from benchmarks.simulator.singles import draw_single
from benchmarks.simulator.spokes import KINDS, TrueSpoke, draw_batch, draw_nominal, draw_side_ends, oval_section

SIMULATOR = Path(__file__).parents[2] / "benchmarks" / "simulator"
DEMO = Path(__file__).parents[2] / "recordings_demo"
PINNED, CLAMPED = 1e-9, 1e9


def uniform(xi: float, hub: float, nipple: float, tension_n: float = 1000.0, length_m: float = 0.29) -> Beam:
    """A uniform beam of stiffness number xi = L sqrt(T/EI), 0.02 kg/m, ends given as k = K L/EI."""
    bending = tension_n * (length_m / xi) ** 2
    return Beam((Segment(length_m, bending, 0.02),), tension_n, hub * bending / length_m, nipple * bending / length_m)


def string_ratio(beam: Beam, mode: int) -> float:
    """f_n over sqrt(T/mu)/(2 L)."""
    string_hz = np.sqrt(beam.tension_n / 0.02) / (2 * beam.length_m)
    return float(modes(beam, mode + 1).frequency_hz[mode - 1] / string_hz)


# Thomson, Theory of Vibration with Applications, app. D table D.1 (clamped: 4.7300, 7.8532, 10.9956);
# more digits recomputed from cosh a cos a = 1, tan a = tanh a and a = n pi.
@pytest.mark.parametrize(
    ("hub", "nipple", "roots"),
    [
        (CLAMPED, CLAMPED, (4.730040744863, 7.853204624096, 10.995607838002)),
        (CLAMPED, 0.0, (3.926602312048, 7.068582745629, 10.210176122813)),
        (0.0, 0.0, (np.pi, 2 * np.pi, 3 * np.pi)),
    ],
)
def test_without_tension_it_is_the_handbook_beam(hub, nipple, roots):
    beam = Beam((Segment(0.29, 0.15, 0.025),), 0.0, hub, nipple)
    found = modes(beam, 4).frequency_hz[:3]
    expected = np.array(roots) ** 2 * np.sqrt(0.15 / 0.025) / (2 * np.pi * 0.29**2)
    assert found == pytest.approx(expected, rel=2e-6)


# Exact roots of the tensioned beam, f_n/f_string: pinned sqrt(1 + n^2 pi^2/xi^2), clamped-pinned b tanh a = a tan b,
# clamped 2ab(1 - cosh a cos b) + (a^2 - b^2) sinh a sin b = 0 (Blevins, Formulas for Natural Frequency and Mode Shape,
# 1979, cited from memory; values recomputed); rotational springs at both ends from the 4 x 4 determinant (recomputed).
@pytest.mark.parametrize(
    ("xi", "mode", "hub", "nipple", "ratio"),
    [
        (5, 1, PINNED, PINNED, 1.181010),
        (5, 1, CLAMPED, PINNED, 1.452517),
        (5, 1, CLAMPED, CLAMPED, 1.805079),
        (10, 3, PINNED, PINNED, 4.122424),
        (10, 3, CLAMPED, PINNED, 4.529467),
        (10, 3, CLAMPED, CLAMPED, 4.978223),
        (20, 2, CLAMPED, CLAMPED, 2.328903),
        (30, 1, CLAMPED, PINNED, 1.040186),
        (30, 3, CLAMPED, CLAMPED, 3.369818),
        (50, 1, CLAMPED, CLAMPED, 1.043740),
        (100, 1, CLAMPED, CLAMPED, 1.020915),
        (30, 1, 1, 1, 1.007613),
        (30, 1, 5, 5, 1.015049),
        (30, 1, 20, 20, 1.032854),
        (30, 1, 100, 100, 1.059731),
        (30, 1, 10, PINNED, 1.013855),
        (30, 1, 50, PINNED, 1.026804),
    ],
)
def test_tensioned_beam_meets_the_exact_roots(xi, mode, hub, nipple, ratio):
    assert string_ratio(uniform(xi, hub, nipple), mode) == pytest.approx(ratio, rel=3e-6)


# Nominal spokes, exact roots (steel E 200 GPa, 7900 kg/m3; titanium 113.8 GPa, 4430 kg/m3), recomputed.
@pytest.mark.parametrize(
    ("diameter_mm", "length_m", "tension_n", "pinned_hz", "half_clamped_hz", "clamped_hz", "modulus", "density"),
    [
        (2.0, 0.290, 1000.0, 349.2609, 365.0674, 382.3315, 200e9, 7900.0),
        (2.0, 0.290, 400.0, 223.8706, 240.3312, 259.2089, 200e9, 7900.0),
        (1.8, 0.250, 1000.0, 449.6810, 468.7481, 489.4636, 200e9, 7900.0),
        (1.5, 0.290, 1000.0, 462.7912, 474.3312, 486.4567, 200e9, 7900.0),
        (2.0, 0.290, 1000.0, 464.5805, 480.2565, 497.0111, 113.8e9, 4430.0),
    ],
)
def test_nominal_spokes(diameter_mm, length_m, tension_n, pinned_hz, half_clamped_hz, clamped_hz, modulus, density):
    diameter = 1e-3 * diameter_mm
    piece = Segment(length_m, modulus * np.pi * diameter**4 / 64, density * np.pi * diameter**2 / 4)
    for hub, nipple, expected in ((0, 0, pinned_hz), (CLAMPED, 0, half_clamped_hz), (CLAMPED, CLAMPED, clamped_hz)):
        found = modes(Beam((piece,), tension_n, hub, nipple), 2).frequency_hz[0]
        assert found == pytest.approx(expected, abs=2e-4)


def test_butted_spoke_without_stiffness_is_the_stepped_string():
    # tan(k1 l1) tan(k2 h) = sqrt(mu1/mu2): 2.0/1.8/2.0 mm, thick ends 30 mm, 290 mm, 1000 N: 383.8933 Hz (recomputed).
    thick, thin = (7900 * np.pi * d**2 / 4 for d in (2.0e-3, 1.8e-3))
    soft = 1e-7
    beam = Beam((Segment(0.03, soft, thick), Segment(0.23, soft, thin), Segment(0.03, soft, thick)), 1000.0, 0.0, 0.0)
    assert modes(beam, 2).frequency_hz[0] == pytest.approx(383.8933, abs=2e-3)


def test_modes_are_mass_normalised_and_orthogonal():
    found = modes(uniform(20, 30, 8), 8)
    gram = np.trapezoid(0.02 * found.shape[:, None] * found.shape[None], found.place_m, axis=2)
    assert gram == pytest.approx(np.eye(8), abs=2e-4)


def test_a_mass_in_the_middle_lowers_odd_modes_only():
    # Rayleigh's first-order shift of a pinned beam with a small mass at its middle: df/f = -m/(mu L) for odd n.
    beam, tiny = uniform(30, PINNED, PINNED), 1e-6
    loaded = Beam(beam.segments, beam.tension_n, 0.0, 0.0, masses=(PointMass(0.145, tiny),))
    shift = modes(loaded, 4).frequency_hz[:3] / modes(beam, 4).frequency_hz[:3] - 1
    assert shift == pytest.approx([-tiny / (0.02 * 0.29), 0.0, -tiny / (0.02 * 0.29)], abs=2e-7)


def test_a_stiff_hold_leaves_the_two_spans():
    beam = uniform(30, PINNED, PINNED)
    held = Beam(beam.segments, beam.tension_n, 0.0, 0.0, holds=(Hold(0.145, 1e9),))
    spans = modes(held, 3).frequency_hz
    half = Beam((Segment(0.145, beam.segments[0].bending_stiffness_n_m2, 0.02),), 1000.0, 0.0, 0.0)
    assert spans[0] == pytest.approx(modes(half, 2).frequency_hz[0], rel=1e-5)


def test_a_light_damper_gives_its_first_order_decay():
    # 1/tau = c phi(x)^2/2 for mass-normalised modes.
    beam = uniform(25, 10, 10)
    damped = Beam(beam.segments, beam.tension_n, beam.hub_n_m_rad, beam.nipple_n_m_rad, holds=(Hold(0.1, 0.0, 1e-4),))
    expected = 1e-4 * modes(beam, 40).at(0.1)[:5] ** 2 / 2
    assert damped_modes(damped, 5).decay_per_s == pytest.approx(expected, rel=1e-3)


def test_oval_of_equal_sides_is_a_circle():
    section = oval_section(2.0e-3, 2.0e-3)
    assert section.area_m2 == pytest.approx(np.pi * 1e-6)
    assert [section.flat_m4, section.edge_m4] == pytest.approx([np.pi * 1e-12 / 4] * 2)


# Duffing average: f/f0 = 1 + (3/32) pi^2 (EA/T)(a/L)^2; 2.0 mm steel, 290 mm, 1000 N: 4.321e-4, 1.7282e-3, 6.913e-3.
@pytest.mark.parametrize(("swing_mm", "expected"), [(0.25, 4.321e-4), (0.5, 1.7282e-3), (1.0, 6.913e-3)])
def test_stretch_formula(swing_mm, expected):
    assert stretch(200e9 * np.pi * 1e-6, 1000.0, 1e-3 * swing_mm, 0.29) == pytest.approx(expected, rel=5e-4)


def one_voice(seed):
    rng = np.random.default_rng(seed)
    batch = draw_batch(rng, draw_nominal(rng, KINDS[seed % len(KINDS)]))
    spoke = TrueSpoke(batch, 0.27, 500.0, draw_side_ends(rng))
    return draw_voice(rng, spoke, draw_decay_law(rng)), draw_pluck(rng, batch.nominal.kind.flat)


@pytest.mark.parametrize("seed", range(7))
def test_higher_modes_glide_by_two_thirds_of_mode_one(seed):
    partials = pluck_partials(*one_voice(seed))
    own = [partials.glide[(partials.mode == 1) & (partials.plane == plane)][0, plane] for plane in (0, 1)]
    higher = partials.glide[partials.mode > 1]
    assert higher == pytest.approx(np.broadcast_to(np.array(own) * 2 / 3, higher.shape))


def test_rendered_sound_is_the_sum_of_gliding_partials():
    voice, pluck = one_voice(2)
    partials = pluck_partials(voice, pluck)
    strong = np.abs(partials.amplitude) > 0.05 * np.abs(partials.amplitude).max()
    kept = Partials(
        *(getattr(partials, name)[strong] for name in ("frequency_hz", "amplitude", "tau_s", "plane", "mode", "glide")),
        partials.glide_tau_s,
    )
    rate, delay = 48_000, 1.3e-5
    time = delay + np.arange(4800) / rate
    slow = partials.glide_tau_s / 2 * (1 - np.exp(-2 * time[:, None] / partials.glide_tau_s))
    phase = 2 * np.pi * kept.frequency_hz * (time[:, None] + slow @ kept.glide.T)
    exact = (kept.amplitude * np.exp(1j * phase - time[:, None] / kept.tau_s)).real.sum(axis=1)
    assert np.abs(render(kept, rate, delay)[:4800] - exact).max() < 2e-3 * np.abs(exact).max()


def test_the_room_is_half_as_strong_as_the_direct_sound():
    room = draw_room(np.random.default_rng(3), 48_000)
    assert np.linalg.norm(room[1:]) == pytest.approx(0.5)
    assert room[0] == 1.0


@pytest.mark.parametrize(("seed", "snr_db"), [(0, 30.0), (8, 10.0), (16, 3.0)])
def test_single_meets_its_snr(seed, snr_db):
    single = draw_single(seed, snr_db)
    rate = single.sample_rate_hz
    first = int(np.ceil(single.onset_s * rate))
    ring = band_rms(single.clean[first : first + int(RING_S * rate)], rate)
    assert 20 * np.log10(ring / band_rms(single.noise, rate)) == pytest.approx(snr_db, abs=0.5)
    mixed = single.clean + single.noise
    gain = float(mixed @ single.samples) / float(mixed @ mixed)
    assert np.abs(single.samples - gain * mixed).max() < 5e-5


def test_same_seed_same_single_and_snr_changes_the_noise_level_only():
    one, two, other = draw_single(5, 20.0), draw_single(5, 20.0), draw_single(5, 10.0)
    assert np.array_equal(one.samples, two.samples)
    assert np.array_equal(one.clean, other.clean)
    assert one.tension_n == other.tension_n
    assert not np.array_equal(one.samples, draw_single(26, 20.0).samples)


@pytest.mark.parametrize("scenario", sorted(SCENARIOS))
def test_round_is_repeatable_and_its_truth_consistent(scenario):
    one, two = draw_round(4, scenario), draw_round(4, scenario)
    assert np.array_equal(one.samples, two.samples)
    assert one.events == two.events
    wheel = tomllib.loads(one.wheel_toml)
    assert wheel["lacing"]["spokes"] == len(one.spokes)
    assert wheel["right"]["crossing"] == wheel["left"]["crossing"] == SCENARIOS[scenario].crossing
    heard = {event.spoke for event in one.plucks}
    assert heard == {spoke.spoke for spoke in one.spokes if spoke.plucked}
    assert len(heard) == len(one.spokes) - (scenario == "missing")
    assert 20 <= len(one.spokes) <= 36
    assert np.all(np.diff([event.onset_s for event in one.events]) >= 0)


def test_slack_spoke_on_the_tight_side_sounds_like_the_other_side():
    drawn = draw_round(1, "slack")
    tight = [spoke for spoke in drawn.spokes if spoke.side == "right"]
    slack = min(tight, key=lambda spoke: spoke.frequency_hz[0])
    other = np.mean([spoke.frequency_hz[0] for spoke in drawn.spokes if spoke.side == "left"])
    assert slack.frequency_hz[0] == pytest.approx(other, rel=1e-5)


@pytest.mark.parametrize("seed", [0, 1])
def test_weakest_pluck_of_a_round_stands_its_snr_above_the_noise(seed):
    drawn = draw_round(seed, "tidy")
    rate = drawn.sample_rate_hz
    first_pluck = drawn.plucks[0]
    first = int(np.ceil(first_pluck.onset_s * rate))
    ring = band_rms(drawn.clean[first : first + int(RING_S * rate)], rate)
    weakest = min(event.level_db for event in drawn.plucks)
    above = 20 * np.log10(ring / band_rms(drawn.noise, rate))
    assert above == pytest.approx(drawn.snr_db + first_pluck.level_db - weakest, abs=0.5)


def test_unknown_scenario_is_refused():
    with pytest.raises(ValueError, match="known are tidy"):
        draw_round(0, "calm")


def imported(path: Path) -> set[str]:
    """Every module a file imports, at whatever depth."""
    names: set[str] = set()
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.Import):
            names |= {alias.name for alias in node.names}
        elif isinstance(node, ast.ImportFrom):
            names.add("." * node.level + (node.module or ""))
    return names


@pytest.mark.parametrize("path", sorted(SIMULATOR.rglob("*.py")), ids=lambda path: path.name)
def test_simulator_shares_nothing_with_the_solver(path):
    for name in imported(path):
        top = name.split(".")[0]
        own = name.startswith("benchmarks.simulator") or top in ("numpy", "scipy") or top in sys.stdlib_module_names
        assert own, f"{path.name} imports {name}"


def test_committed_demo_is_what_the_simulator_draws():
    demo = draw_demo()
    assert (DEMO / "wheel.toml").read_text(encoding="utf-8") == demo.wheel_toml
    assert (DEMO / "truth.csv").read_text(encoding="utf-8") == demo.truth_csv
    samples, rate = soundfile.read(DEMO / "round.flac", dtype="float32")
    assert rate == demo.sample_rate_hz
    assert samples == pytest.approx(demo.samples, abs=1e-3)


def test_demo_has_its_two_faults_and_a_recording_of_the_stated_kind():
    demo = draw_demo()
    tension = {int(row.split(",")[0]): float(row.split(",")[2]) for row in demo.truth_csv.splitlines()[1:]}
    for side in (0, 1):
        own = [tension[spoke] for spoke in tension if spoke % 2 == side]
        off = {s for s in tension if s % 2 == side and abs(tension[s] / np.median(own) - 1) > 0.05}
        assert off == ({24, 26} if side == 0 else {11})
    assert 28 <= demo.samples.size / demo.sample_rate_hz <= 36
    assert (DEMO / "round.flac").stat().st_size < 3_000_000
