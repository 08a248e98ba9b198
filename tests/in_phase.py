"""Three equal screws whose bends point the same way: the bed goes where each carriage goes alone.

No lever arms, nothing that tilts, no load that changes, no friction but what a test asks for: at every corner
a nut that runs in a circle of radius e pushes a carriage on a spring k_g.
"""

import math

from bedsim.scenario.load import scenario_from_text
from bedsim.units import GRAVITY

E = 50e-6
"""Offset of the thread, m: half the total indicator reading below."""
NUT = 2e6
"""Radial stiffness of the nut in its thread, N/m; beside it the shaft hardly gives way."""
LOAD = (3.0 / 3 + 0.4) * GRAVITY
"""What stands on a corner's joint, N: a third of the bed, and the carriage; the nut hangs below it."""

TEXT = """
title = "three screws in phase"
[bed]
size_x_mm = 300
size_y_mm = 300
mass_kg = 3.0
temperature_rise_k = 0
[print]
layers = 17
layer_mm = 0.625  # eight layers per turn: a circle's extent shows in full
first_layer_nut_mm = 200
part_mass_kg = 0
[screw]
kind = "rolled_ball"
diameter_mm = 12
root_diameter_mm = 10
lead_mm = 5
length_mm = 300
ends = "fixed-fixed"
youngs_modulus_gpa = 2e8
bearing_radial_n_per_um = 1e6
upper_bearing_radial_n_per_um = 1e6
bearing_tilt_nm_per_rad = 1e12
[screw.run_out]
eccentricity_tir_um = 100
[nut]
radial_n_per_um = 2.0
tilt_nm_per_rad = 1e-9
thread_height_mm = -30
drag_torque_n_mm = 0
friction_coefficient = 0
[joint]
kind = "rolling"
height_mm = -30
lateral_n_per_mm = 20
elements = 1
friction_coefficient = 0
magnet_force_n = 0
rotation_nm_per_rad = 1e9
travel_mm = 2
[mount]
kind = "groove"
height_mm = -30
friction_coefficient = 0
[guide]
kind = "profile_rail"
height_mm = -30
radial_n_per_um = 4.0
tangential_n_per_um = {low = 2.5, likely = 4.0, high = 6.0, basis = "estimated"}
tilt_nm_per_rad = 1e9
yaw_nm_per_rad = 1e9
friction_n = 0
[frame]
radial_n_per_um = 2.0
tangential_n_per_um = {low = 1.0, likely = 2.0, high = 4.0, basis = "estimated"}
rotation_nm_per_rad = 1e9
[motor]
holding_torque_n_m = 0.4
detent_torque_n_m = 0
""" + "".join(
    f'[[corner]]\nname = "{name}"\nx_mm = {180 * math.cos(a)}\ny_mm = {180 * math.sin(a)}\n'
    for name, a in (("A", 0.0), ("B", 2 * math.pi / 3), ("C", 4 * math.pi / 3))
)

GUIDE = 1 / (1 / 4e6 + 1 / 2e6)
"""Rail and frame one behind the other, N/m."""
SPRING = 20e3
"""Recentring stiffness of a joint, N/m."""


def in_phase(**keys):
    """The machine with keys set; dots of a key are written as two underscores."""
    loaded = scenario_from_text(TEXT, name="in phase", tables={})
    return loaded.with_values({k.replace("__", "."): v for k, v in keys.items()}) if keys else loaded
