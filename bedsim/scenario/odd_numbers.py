"""Numbers that can be meant but seldom are: told as a question, never refused."""

from __future__ import annotations

from collections.abc import Iterator

from bedsim.number_text import number
from bedsim.scenario.schema import Scenario

USUAL: dict[str, tuple[float, float]] = {
    "bed.size_x_mm": (50, 3000),
    "bed.size_y_mm": (50, 3000),
    "bed.mass_kg": (0.1, 500),
    "bed.thickness_mm": (1, 60),
    "print.layer_mm": (0.02, 6),
    "print.part_mass_kg": (0, 300),
    "print.line_width_mm": (0.1, 20),
    "motion.speed_mm_s": (0.1, 60),
    "motion.acceleration_mm_s2": (5, 10_000),
    "screw.diameter_mm": (3, 80),
    "screw.lead_mm": (0.5, 60),
    "screw.length_mm": (50, 4000),
    "screw.run_out.eccentricity_tir_um": (0, 2000),
    "screw.run_out.bow_tir_um": (0, 5000),
    "screw.travel.once_per_turn_pv_um": (0, 500),
    "guide.radial_n_per_um": (0.01, 5000),
    "guide.tangential_n_per_um": (0.01, 5000),
    "frame.radial_n_per_um": (0.005, 2000),
    "frame.tangential_n_per_um": (0.005, 2000),
    "carriage.mass_kg": (0.01, 50),
    "motor.holding_torque_n_m": (0.02, 15),
    "motor.rotor_inertia_g_cm2": (1, 20_000),
}
"""Lowest and highest that are usual in machines with a bed on screws.  Our choice, wide on both sides."""

_ASKED = ". Is it meant, and its unit?"
OVERHANG = 3.0
"""Times the bed's size by which screws may stand apart before it is asked about.  Our choice."""


def odd_numbers(scenario: Scenario) -> tuple[str, ...]:
    """A question for every number beyond what is usual, each key once."""
    asked: dict[str, None] = {}
    for key, (low, high) in USUAL.items():
        for value in _values(scenario, key):
            if value and not low <= value <= high:
                asked.setdefault(
                    f"{key} = {number(value, 6)}: usual are {number(low)} to {number(high)}{_ASKED}"
                )
                break
    asked |= dict.fromkeys((*_overhang(scenario), *_unprinted(scenario)))
    return tuple(asked)


def _values(scenario: Scenario, key: str) -> Iterator[float]:
    part, *steps = key.split(".")
    owners = [scenario] if hasattr(scenario, part) else scenario.corner
    for owner in owners:
        found = getattr(owner, part)
        for step in steps:
            found = getattr(found, step)
        yield float(found)


def _overhang(scenario: Scenario) -> Iterator[str]:
    for axis in ("x", "y"):
        places = [getattr(corner, f"{axis}_mm") for corner in scenario.corner]
        apart, size = max(places) - min(places), getattr(scenario.bed, f"size_{axis}_mm")
        if apart > OVERHANG * size:
            yield f"bed.size_{axis}_mm = {number(size, 6)}: its screws stand {number(apart, 6)} apart{_ASKED}"


def _unprinted(scenario: Scenario) -> Iterator[str]:
    listed, printed = sum(s.layers for s in scenario.print.section), scenario.print.layers
    if listed > printed:
        yield (
            f"print.layers = {printed}: the sections have {listed} layers, the last {listed - printed} are "
            "not printed. Is it meant?"
        )
