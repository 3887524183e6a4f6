"""Wheel files for the tests: an invented cargo trailer's wheel, whole and with one thing changed."""

WHOLE = """\
format = 1
name = "Quarry trailer, left"
[lacing]
spokes = 28
sides = "RL"
[rim]
seat_diameter_mm = 545.0
seat_offset_mm = -1.5
stiffness = "alloy-box"
max_tension_n = 1300
[hub]
max_tension_n = 1250
[right]
spoke = "steel-butted-2.0-1.8"
free_length_mm = 254.0
u_length_mm = 0.4
hub_circle_diameter_mm = 58.0
flange_offset_mm = 20.0
crosses = 3
first_runs = "clockwise"
head = "elbow"
crossing = "touching"
target_n = 1100
[left]
spoke = "yard-blade"
hub_circle_diameter_mm = 54.0
flange_offset_mm = 34.0
crosses = 0
head = "straight"
[nipple]
pitch_mm = 0.4536
tip_mm = 9.0
[limits]
evenness_percent = 8
lateral_mm = 0.4
radial_mm = 0.6
dish_mm = 0.7
floor_n = 350
[state]
tyre = "inflated"
pressure_kpa = 300
[spokes.yard-blade]
material = "carbon"
density_kg_m3 = 1600
youngs_modulus_gpa = 150
shape = "blade"
width_mm = 4.4
thickness_mm = 1.3
mass_g = 2.61
whole_length_mm = 271.0
max_tension_n = 1200
u_width_percent = 0.7
u_mass_g = 0.05
[spoke.3]
spoke = "steel-round-2.0"
leave_out = "replaced on the road"
[spoke.4]
free_length_mm = 240.5
head = "elbow"
"""

SHORT = """\
format = 1
name = "Loft find"
[lacing]
spokes = 20
sides = "R"
[right]
spoke = "steel-round-2.0"
free_length_mm = 270
"""


def changed(old: str, new: str, text: str = WHOLE) -> str:
    """``text`` with the first ``old`` replaced; it must be there."""
    assert old in text
    return text.replace(old, new, 1)
