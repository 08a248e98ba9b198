"""A shaken machine: modes against scipy's simulation of linear systems, closed forms, and statics."""

import math
from pathlib import Path

import numpy as np
import pytest
from event_machine import machine
from scipy.signal import StateSpace, lsim

from bedsim.model.program import Limits, move
from bedsim.scenario.load import load_scenario
from bedsim.shake import disturbance, shaken
from bedsim.shake.disturbance import Modes, Signal
from bedsim.shake.report import _strongest
from bedsim.simulation import make_job

W, ZETA = 2 * math.pi * 25, 0.04
ONE = Modes(frequency=np.array([W]), decay=np.array([ZETA * W]), shape=np.ones((1, 1)))


def test_a_step_overshoots_as_the_closed_form_says():
    """1 + exp(-pi zeta/sqrt(1 - zeta^2)) times the resting deflection a/w^2: any text on vibration."""
    found = shaken.respond(ONE, np.ones(1), disturbance.pulse(3.0, 0.5), sample=1e-5)
    peak = 3.0 / W**2 * (1 + math.exp(-math.pi * ZETA / math.sqrt(1 - ZETA**2)))
    assert found.eta.max() == pytest.approx(peak, rel=1e-6)


def test_a_measured_history_rings_as_in_scipy():
    time = np.linspace(0, 0.4, 401)
    value = np.sin(130 * time) * np.exp(-4 * time) + 0.2 * (time > 0.1)
    found = shaken.respond(ONE, np.ones(1), disturbance.polygon(time, value), sample=1e-3)
    system = StateSpace([[0, 1], [-(W**2), -2 * ZETA * W]], [[0], [1]], [[1, 0]], [[0]])
    _, wanted, _ = lsim(system, value, time)
    assert found.eta[:, 0] == pytest.approx(wanted, abs=1e-9 * np.abs(wanted).max())


def test_all_modes_of_a_machine_move_as_its_matrices_do_in_scipy(tmp_path):
    """The modal answer against the full first-order system, at the point under the nozzle."""
    job, _ = machine(tmp_path)
    system = job.machine.system(np.array([40]))
    found = disturbance.modes(job.machine, system)
    force = disturbance.shaken_modes(job.machine, system, found, 0.3)
    time = np.arange(0, 0.1, 2e-4)
    value = 2.0 * np.sin(200 * time)
    got = shaken.respond(found, force, disturbance.polygon(time, value), sample=2e-4).eta @ found.shape.T
    M, C = system.M[0], system.C[0]
    contact = job.machine.contact_rows
    stuck = (system.friction_limit[0] / job.machine.breakaway)[:, None] * contact
    K = system.K[0] + contact.T @ stuck
    n = M.shape[0]
    A = np.block([[np.zeros((n, n)), np.eye(n)], [-np.linalg.solve(M, K), -np.linalg.solve(M, C)]])
    push = -disturbance.translation(job.machine, 0.3)[:, None]
    B = np.vstack([np.zeros((n, 1)), push])
    bed = np.eye(2 * n)[:3]
    _, wanted, _ = lsim(StateSpace(A, B, bed, np.zeros((3, 1))), value, time)
    assert got[:, :3] == pytest.approx(wanted, abs=1e-5 * np.abs(wanted).max())


def test_a_lasting_acceleration_ends_in_statics(tmp_path):
    job, _ = machine(tmp_path)
    system = job.machine.system(np.array([40]))
    found = disturbance.modes(job.machine, system, ratio=0.5)
    force = disturbance.shaken_modes(job.machine, system, found, 1.0)
    got = shaken.respond(found, force, disturbance.pulse(1.0, 0.6)).eta[-1] @ found.shape.T
    assert got == pytest.approx(disturbance.steady(system, job.machine, 1.0), abs=1e-9)


def test_everything_that_moves_is_shaken(tmp_path):
    """Total mass from the translation: bed, three carriages and three nuts, nothing of the rotors."""
    job, _ = machine(tmp_path)
    e = disturbance.translation(job.machine, 0.7)
    M = job.machine.system(np.array([1])).M[0]
    corner = 0.4 + 0.1
    assert e @ M @ e == pytest.approx(3.0 + 3 * corner)


