"""Frequencies of steps and balls, and what friction of a plain thread does, against other derivations."""

import math

import numpy as np
import pytest
from upkeep_machine import ball, plain

from bedsim.analysis.move_speeds import bench_of
from bedsim.analysis.sizing_gather import gather
from bedsim.simulation import make_job
from bedsim.sizing import axial_train, loads
from bedsim.sizing.rows_train import axial_parts
from bedsim.units import DEG, MM, MM_S
from bedsim.upkeep import grease, noise


def rolled(ball_circle: float, diameter: float, angle: float, omega: float) -> float:
    """Speed of a ball's centre by rigid-body kinematics: its spin and speed such that neither contact slips.

    Unknown: the centre's speed along the groove and the spin about the axis square to the plane through both
    contacts; points at +-D/2 along the contact normal.
    """
    r, half = ball_circle / 2, diameter / 2
    inner = r - half * math.cos(angle)
    # v - spin half = omega inner (screw), v + spin half = 0 (nut)
    v, _ = np.linalg.solve([[1, -half], [1, half]], [omega * inner, 0.0])
    return float(v)


@pytest.mark.parametrize("lead", [0.002, 0.005, 0.016])
def test_balls_that_enter_the_return(lead):
    """Time of one ball's diameter at the centre's speed, seen along the thread."""
    circle, diameter, angle, turns = 16 * MM, 3.175 * MM, 45 * DEG, 0.6
    slope = math.atan(lead / (math.pi * circle))
    along = rolled(circle, diameter, angle, 2 * math.pi * turns) / math.cos(slope)
    found = noise.ball_passage(turns, ball_circle=circle, ball=diameter, lead=lead, contact_angle=angle)
    assert found == pytest.approx(along / diameter, rel=1e-12)


def test_ball_passage_is_a_bearing_s_outer_ring():
    """Without lead it is the known (Z n/2)(1 - D cos(alpha)/d) with a full circle of balls."""
    circle, diameter = 50 * MM, 8 * MM
    found = noise.ball_passage(10.0, ball_circle=circle, ball=diameter, lead=0.0, contact_angle=40 * DEG)
    full = math.pi * circle / diameter
    assert found == pytest.approx(full / 2 * 10 * (1 - 8 * math.cos(40 * DEG) / 50))


def test_steps_and_the_loudest_band():
    """3 mm/s on a lead of 5 mm: 0.6 turns and 120 steps a second; 150 to 300 steps are 3.75 to 7.5 mm/s."""
    corner = gather(ball()).corners[0]
    assert noise.step_rate(3 * MM_S, corner.screw.shaft.lead, corner.motor) == pytest.approx(120)
    assert noise.speed_at_rate(150, corner.screw.shaft.lead, corner.motor) == pytest.approx(3.75 * MM_S)
    assert noise.speed_at_rate(300, corner.screw.shaft.lead, corner.motor) == pytest.approx(7.5 * MM_S)


def test_speeds_that_sing_are_rates_at_modes():
    """At every told speed the told multiple of the step rate is the mode's frequency, and the mode is one of
    the machine's own, from M and K by a general solver."""
    import scipy

    loaded = ball(**{"print.layers": 2})
    bench = bench_of(make_job(loaded))
    corner = gather(loaded).corners[0]
    factor = {"a quarter of the step rate": 0.25, "half the step rate": 0.5, "the step rate": 1}
    factor["twice the step rate"] = 2
    system = bench.system
    own = np.sqrt(scipy.linalg.eigh(system.stuck[0], system.M[0], eigvals_only=True)) / (2 * math.pi)
    found = noise.singing(bench, 12 * MM_S)
    assert {m.cause for m in found} >= {"the step rate", "twice the step rate"}
    for meeting in found:
        steps = noise.step_rate(meeting.speed, corner.screw.shaft.lead, corner.motor)
        assert steps * factor[meeting.cause] == pytest.approx(meeting.frequency)
        assert np.abs(own - meeting.frequency).min() < 1e-6 * meeting.frequency
    for meeting in noise.rolling_meetings(bench, gather(loaded).corners[0], 3 * MM, 45 * DEG):
        turns = meeting.speed / corner.screw.shaft.lead
        passing = noise.ball_passage(
            turns, ball_circle=16 * MM, ball=3 * MM, lead=5 * MM, contact_angle=45 * DEG
        )
        assert passing == pytest.approx(meeting.frequency)


def test_the_train_is_size_s_train():
    """Rotor, coupling and shaft, seen along the screw, as the axial train of `bedsim size` has them."""
    corner = gather(plain()).corners[0]
    parts = axial_parts(corner, corner.nut_high)
    turning = [parts[name] for name in ("shaft, twist", "coupling", "motor's magnetic spring")]
    seen = axial_train.torsion_seen_axially(grease.train_stiffness(corner), corner.screw.shaft.lead)
    assert seen == pytest.approx(axial_train.series(turning))


def test_height_lost_by_work_and_statics():
    """Tr10x2, friction 0.12: torques up and down from the wedge of a square thread with 0.12/cos(15),
    written out."""
    corner = gather(plain()).corners[0]
    load, d2, lead = max(corner.hanging), 9 * MM, 2 * MM
    f = 0.12 / math.cos(15 * DEG)
    up = load * d2 / 2 * (lead + math.pi * f * d2) / (math.pi * d2 - f * lead)
    down = load * d2 / 2 * (math.pi * f * d2 - lead) / (math.pi * d2 + f * lead)
    lost = (up + down) / grease.train_stiffness(corner) * lead / (2 * math.pi)
    assert grease.lost_at_reversal(corner, 0.12) == pytest.approx(lost, rel=1e-12)


def test_grease_makes_steep_screws_let_go():
    """Tr10x8 with four starts: tan(lambda) = 8/(9 pi); greased friction cannot hold it, dry can at best."""
    keys = {"screw.lead_mm": 8, "screw.starts": 4, "motor.detent_torque_n_m": 0, "motion.speed_mm_s": 1}
    corner = gather(plain(**keys)).corners[0]
    limit = 8 / (9 * math.pi) * math.cos(15 * DEG)
    assert loads.locking_friction(corner.screw) == pytest.approx(limit)
    states = grease.thread_states(corner, gather(plain(**keys)).duty, "bronze")
    assert [s.name for s in states] == ["greased", "oiled", "dry"]
    assert [s.margin[0] for s in states] == pytest.approx([0.08 / limit, 0.10 / limit, 0.15 / limit])
    assert not any(grease.holds(corner, s) for s in states)
    flat = gather(plain()).corners[0]
    assert all(grease.holds(flat, s) for s in grease.thread_states(flat, gather(plain()).duty, "bronze"))
