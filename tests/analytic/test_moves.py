"""Layer changes side by side against general-purpose integrators (scipy) on the machine's full matrices.

The linear answer: `scipy.signal.lsim`, a first-order hold of its own.  The motors' sine and their place error
at the rotor's own angle: `scipy.integrate.solve_ivp` (DOP853), the law of the motor written out here by hand.
"""

import math
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
import scipy

from bedsim.engines import base
from bedsim.engines.moves import Bench, Move, follow
from bedsim.scenario.load import load_scenario
from bedsim.simulation import make_job

SCENARIOS = Path(__file__).parents[2] / "scenarios"
FRICTIONLESS = (
    "guide.friction_n=0",
    "nut.friction_coefficient=0",
    "mount.friction_coefficient=0",
    "nut.drag_torque_n_mm=0",
)
TORQUE = 0.45 * 0.7  # N m at 70 % of the current
DEGREES = (0.03, 0.02, 0.0115, 0.01)  # the likely place errors, all in phase


def machine(*settings):
    job = make_job(load_scenario(SCENARIOS / "bent-rolled-rigid.toml", [*FRICTIONLESS, *settings]))
    return job, job.machine.system(np.array([1]))


def moved(job, system, *, actual, layer=1, **limits):
    program = replace(job.program, limits=replace(job.program.limits, **limits))
    move = Move(program=program, layer=layer, amounts=job.amounts[0])
    return follow(Bench(job=job, system=system, actual=actual), [move]), program.layer_change(layer)


def test_the_place_error_is_that_of_where_the_rotor_stands():
    """Lead 5 mm, right hand: 0.3 mm down is +21.6 degrees of the screw; the rotor 0.2 degrees beyond."""
    job, system = machine()
    command, beyond = np.full((1, 3), -0.3e-3), np.radians([[0.2, 0.0, -0.1]])
    found = Bench(job=job, system=system).error(command, beyond, job.amounts)
    angle = np.radians(21.6) + beyond[0]
    by_hand = sum(math.radians(d) * np.cos(50 * k * angle) for k, d in enumerate(DEGREES, start=1))
    assert found[0] == pytest.approx(by_hand, rel=1e-9)


class Whole:
    """The machine's own matrices, and what presses on its mounts."""

    def __init__(self, job, system):
        self.machine, self.system, self.n = job.machine, system, system.M.shape[1]
        self.M, self.C, self.K = system.M[0], system.C[0], system.K[0]
        self.inverse = np.linalg.inv(self.M)
        seen = base.make_observer(job.machine, system, job.probes)
        self.mounts, self.stiffness = job.machine.rows[seen.mount_rows], seen.mount_stiffness

    def force(self, profile, time, amounts):
        imposed = self.machine.imposed(profile.path(time, 0.0), amounts)
        return imposed @ self.system.imposed_force[0].T + self.system.weight[0]

    def pressed(self, q):
        return -(q @ self.mounts.T) * self.stiffness


def by_lsim(whole, profile, amounts):
    """Least force on the mounts (c,), piece by piece, for the acceleration jumps between pieces."""
    n, zero = whole.n, np.zeros((whole.n, whole.n))
    A = np.block([[zero, np.eye(n)], [-whole.inverse @ whole.K, -whole.inverse @ whole.C]])
    B = np.vstack([zero, whole.inverse])
    q = np.linalg.solve(whole.K, whole.force(profile, np.zeros(1), amounts)[0])
    state, least = np.concatenate([q, np.zeros(n)]), np.full(3, np.inf)
    for k, (start, end) in enumerate(zip(profile.time[:-1], profile.time[1:], strict=True)):
        time = np.linspace(start, end, 1 + int((end - start) / 5e-5))
        inertia = profile.acceleration(time, np.full(time.size, k)) @ whole.system.command_force[0].T
        acts = whole.force(profile, np.clip(time, start, end - 1e-12), amounts) + inertia
        _, _, path = scipy.signal.lsim((A, B, np.eye(2 * n), np.zeros((2 * n, n))), acts, time - start, state)
        state, least = path[-1], np.minimum(least, whole.pressed(path[:, :n]).min(axis=0))
    return least


@pytest.mark.parametrize(("speed", "layer_mm"), [(2e-3, 0.25), (5e-3, 0.25), (8e-3, 1.0)])
def test_least_mount_force_of_a_linear_move(speed, layer_mm):
    job, system = machine(f"print.layer_mm={layer_mm}")
    found, profile = moved(job, system, actual=False, speed=speed)
    whole = Whole(job, system)
    least = by_lsim(whole, profile, job.amounts[0])
    taken = found.resting[0] - least
    assert taken.min() > 0.15
    at_rest = np.linalg.solve(whole.K, whole.force(profile, np.zeros(1), job.amounts[0])[0])
    assert found.resting[0] == pytest.approx(whole.pressed(at_rest), abs=1e-5 * taken.min())
    assert found.least[0] == pytest.approx(least, abs=0.02 * taken.max())