def test_a_loose_frame_takes_the_reaction_and_one_on_feet_swings():
    """Closed form of the acceleration of an undamped mass on a spring under a step: (F/m) cos(w t)."""
    force = Signal(time=np.array([0.0, 0.3]), start=np.array([-3.0]), end=np.array([-3.0]))
    found = shaken.shaken_frame(force, 15.0, 2 * math.pi * 10, 1e-9)
    wanted = -3.0 / 15.0 * np.cos(2 * math.pi * 10 * found.time)
    assert found.start == pytest.approx(wanted[:-1], abs=1e-7)
    assert found.end == pytest.approx(wanted[1:], abs=1e-7)


def test_the_layer_change_leaves_what_the_closed_form_of_a_trapezoid_leaves():
    """(4 a/w^2) |sin(w Ta/2) sin(w Tc/2)|, undamped; derivation: integral of a(t) exp(-i w t)."""
    w = 2 * math.pi * 30
    undamped = Modes(frequency=np.array([w]), decay=np.array([0.0]), shape=np.ones((1, 1)))
    profile = move(np.zeros(3), np.full(3, -0.2e-3), Limits(speed=5e-3, acceleration=0.1))
    found = shaken.respond(undamped, np.ones(1), disturbance.layer_change(profile))
    half = profile.duration / 2
    wanted = 4 * 0.1 / w**2 * math.sin(w * half / 2) ** 2
    assert abs(found.amplitude[0]) == pytest.approx(abs(wanted), rel=1e-9)


def test_the_dwell_is_where_a_single_mode_falls_below_the_target():
    """exp(-d t) = target over amplitude, to within half a cycle."""
    start = np.array([10e-6 + 0j])
    row = np.ones((1, 1))
    found = shaken.dwell(ONE, start, row, 1e-6)
    wanted = math.log(10) / (ZETA * W)
    assert wanted - math.pi / W <= found <= wanted + 1e-3
    later = found + np.arange(0, 0.5, 1e-3)
    assert np.abs(shaken.ringing(ONE, start, row, later)).max() <= 1e-6
    assert shaken.dwell(ONE, start, row, 11e-6) == 0.0
    undamped = Modes(frequency=ONE.frequency, decay=np.zeros(1), shape=ONE.shape)
    assert shaken.dwell(undamped, start, row, 1e-6) == math.inf


def test_a_shaft_that_plays_in_its_nut_moves_with_the_frame_s_translation():
    """Two coordinates of its own at every corner, along the push; nothing else turns or rises."""
    job = make_job(load_scenario(Path(__file__).parents[2] / "scenarios" / "plain-lead-screws.toml"))
    at = job.machine.coordinates
    assert at.free_shafts == (0, 1, 2)
    e = np.zeros(at.size)
    e[list(job.machine.kept)] = disturbance.translation(job.machine, 0.7)
    for corner in at.free_shafts:
        shaft = e[at.shaft(corner) : at.shaft(corner) + 2]
        assert shaft == pytest.approx([math.cos(0.7), math.sin(0.7)])
    assert np.sum(e**2) == pytest.approx(e[:2] @ e[:2] * (np.flatnonzero(e).size / 2))


def test_the_strongest_mode_is_the_one_that_deflects_most():
    """A push a on modes of w and w': a/w^2 each at rest; the softer one wins by the square of the
    ratio, 2.25 here."""
    found = Modes(frequency=np.array([100.0, 150.0, 400.0]), decay=np.ones(3), shape=np.eye(3))
    rows = np.array([[1.0, 2.24, 3.0], [0.0, 0.0, 0.0], [0.0, 0.0, 0.0]])
    told = _strongest(found, np.ones(3), rows) * 2 * math.pi
    assert told == pytest.approx([100.0, 150.0, 400.0])
    wider = _strongest(found, np.array([1.0, 1.01, 1.0]), rows) * 2 * math.pi
    assert wider == pytest.approx([150.0, 100.0, 400.0])
