"""A machine on three rolled ball screws with rolling joints and groove mounts, as job and as mounts."""

from __future__ import annotations

from pathlib import Path

import numpy as np

from bedsim.components.frame import radial_directions
from bedsim.engines.base import Job
from bedsim.model import convert
from bedsim.scenario.load import LoadedScenario, load_scenario
from bedsim.simulation import make_job
from bedsim.tilt.tilting import Supports

MACHINE = """
title = "Tilting"
[bed]
size_x_mm = 300
size_y_mm = 300
mass_kg = 3.0
temperature_rise_k = 0
[print]
layers = 50
layer_mm = 0.2
part_mass_kg = 0
[screw]
kind = "rolled_ball"
diameter_mm = 12
lead_mm = 4
length_mm = 300
[joint]
kind = "rolling"
[guide]
kind = "profile_rail"
[mount]
kind = "groove"
{corners}
"""


def scenario(folder: Path, **changes: object) -> LoadedScenario:
    """Write and load it, with some keys changed."""
    text = MACHINE.format(
        corners="\n".join(
            f'[[corner]]\nname = "{name}"\nx_mm = {x}\ny_mm = {y}'
            for name, x, y in (("left", -180, -100), ("right", 180, -100), ("rear", 0, 200))
        )
    )
    file = folder / "machine.toml"
    file.write_text(text, encoding="utf-8")
    return load_scenario(file, [f"{key}={value}" for key, value in changes.items()])


def machine(folder: Path, **changes: object) -> tuple[Job, Supports]:
    """The job of the scenario and its mounts as free grooves."""
    loaded = scenario(folder, **changes)
    points = convert.mount_points(loaded.scenario)
    supports = Supports(
        points=points,
        direction=radial_directions(points[:, :2]),
        along=np.zeros(3),
        across=np.ones(3),
    )
    return make_job(loaded), supports
