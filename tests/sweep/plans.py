"""A small machine and plans over it, for the tests of sweeps."""

import os
from pathlib import Path

import h5py
import numpy as np

from bedsim.threads import ONE_EACH

MACHINE = """
title = "Three screws"
[bed]
size_x_mm = 300
size_y_mm = 300
mass_kg = 3.0
[print]
layers = 40
layer_mm = 0.25
part_mass_kg = 0.2
[screw]
kind = "rolled_ball"
diameter_mm = 16
lead_mm = 5
length_mm = 400
ends = "fixed-supported"
[joint]
kind = "rigid"
[guide]
kind = "profile_rail"
[frame]
radial_n_per_um = 1.0
tangential_n_per_um = 1.0
[motor]
holding_torque_n_m = 0.4
[[corner]]
name = "left"
x_mm = -180
y_mm = -100
[[corner]]
name = "right"
x_mm = 180
y_mm = -100
[[corner]]
name = "rear"
x_mm = 0
y_mm = 200
"""

PLAN = """
title = "Grades and joints"
scenario = "machine.toml"
members = {members}
seed = 5
{more}
[target]
lateral_pv_um = 6
height_pv_um = 60
[lot]
once_per_turn_rms_um = {{low = 4, likely = 8, high = 16, basis = "assumed"}}
thread_run_out_um = 150
[lot_doubt]
draws = 3
members = 32
[machine_doubt]
machines = 1
"""

AXES = """
[[axis]]
key = "grade"
values = ["C3", "C5", "C7"]
[[axis]]
key = "joint.kind"
values = ["rigid", "rolling"]
"""

FRICTIONLESS = {
    "nut.drag_torque_n_mm": 0.0,
    "nut.friction_coefficient": 0.0,
    "guide.friction_n": 0.0,
    "joint.friction_coefficient": 0.0,
    "mount.friction_coefficient": 0.0,
}


def write_plan(
    folder: Path, text: str = AXES, *, members: int = 70, more: str = "", machine: str = MACHINE
) -> Path:
    (folder / "machine.toml").write_text(machine, encoding="utf-8")
    plan = folder / "plan.toml"
    if "engine" not in more:  # without friction: quick, and bit for bit
        more = f'{more}\nengine = "equilibrium"'
    plan.write_text(PLAN.format(members=members, more=more) + text, encoding="utf-8")
    return plan


def content(path: Path) -> dict[str, object]:
    """Everything in an HDF5 file but the time it was written at."""
    found: dict[str, object] = {}

    def note(name: str, item: h5py.Group | h5py.Dataset) -> None:
        for key, value in item.attrs.items():
            if key not in ("created", "REFERENCE_LIST", "DIMENSION_LIST"):
                found[f"{name}@{key}"] = np.asarray(value).tolist()
        if isinstance(item, h5py.Dataset):
            value = np.asarray(item[()])
            found[name] = (
                str(item.dtype),
                value.shape,
                value.tolist() if value.dtype == object else value.tobytes(),
            )

    with h5py.File(path, "r") as file:
        note("/", file)
        file.visititems(note)
    return found


def one_thread() -> dict[str, str]:
    return {**os.environ, **ONE_EACH}
