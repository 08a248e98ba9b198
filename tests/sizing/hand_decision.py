"""The hand sheet of the screw decision: ball and plain screw where most hangs. N, mm, s, kg."""

from __future__ import annotations

import copy
import math
from pathlib import Path
from types import SimpleNamespace

import numpy as np
from hand_beams import buckling_load, side_stiffness
from hand_corner import Corner
from hand_drive import life_rows
from hand_file import machine, optional
from hand_joint import guide_side, run_out_of


def other(here: Corner) -> Corner:
    """The corner with the other type of screw: the one given, or one like it of the same size and lead."""
    m = copy.deepcopy(here.m)
    c, given = m.corner[here.index], optional(m.sizing, "other_screw")
    for name in ("dynamic_load_rating_n", "ball_circle_diameter_mm"):
        if (given or not here.plain) and hasattr(m.sizing, name):
            delattr(m.sizing, name)
    if given:
        for key in ("kind", "diameter_mm", "root_diameter_mm", "lead_mm"):
            setattr(c.screw, key, getattr(given, key))
        c.screw.starts = optional(given, "starts", 1)
        c.nut.friction_coefficient = given.friction_coefficient
        c.nut.flank_angle_deg = optional(given, "flank_angle_deg", 15.0)
        c.nut.drag_torque_n_mm = optional(given, "drag_torque_n_mm", 0.0)
        c.nut.axial_n_per_um = given.nut_axial_n_per_um
        if hasattr(given, "dynamic_load_rating_n"):
            m.sizing.dynamic_load_rating_n = given.dynamic_load_rating_n
    elif here.plain:  # root of MISUMI p. 1676: 12.5 mm at 15 mm; usual friction
        c.screw.kind, c.screw.starts = "rolled_ball", 1
        c.screw.root_diameter_mm = 12.5 / 15 * c.screw.diameter_mm
        c.nut.friction_coefficient = {"low": 0.003, "likely": 0.005, "high": 0.01}
    else:  # ISO 2904: root d - P - 2 ac, ac 0.15 mm below 2 mm of pitch, 0.25 mm from there
        c.screw.kind, c.screw.starts = "plain", math.ceil(c.screw.lead_mm / 2)
        pitch = c.screw.lead_mm / c.screw.starts
        c.screw.root_diameter_mm = c.screw.diameter_mm - pitch - (0.3 if pitch < 2 else 0.5)
        c.nut.friction_coefficient = {"low": 0.08, "likely": 0.15, "high": 0.25}
        c.nut.flank_angle_deg, c.nut.drag_torque_n_mm = 15.0, 0.0
    return Corner(m, here.index, here.side / 1e3)


def decision(file: Path, side_torques: list[float]) -> dict[str, tuple[float | None, float | None, str]]:
    """Name -> ball, plain, unit."""
    m = machine(file)
    here = max((Corner(m, k, t) for k, t in enumerate(side_torques)), key=lambda c: c.load)
    there = other(here)
    ball, plain = (there, here) if here.plain else (here, there)
    offset = run_out_of(here)  # as far out of true, unless it is given
    given = optional(optional(m.sizing, "other_screw", SimpleNamespace()), "eccentricity_tir_um")
    out = {id(here): offset, id(there): offset if given is None else given / 2e3}

    def both(of: object, unit: str) -> tuple[float, float, str]:
        return of(ball), of(plain), unit  # type: ignore[operator]

    def stiffness(c: Corner) -> float:  # N/um
        return 1e-3 / (c.top / (c.E * c.area) + 1e-3 / c.nut.axial_n_per_um)

    def lacking(c: Corner) -> float:
        return max(0.0, max(0.0, c.driven_back(c.low) + c.side) - c.brake)

    def reaches(c: Corner) -> float:
        k = max(side_stiffness(c, z) for z in (here.bottom, here.top))
        return 1e3 * out[id(c)] * k / (k + guide_side(c))

    def permitted(c: Corner) -> float:
        return min(buckling_load(c, z) for z in np.linspace(here.bottom, here.top, 5)) / 2

    def life(c: Corner) -> float | None:
        rows = life_rows(c)
        told = {n: r.value for n, r in rows.items() if not math.isnan(r.value)}  # the others lack a key
        named = [value for n, value in told.items() if "life" in n or "play" in n]
        return named[0] if named else None

    found = {
        "permitted push (half the buckling load)": both(permitted, "N"),
        "life at the print's duty": both(life, "h"),
        "axial stiffness, shaft and nut": both(stiffness, "N/µm"),
        "torque to raise": both(lambda c: c.raising(c.push, c.likely), "N mm"),
        "brake torque to hold, detent not counted on": both(lacking, "N mm"),
        "friction below which it no longer holds by itself": both(
            lambda c: math.cos(c.flank) * math.tan(c.lam), ""
        ),
        "run-out that reaches a bolted carriage": both(reaches, "µm"),
    }
    prices = optional(m, "prices")
    if prices is not None:
        cost = [
            None
            if optional(prices, key) is None
            else len(m.corner)
            * (optional(prices, key) + (optional(prices, "brake", 0.0) if lacking(c) > 0 else 0.0))
            for key, c in (("ball_screw", ball), ("plain_screw", plain))
        ]
        found[f"cost of {len(m.corner)} screws"] = (cost[0], cost[1], optional(prices, "currency", "EUR"))
    return found
