"""Machines of what is built less often, as scenarios: each carries several branches at once."""

from __future__ import annotations

import copy
from pathlib import Path
from typing import Any

import numpy as np
from oracle_machine import TREE

from bedsim.scenario.load import LoadedScenario, scenario_from_tree

RUN_OUT = "position_mm,offset_x_um,offset_y_um"
TRAVEL = "position_mm,deviation_um"
PLACES = np.array([0, 60, 150, 200, 226, 233, 260, 330, 400.0])  # mm, the nut is at 228 to 230
BENT = np.array([[5, -30], [40, -10], [70, 45], [85, 60], [74, 70], [70, 62], [52, 48], [20, 10], [-8, 6]])
RISEN = np.array([0, 12, 9, 20, 24, 11, 15, 40, 38])


def machine(name: str, changes: dict[str, Any], corners: list[dict[str, Any]], folder: Path = Path()) -> Any:
    """The tree of the oracle machine with sections changed and corners of its own."""
    tree = copy.deepcopy(TREE)
    for section, values in changes.items():
        tree.setdefault(section, {}).update(values)
    tree["corner"] = corners
    return scenario_from_tree(tree, folder=folder, source="", name=name)


def bent(tir: float, deg: float, **more: Any) -> dict[str, Any]:
    """A screw with an eccentricity."""
    return {"run_out": {"eccentricity_tir_um": tir, "eccentricity_deg": deg}, **more}


def belt_machine() -> LoadedScenario:
    """One geared motor, a belt to pulleys that run out, screws of two starts and unlike hands and leads whose
    travel is off, hops, and a jerk that the step down does not give time to reach full speed with."""
    corners = [
        {
            "name": "left",
            "x_mm": -190,
            "y_mm": -105,
            "screw": bent(
                120, 20, travel={"slope_um_per_300mm": 40, "variation_pv_um": 30, "variation_deg": 50}
            ),
        },
        {
            "name": "right",
            "x_mm": 185,
            "y_mm": -110,
            "screw": bent(
                90,
                140,
                hand="left",
                clocking_deg=35,
                travel={"once_per_turn_pv_um": 12, "once_per_turn_deg": 70},
            ),
        },
        {
            "name": "back",
            "x_mm": 10,
            "y_mm": 195,
            "screw": bent(
                60,
                250,
                lead_mm=4,
                travel={"variation_pv_um": 20, "variation_wavelength_mm": 25, "once_per_turn_pv_um": 8},
            ),
        },
    ]
    changes = {
        "drive": {
            "topology": "belt",
            "belt_n_per_um": 0.3,
            "pulley_pitch_diameter_mm": 18,
            "pulley_eccentricity_tir_um": 40,
            "pulley_inertia_g_cm2": 35,
        },
        "motion": {"jerk_mm_s3": 15000, "z_hop_mm": 0.9, "hop_dwell_s": 0.03},
        "screw": {"lead_mm": 8, "starts": 2},
        "motor": {"gear_ratio": 2},
        "bed": {"temperature_rise_k": 0},
    }
    return machine("belt", changes, corners)


def play_machine() -> LoadedScenario:
    """Trapezoidal screws of four starts in nuts with play, which the carriages hold as good as bolted: the
    shafts are bent by more than the play, by about as much, and by less. Motors turn through gears."""
    corners = [
        {"name": "left", "x_mm": -190, "y_mm": -105, "screw": bent(260, 20)},
        {
            "name": "right",
            "x_mm": 185,
            "y_mm": -110,
            "screw": bent(90, 140, hand="left", clocking_deg=35),
            "nut": {"thread_height_mm": -50},
        },
        {"name": "back", "x_mm": 10, "y_mm": 195, "screw": bent(36, 250)},
    ]
    changes = {
        "screw": {
            "kind": "plain",
            "diameter_mm": 16,
            "root_diameter_mm": 13.5,
            "lead_mm": 8,
            "starts": 4,
            "ends": "fixed-fixed",
        },
        "nut": {"clearance_um": 30, "friction_coefficient": 0, "flank_angle_deg": 15},
        "joint": {"lateral_n_per_mm": 4000, "damping_n_s_per_m": 0},
        "motor": {"gear_ratio": 1.5},
        "bed": {"temperature_rise_k": 0},
        "mount": {"radial_n_per_um": 0.5},
        "print": {"seconds_per_layer": 0.15, "settle_s": 0.02},
        "damping": {"ratio": 0.15},
    }
    return machine("play", changes, corners)


def many_screws(folder: Path, bent_by: float = 1.0) -> LoadedScenario:
    """Five screws, left-hand ones among them, under a plate that bends; measured run-outs, `bent_by` times
    the table, and travels."""
    tables = {"bent.csv": (RUN_OUT, np.column_stack([PLACES, bent_by * BENT]))}
    tables["risen.csv"] = TRAVEL, np.column_stack([PLACES, RISEN])
    for name, (head, values) in tables.items():
        np.savetxt(folder / name, values, delimiter=",", header=head, comments="", fmt="%g")
    read = {"table": "bent.csv", "bow_tir_um": 60, "bow_deg": 10}
    free = {"table": "bent.csv", "table_measured": "free"}
    corners = [
        {"name": "a", "x_mm": -190, "y_mm": -105, "screw": {"run_out": read, "clocking_deg": 75}},
        {
            "name": "b",
            "x_mm": 185,
            "y_mm": -110,
            "screw": {"ends": "fixed-fixed", "hand": "left", "run_out": free, "clocking_deg": -20},
        },
        {"name": "c", "x_mm": 10, "y_mm": 195, "screw": {"ends": "supported-supported", "run_out": free}},
        {"name": "d", "x_mm": 200, "y_mm": 150, "screw": bent(50, 0, travel={"table": "risen.csv"})},
        {"name": "e", "x_mm": -180, "y_mm": 120, "screw": {"travel": {"table": "risen.csv"}, "hand": "left"}},
    ]
    changes = {
        "bed": {"temperature_rise_k": 0, "thickness_mm": 5},
        "print": {"part_x_mm": 80, "part_y_mm": 60},
    }
    changes["print"]["layers"] = 4
    return machine("many", changes, corners, folder)


def measured_screws(folder: Path) -> LoadedScenario:
    """Three of those screws, which do not bend the plate, a fifth as bent, on geared motors."""
    tree = copy.deepcopy(dict(many_screws(folder, 0.2).tree))
    tree["corner"] = [tree["corner"][k] for k in (1, 2, 3)]
    del tree["bed"]["thickness_mm"]
    tree["motor"]["gear_ratio"] = 2
    return scenario_from_tree(tree, folder=folder, source="", name="measured")
