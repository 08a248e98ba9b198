"""A motor that has slipped by four full steps, against geometry and statics by hand.

Three screws hold a plane: with one of them h higher the bed's slope is h over the distance of that screw from
the line through the other two.  Turned by 7.2 degrees a screw takes its run-out along: an offset e moves by
2 e sin(3.6 degrees), and behind a spring k_s in a row with a guide k_g pushes with the series of both.
"""

import math
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from in_phase import GUIDE, NUT, E, in_phase

from bedsim.analysis.lost_steps import slip_rows
from bedsim.cli.main import main
from bedsim.engines import base
from bedsim.engines.slip import slip, slips
from bedsim.errors import InputError
from bedsim.scenario.load import load_scenario
from bedsim.simulation import make_job, simulate

SCENARIOS = Path(__file__).parents[2] / "scenarios"


def shipped(name, *settings):
    return load_scenario(SCENARIOS / f"{name}.toml", settings)


@pytest.mark.parametrize(("settings", "height"), [((), 0.1e-3), (("motor.gear_ratio=2.5",), 0.04e-3)])
def test_height_turn_and_tilt_by_geometry(settings, height):
    """Lead 5 mm, 200 steps: 0.1 mm; screws at (-190, -105), (190, -105), (0, 190) mm carry the plane.

    The tangent of what gives way is part of K: a stiff bed on three screws keeps to the plane within 0.1 %.
    """
    loaded = shipped("bent-rolled-rigid", *settings)
    front, _, back = slips(make_job(loaded))
    assert front.height == pytest.approx(height, rel=1e-9)
    assert front.turn == pytest.approx(2 * math.pi * height / 5e-3, rel=1e-9)
    assert back.tilt == pytest.approx(height / 0.295, rel=1e-3)
    side = math.hypot(190.0, 295.0)  # from front right to back
    assert front.tilt == pytest.approx(height / (380 * 295 / side * 1e-3), rel=1e-3)
    # plane through three points: one at the slipped corner, none at the others; the middle of the bed
    plane = np.linalg.solve([[1, -190, -105], [1, 190, -105], [1, 0, 190]], [1, 0, 0])
    assert front.probe_height[0] == pytest.approx(height * plane[0], rel=2e-3)
    assert front.corners == ("front left",)


def test_a_left_hand_screw_slips_as_far():
    right, left = (
        slip(make_job(shipped("bent-rolled-rigid", f'screw.hand="{hand}"')), 0) for hand in ("right", "left")
    )
    assert left.height == right.height and left.tilt == pytest.approx(right.tilt, rel=1e-6)


def test_the_run_out_that_turns_along_pushes_the_guide():
    """On three grooves every corner goes where it would go alone: along its groove the bed does not hold it,
    across it the bed follows in a shift of two thirds and a turn of one, which leaves the others still."""
    job = make_job(in_phase(joint__kind="rigid"))
    found = slip(job, 0)
    moved = 2 * E * math.sin(found.turn / 2)
    alone = moved / (1 / NUT + 1 / GUIDE)
    assert found.side_force == pytest.approx(alone, rel=0.01)
    straight = slip(make_job(in_phase(joint__kind="rigid", screw__run_out__eccentricity_tir_um=0.0)), 0)
    assert straight.side_force < 0.01 * found.side_force


def test_sideways_shift_by_geometry():
    """The bed tilts about its mounts, 30 mm below its surface: every point of that goes sideways by tilt
    times 30 mm."""
    found = slip(make_job(in_phase(joint__kind="rigid", screw__run_out__eccentricity_tir_um=0.0)), 0)
    assert found.shift == pytest.approx(found.tilt * 30e-3, rel=1e-6)
    assert found.tilt == pytest.approx(found.height / 0.27, rel=1e-6)


def test_the_sideways_shift_told_is_that_of_the_probe_that_moves_most():
    """A screw that turns its run-out along turns the bed too, and its corners go further than its middle."""
    job = make_job(in_phase(joint__kind="rigid"))
    alone = [slip(replace(job, probes=job.probes[k : k + 1]), 0).shift for k in range(len(job.probes))]
    assert max(alone) > 1.01 * min(alone)
    assert slip(job, 0).shift == pytest.approx(max(alone), rel=1e-9)


def test_four_screws_twist_the_bed_and_relieve_a_mount():
    """Three carry it without: statics leaves nothing to share."""
    assert slip(make_job(shipped("four-screws")), 0).mount_relief > 1.0
    assert slip(make_job(shipped("bent-rolled-rolling-joints")), 0).mount_relief < 0.05


def test_one_motor_and_a_belt_move_all_corners_alike():
    """No tilt: the whole bed is off by 0.1 mm."""
    (found,) = slips(make_job(shipped("bent-rolled-rigid", 'drive.topology="belt"')))
    assert found.corners == ("front left", "front right", "back")
    assert found.height == pytest.approx(0.1e-3, rel=1e-9)
    assert found.probe_height == pytest.approx(0.1e-3, rel=1e-3)
    assert found.tilt < 1e-3 * 0.1e-3 / 0.295


def test_what_comes_back_every_turn_is_that_of_a_run():
    """Once-per-turn travel lifts the bed by a plane of its own: 12 um at one corner."""
    settings = ["corner.back.screw.travel.once_per_turn_pv_um=12", *_no_bow()]
    found = slip(make_job(shipped("bent-rolled-rigid", *settings)), 2)
    assert found.once_per_turn / found.probe_height == pytest.approx(
        np.sign(found.probe_height) * 0.12, rel=2e-3
    )


def _no_bow():
    return [f"corner.{name}.screw.run_out.bow_tir_um=0" for name in ("front left", "front right", "back")]


# ---- told ---------------------------------------------------------------------------------------------


def test_size_shows_it_and_how_to_tell_it_from_a_bent_screw(capsys):
    assert main(["size", str(SCENARIOS / "bent-rolled-rigid.toml"), "--no-pictures", "--all"]) == 0
    out = " ".join(capsys.readouterr().out.split())
    assert "height of a corner whose motor has slipped 100 µm" in out
    assert "tilt of the bed then 0.339 mm/m" in out
    assert "levelling shows -15 to 86 µm at the probes, a plane" in out
    assert "A bent screw repeats every 5 mm, sideways, with at most 0.01 µm in height" in out
    assert "in multiples of 0.1 mm" in out


def test_size_stays_silent_where_a_run_refuses_the_machine():
    weak = shipped("bent-rolled-rigid", "motor.holding_torque_n_m=0.001")
    assert slip_rows(weak) == []


def test_a_run_that_loses_a_step_says_what_is_left_if_the_motor_catches(monkeypatch):
    """A step counted as lost from a milliradian of load angle on: an ordinary machine loses one at once."""
    monkeypatch.setattr(base, "LOST_STEP", 1e-3)
    with pytest.raises(
        InputError,
        match=r"loses steps.*off by a multiple of 0\.1 mm .four full steps.*bed tilts by 0\.3[14] mm/m",
    ):
        simulate(shipped("bent-rolled-rigid", "print.layers=2"))
