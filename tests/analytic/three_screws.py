"""A machine in numbers for the tests beside this file: linear and exact unless a test spoils it.

Three equal corners on a circle, straight screws, no friction, drag, detent or heat; layers of whole
microsteps.
"""

import copy
import math
from pathlib import Path

from quiet import QUIET

from bedsim.scenario.load import scenario_from_tree
from bedsim.simulation import make_job, simulate

BASE = {
    "title": "a machine in numbers",
    "bed": {"size_x_mm": 300, "size_y_mm": 300, "mass_kg": 3.0, "temperature_rise_k": 0.0},
    "print": {"layers": 6, "layer_mm": 0.25, "first_layer_nut_mm": 200, "part_mass_kg": 0.0},
    "screw": {
        "kind": "rolled_ball",
        "diameter_mm": 12,
        "root_diameter_mm": 10,
        "lead_mm": 5,
        "length_mm": 300,
        "ends": "fixed-free",
    },
    "nut": {"drag_torque_n_mm": 0.0},
    "joint": {"kind": "rigid"},
    "mount": {"kind": "groove", "friction_coefficient": 0.0},
    "guide": {"kind": "profile_rail", "friction_n": 0.0},
    "frame": {"radial_n_per_um": 1.0, "tangential_n_per_um": 1.0},
    "motor": {"holding_torque_n_m": 0.4, **QUIET},
}
RADIUS = 180.0
NAMES = ("A", "B", "C", "D", "E", "F")


def circle(count=3, start_deg=0.0):
    """Corner tables on a circle of 180 mm."""
    angles = [math.radians(start_deg + 360 * k / count) for k in range(count)]
    return [
        {"name": NAMES[k], "x_mm": RADIUS * math.cos(a), "y_mm": RADIUS * math.sin(a)}
        for k, a in enumerate(angles)
    ]


def merged(base, change):
    for key, value in change.items():
        if isinstance(value, dict) and isinstance(base.get(key), dict):
            merged(base[key], value)
        else:
            base[key] = value
    return base


def loaded(corners=None, **parts):
    """The machine with common part tables merged over the base ones, and its corners."""
    tree = copy.deepcopy(BASE)
    if parts.get("joint", {}).get("kind", "rigid") != "rigid":
        tree["joint"] = {}
    if "mount" in parts and parts["mount"].get("kind", "groove") != "groove":
        tree["mount"] = {}
    merged(tree, copy.deepcopy(parts))
    tree["corner"] = copy.deepcopy(corners if corners is not None else circle())
    return scenario_from_tree(tree, folder=Path(), source="", name="machine.toml")


def job(corners=None, **parts):
    return make_job(loaded(corners, **parts))


def run(corners=None, engine="equilibrium", **parts):
    """The layers of the machine."""
    return simulate(loaded(corners, **parts), engine=engine).layers


def with_run_out(corners, *run_outs):
    """Corners with a run-out table each, None: straight."""
    corners = copy.deepcopy(corners)
    for corner, run_out in zip(corners, run_outs, strict=False):
        if run_out:
            corner["screw"] = {"run_out": dict(run_out)}
    return corners
