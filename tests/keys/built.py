"""One scenario with keys written into it, and everything that is built from it, for the tests beside this
file."""

from __future__ import annotations

import importlib
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from functools import cached_property, reduce
from pathlib import Path
from typing import Any
from unittest.mock import patch

import numpy as np

from bedsim.analysis import sizing_gather
from bedsim.components.row import Path as Course
from bedsim.components.row import Source
from bedsim.model import convert
from bedsim.model.corner import CornerParts, make_corners
from bedsim.power_loss import report as power_loss_report
from bedsim.scenario.load import LoadedScenario, load_scenario
from bedsim.scenario.toml_text import toml_value
from bedsim.simulation import make_job

BASE = """title = "all keys"
[bed]
size_x_mm = 300
size_y_mm = 280
mass_kg = 2.8
[print]
layers = 4
layer_mm = 0.25
first_layer_nut_mm = 230
[motion]
speed_mm_s = 1.5
[screw]
kind = "rolled_ball"
diameter_mm = 16
root_diameter_mm = 13
lead_mm = 5
length_mm = 420
ends = "fixed-supported"
[screw.run_out]
eccentricity_tir_um = 10
tilt_tir_um_per_100mm = 4
bow_tir_um = 50
bow_deg = 20
[screw.travel]
variation_pv_um = 12
once_per_turn_pv_um = 6
warm_up_k = 3
[guide]
kind = "profile_rail"
straightness_mm_per_m = 0.1
[motor]
holding_torque_n_m = 1.0
rotor_inertia_g_cm2 = 60
[sizing]
dynamic_load_rating_n = 9000
static_load_rating_n = 15000
plain_nut_length_mm = 30
frame_acceleration_mm_s2 = 300
"""
CORNERS = (("A", -190, -105), ("B", 190, -110), ("C", 10, 190), ("D", 200, 120))

TABLES = {
    "offsets.csv": "position_mm,offset_x_um,offset_y_um\n0,0,0\n100,12,-5\n420,30,20\n",
    "travel.csv": "position_mm,deviation_um\n0,0\n200,8\n420,-3\n",
    "shaken.csv": "time_s,acceleration_mm_s2\n0,0\n0.01,400\n0.03,0\n",
}
_LEGS = "G1 X120 Y100 E500 F1200\nX120 Y120 E500\nG4 P100\nG0 X100 Y100 F6000\n"
TABLES["part.nc"] = "G21 G90\nM83\nG0 X100 Y100 F6000\n" + "".join(
    f"G1 Z{0.3 * k:.1f} F180\nG4 P100\n{_LEGS}" for k in range(1, 6)
)
FRICTIONLESS = {
    "guide.friction_n": 0,
    "nut.drag_torque_n_mm": 0,
    "mount.friction_coefficient": 0,
    "nut.friction_coefficient": 0,
}

ENTRY = {
    "corner": "A",
    "probe": "nose",
    "element": "1",
    "pull_out": "2",
    "section": "1",
    **dict.fromkeys(("magnet", "spring", "ball", "ring", "leaf"), "1"),
}
"""Which entry of a list a key is written in."""

Given = Mapping[str, Any]


@dataclass(frozen=True, kw_only=True)
class Row:
    """A key, what is written, SI numbers by hand with where they are found, and the answer that moves.

    `given`: what stands beside the key, in both machines; `corners`: number of screws; `was`: what the key is
    in the machine that is compared, if not its default; `place`: what is written where a value cannot stand
    alone.
    """

    key: str
    write: Any
    si: tuple[tuple[Callable[[Built], Any], Any], ...]
    moves: str
    given: Given = field(default_factory=dict)
    was: Any = None
    corners: int = 3
    place: str | None = None


def write_base(folder: Path) -> None:
    """Write the base scenarios and the tables beside them."""
    for count in (3, 4):
        corners = [f'[[corner]]\nname = "{n}"\nx_mm = {x}\ny_mm = {y}\n' for n, x, y in CORNERS[:count]]
        (folder / f"{count}.toml").write_text(BASE + "".join(corners), encoding="utf-8")
    for name, text in TABLES.items():
        (folder / name).write_text(text, encoding="utf-8")


