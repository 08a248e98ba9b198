"""What stands between a scenario and the engines, by hand: loads of the mounts, rows that something is
imposed on, stops."""

import math
from pathlib import Path

import numpy as np
import pytest

from bedsim.model.joint_parts import bed_loads
from bedsim.model.nonlinear import elastic, touching
from bedsim.scenario.load import load_scenario
from bedsim.simulation import make_job
from bedsim.units import GRAVITY, MM

SCENARIOS = Path(__file__).parents[2] / "scenarios"


def shipped(name, *settings):
    return load_scenario(SCENARIOS / f"{name}.toml", settings)


def test_weights_on_three_mounts_are_those_of_levers():
    """Moments about the mounts: bed and part each at a place of their own."""
    loaded = shipped(
        "bent-rolled-rigid",
        "bed.centre_x_mm=20",
        "bed.centre_y_mm=-30",
        "print.part_x_mm=-40",
        "print.part_y_mm=60",
        "print.part_mass_kg=1.5",
    )
    scenario = loaded.scenario
    first, last = bed_loads(scenario)
    mounts = np.array([[c.x_mm + c.mount.offset_x_mm, c.y_mm + c.mount.offset_y_mm] for c in scenario.corner])
    levers = np.vstack([np.ones(3), mounts.T * MM])
    bed, part = scenario.bed.mass_kg * GRAVITY, 1.5 * GRAVITY
    of_bed = np.linalg.solve(levers, bed * np.array([1, 20 * MM, -30 * MM]))
    of_part = np.linalg.solve(levers, part * np.array([1, -40 * MM, 60 * MM]))
    assert first == pytest.approx(of_bed) and last == pytest.approx(of_bed + of_part)


@pytest.mark.parametrize("more", [(), ("nut.bore_offset_x_um=30",)])
def test_rows_that_something_is_imposed_on(more):
    """All others stay at zero along a print; a bolted nut off its bore strains every row of its carriage."""
    job = make_job(shipped("bent-rolled-rigid", "print.layers=40", *more))
    path = job.program.layer_change(2).path(np.linspace(0, 0.2, 9), 0.0)
    moved = np.flatnonzero(np.abs(job.machine.imposed(path, job.amounts[0])).max(axis=0))
    named = job.machine.imposed_rows(job.amounts)
    assert set(moved) <= set(named)
    assert (named.size < job.machine.rows.shape[0]) == (not more)


def test_a_stop_is_touched_at_its_gap():
    """0.4 mm: the distance along both axes together, not along one."""
    job = make_job(shipped("bent-rolled-rolling-joints", "joint.travel_mm=0.4", "print.layers=2"))
    system = job.machine.system(np.array([2]))
    parts = elastic(job.machine, system, 0, motor_sine=True)
    place = np.zeros((parts.rows.shape[0], 1))
    for distance, touched in ((0.399e-3, False), (0.401e-3, True)):
        place[2:4, 0] = distance * np.array([math.cos(0.7), math.sin(0.7)])
        assert touching(parts, place) is touched


@pytest.mark.parametrize("name", ["bent-rolled-rolling-joints", "plain-lead-screws", "four-screws"])
@pytest.mark.parametrize("drive", ["motor_per_screw", "belt"])
def test_links_and_place_errors_say_what_their_names_do(name, drive):
    machine = make_job(shipped(name, f"drive.topology={drive}", "print.layers=2")).machine
    assert [link.part for link in machine.links] == [link.name.rsplit(".")[-1] for link in machine.links]
    errors = [s for s in machine.sources if s.name.startswith("place error")]
    assert errors
    assert [s.order for s in errors] == [int(s.name.split()[-1]) for s in errors]
    assert {s.order for s in machine.sources if s not in errors} == {None}
