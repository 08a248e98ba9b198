"""A small machine in numbers, and a loaded scenario with a sizing table, for the tests beside this file."""

from __future__ import annotations

import dataclasses
import textwrap
from pathlib import Path
from typing import Any

from bedsim.scenario.load import LoadedScenario, load_scenario
from bedsim.scenario.schema import Scenario
from bedsim.scenario.sizing_keys import Prices, Sizing

PLAIN = """
title = "Three plain screws"
[bed]
size_x_mm = 300
size_y_mm = 300
mass_kg = 3.0
[print]
layers = 200
layer_mm = 0.2
part_mass_kg = 0.5
[motion]
speed_mm_s = 10
acceleration_mm_s2 = 200
z_hop_mm = 0.4
[screw]
kind = "plain"
diameter_mm = 8
lead_mm = 8
starts = 4
length_mm = 300
[nut]
friction_coefficient = {low = 0.08, likely = 0.12, high = 0.2}
[joint]
kind = "rolling"
[guide]
kind = "profile_rail"
[mount]
kind = "groove"
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


class WithSizing(Scenario):
    """A scenario that carries the sizing tables."""

    sizing: Sizing | None = None
    prices: Prices | None = None


def loaded(folder: Path, text: str = PLAIN, **tables: dict[str, Any]) -> LoadedScenario:
    """Load a scenario text, with sizing and prices attached as the file's own tables would be."""
    file = folder / "machine.toml"
    file.write_text(textwrap.dedent(text), encoding="utf-8")
    plain = load_scenario(file)
    fields = {name: getattr(plain.scenario, name) for name in Scenario.model_fields}
    return dataclasses.replace(
        plain,
        scenario=WithSizing.model_construct(
            **fields
            | {
                "sizing": Sizing.model_validate(tables.get("sizing", {})),
                "prices": Prices.model_validate(tables["prices"]) if "prices" in tables else None,
            }
        ),
    )