def load(folder: Path, row: Row, *, changed: bool) -> LoadedScenario:
    """Load the scenario of a row, with its key written or as it was."""
    steps = row.key.split(".")
    key = row.place or ".".join(f"{s}.{ENTRY[s]}" if s in ENTRY and s != steps[-1] else s for s in steps)
    own = {key: row.write} if changed else {key: row.was} if row.was is not None else {}
    written = [f"{key}={toml_value(value)}" for key, value in {**row.given, **own}.items()]
    return load_scenario(folder / f"{row.corners}.toml", written)


class Built:
    """Everything that is built from a scenario; parts are those of the first corner."""

    def __init__(self, loaded: LoadedScenario) -> None:
        self.loaded = loaded
        self.scenario = loaded.scenario
        self.corner_keys = loaded.scenario.corner[0]

    @cached_property
    def bed(self) -> Any:
        """The bed component."""
        return convert.make_bed(self.scenario.bed)

    @cached_property
    def corner(self) -> CornerParts:
        """The components of the first corner."""
        return make_corners(self.scenario, self.bed)[0]

    @cached_property
    def run_out(self) -> Any:
        """The bent centreline."""
        return convert.make_run_out(self.corner_keys, self.loaded.tables)

    @cached_property
    def travel(self) -> Any:
        """The imperfect lead."""
        screw = self.corner_keys.screw
        return convert.make_travel(screw.travel, screw.expansion_um_per_m_k, self.loaded.tables)

    @cached_property
    def job(self) -> Any:
        """What an engine is given."""
        return make_job(self.loaded)

    @property
    def machine(self) -> Any:
        """The machine."""
        return self.job.machine

    @property
    def program(self) -> Any:
        """The motion program."""
        return self.job.program

    @cached_property
    def numbers(self) -> Any:
        """What sizing works with."""
        return sizing_gather.gather(self.loaded)

    @property
    def size(self) -> Any:
        """The first corner for sizing."""
        return self.numbers.corners[0]

    @property
    def duty(self) -> Any:
        """What the print asks for, for sizing."""
        return self.numbers.duty

    @cached_property
    def other(self) -> Any:
        """The screw of the other type."""
        sizing = sizing_gather.sizing_of(self.scenario)
        return sizing_gather.other_screw(self.size.screw, sizing.other_screw, sizing)[0]

    @cached_property
    def fall(self) -> Any:
        """The machine without current, at unfavourable ends, in layer 2."""
        case = power_loss_report.cases(self.numbers)[1]
        return power_loss_report.falling(self.loaded, self.numbers, self.machine, case, 2)

    def link(self, name: str) -> Any:
        """A link by its name."""
        return next(link for link in self.machine.links if link.name == name)

    def source(self, name: str) -> Source:
        """An imperfection of the first corner by its name."""
        return next(s for s in self.machine.sources if s.name == name and s.corner == 0)

    def mass(self, row: int, column: int) -> float:
        """An entry of the full mass matrix, counted from the first corner's carriage."""
        first = self.machine.coordinates.carriage(0)
        return float(self.machine.mass[first + row, first + column])

    def given_to(self, name: str, which: str | int, run: Callable[[LoadedScenario], Any]) -> Any:
        """The argument (name or place) that `module:function` is first called with while `run` runs."""
        module, _, path = name.partition(":")
        *inner, function = path.split(".")
        owner = reduce(getattr, inner, importlib.import_module(f"bedsim.{module}"))
        with patch.object(owner, function, wraps=getattr(owner, function)) as spy:
            run(self.loaded)
        found = spy.call_args_list[0]
        return found.args[which] if isinstance(which, int) else found.kwargs[which]


def at_rest_in_layer_1(corners: int = 3) -> Course:
    """The path that stands still where layer 1 is."""
    still = np.zeros((1, corners))
    return Course(time=np.zeros(1), height=still, move_start=still, move_end=still)