def test_moves_side_by_side_are_those_alone():
    job, system = machine()
    programs = [replace(job.program, limits=replace(job.program.limits, speed=v)) for v in (4e-3, 1e-3, 2e-3)]
    moves = [Move(program=p, layer=k, amounts=job.amounts[0]) for k, p in enumerate(programs, start=1)]
    bench = Bench(job=job, system=system)
    together = follow(bench, moves)
    for k, move in enumerate(moves):
        alone = follow(bench, [move])
        # a batch takes the steps of the one that asks for most
        assert together.least[k] == pytest.approx(alone.least[0], abs=0.01)
        assert together.swing[k] == pytest.approx(alone.swing[0], rel=0.01)


def by_solve_ivp(job, system, profile, degrees):
    """Least force on the mounts (c,) and half the rotors' way (rad electrical), motors by hand.

    Torque T sin(50 lag), error A cos(50 k theta) of the place where the rotor is; rounding as imposed.
    """
    whole = Whole(job, system)
    index = [job.machine.kept.index(k) for k in job.machine.motor_index]
    turn = -2 * math.pi / 5e-3  # rad of a right-hand screw per metre upward, lead 5 mm
    places = {s.name: k for k, s in enumerate(job.machine.sources)}
    quiet = job.amounts[0].copy()
    for k, source in enumerate(job.machine.sources):
        if source.name.startswith("place error"):
            quiet[k] = 0.0
    assert "place error 4" in places
    K = whole.K.copy()
    K[index, index] -= 50 * TORQUE
    rows = [job.machine.slices[f"{name}.motor"].start for name in job.machine.corner_names]
    push = whole.system.imposed_force[0].copy()
    push[:, rows] = 0.0
    orders = np.arange(1, 5)
    amplitude = np.radians(degrees)

    def acts(time):
        at = np.array([time])
        path = profile.path(at, 0.0)
        imposed = job.machine.imposed(path, quiet)[0]
        inertia = whole.system.command_force[0] @ profile.acceleration(at)[0]
        return push @ imposed + whole.system.weight[0] + inertia, imposed[rows], turn * path.height[0]

    def slope(time, state):
        known, rounding, command = acts(time)
        q, v = state[: whole.n], state[whole.n :]
        error = np.cos(np.outer(command + q[index], 50 * orders)) @ amplitude
        known[index] -= TORQUE * np.sin(50 * (q[index] - rounding - error))
        return np.concatenate([v, whole.inverse @ (known - whole.C @ v - K @ q)])

    start = np.linalg.solve(whole.K, whole.force(profile, np.zeros(1), job.amounts[0])[0])
    still = np.zeros(whole.n)

    def pull(q):
        return whole.M @ (slope(0.0, np.concatenate([q, still])) - inertia_at_start)[whole.n :]

    inertia_at_start = np.concatenate(
        [still, whole.inverse @ whole.system.command_force[0] @ profile.acceleration(np.zeros(1))[0]]
    )
    q = scipy.optimize.fsolve(pull, start, xtol=1e-12)
    state, least, ways = np.concatenate([q, np.zeros(whole.n)]), np.full(3, np.inf), []
    for start, end in zip(profile.time[:-1], profile.time[1:], strict=True):
        path = scipy.integrate.solve_ivp(
            slope, (start, end - 1e-12), state, method="DOP853", rtol=1e-6, atol=1e-10, max_step=3e-4
        )
        state = path.y[:, -1]
        least = np.minimum(least, whole.pressed(path.y[: whole.n].T).min(axis=0))
        ways.append(path.y[index])
    return least, 50 * np.ptp(np.hstack(ways), axis=1).max() / 2


@pytest.mark.long
def test_a_swing_beyond_half_a_radian_of_the_errors_phase():
    """A fourth order of 0.15 degrees at 6 mm/s, beside the 6.9 where it meets the rotors (276 Hz): at the
    commanded angle the mounts would keep half a newton, at the actual one they lift."""
    degrees = (0.0, 0.0, 0.0, 0.15)
    job, system = machine(
        *(f"motor.place_error_{k}_deg={d}" for k, d in enumerate(degrees, start=1)),
        "print.layer_mm=0.5",
        "motion.acceleration_mm_s2=300",
    )
    found, profile = moved(job, system, actual=True, speed=6e-3)
    least, swing = by_solve_ivp(job, system, profile, degrees)
    taken = found.resting[0] - least
    assert found.least[0] == pytest.approx(least, abs=0.02 * taken.max())
    assert found.swing[0] == pytest.approx(swing, rel=0.02)
    commanded, _ = moved(job, system, actual=False, speed=6e-3)
    assert 4 * swing > 0.5
    assert abs(commanded.least[0] - least).max() > 0.1 * taken.max()
