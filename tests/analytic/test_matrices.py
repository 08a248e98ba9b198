"""Mass, damping and drive of the assembled machine against rigid-body formulas and closed forms."""

import math

import numpy as np
import pytest
import scipy
from three_screws import circle, job, run, with_run_out

from bedsim.components.thread import mean_power

LAYERS = np.arange(1, 7)


def rigid_energy(m, centre, own, motion):
    """Kinetic energy of a rigid body: m v^2/2 at its centre plus its own rotation. Any dynamics text."""
    v = motion[:3] + np.cross(motion[3:], centre)
    return m * v @ v / 2 + motion[3:] @ (own * motion[3:]) / 2


def test_the_growing_part_is_a_slender_column_on_the_bed():
    """Layer 3 of 6: half the mass, half the height, its own inertia m h^2/12 about the two level axes."""
    x, y, height, mass = 20e-3, -30e-3, 3 * 5e-3, 0.6 * 3 / 6
    parts = {
        "print": {"layers": 6, "layer_mm": 5.0, "part_mass_kg": 0.6, "part_x_mm": 20.0, "part_y_mm": -30.0}
    }
    bare = {"print": {"layers": 6, "layer_mm": 5.0}}
    change = (job(**parts).machine.system(LAYERS).M - job(**bare).machine.system(LAYERS).M)[2][:6, :6]
    own = mass * height**2 / 12 * np.array([1, 1, 0])
    for motion in np.random.default_rng(0).normal(0, 1, (5, 6)):
        expected = rigid_energy(mass, np.array([x, y, height / 2]), own, motion)
        assert motion @ change @ motion / 2 == pytest.approx(expected, rel=1e-9)


def test_the_bed_and_its_carriages_move_as_rigid_bodies():
    """All bodies carried along by one motion of space: the energies add up."""
    work = job(
        bed={
            "centre_x_mm": 10.0,
            "centre_height_mm": -8.0,
            "inertia_x_kg_m2": 0.02,
            "inertia_y_kg_m2": 0.03,
            "inertia_z_kg_m2": 0.05,
        }
    )
    machine = work.machine
    for motion in np.random.default_rng(1).normal(0, 1, (5, 6)):
        q = np.zeros(machine.coordinates.size)
        q[:6] = motion
        energy = rigid_energy(3.0, np.array([10e-3, 0, -8e-3]), np.array([0.02, 0.03, 0.05]), motion)
        for i, (x, y) in enumerate(machine.corner_position):
            first = machine.coordinates.carriage(i)
            q[first : first + 3] = motion[:3] + np.cross(motion[3:], [x, y, 0])
            q[first + 3 : first + 6] = motion[3:]
            energy += rigid_energy(0.4, np.array([x, y, -35e-3]), np.full(3, 4e-4), motion)
            energy += 0.1 / 2 * q[first + 2] ** 2  # the nut's mass goes up and down with its carriage
        assert q @ machine.mass @ q / 2 == pytest.approx(energy, rel=1e-9)


def test_rotor_and_screw_turn_together():
    """J = J_rotor + rho L pi/32 times the mean of the thread's d^4, which lies between root and outside."""
    work = job(motor={"rotor_inertia_g_cm2": 60.0})
    rotor = work.machine.coordinates.rotor(1)
    mean = mean_power(4, True, 12e-3, 10e-3, 5e-3)
    assert 10e-3**4 < mean < 12e-3**4
    screw = 7850 * 0.3 * math.pi / 32 * mean
    assert work.machine.mass[rotor, rotor] == pytest.approx(60e-7 + screw, rel=1e-9)


def test_every_mode_has_the_given_damping_ratio():
    """Roots of the state matrix; the form C = M V diag(2 zeta w) V^T M is [Clough], from memory."""
    system = job(damping={"ratio": 0.04}).machine.system(np.array([2]))
    M, C, K = system.M[0], system.C[0], system.K[0]
    inverse, n = np.linalg.inv(M), M.shape[0]
    roots = np.linalg.eigvals(np.block([[np.zeros((n, n)), np.eye(n)], [-inverse @ K, -inverse @ C]]))
    np.testing.assert_allclose(-roots.real / np.abs(roots), 0.04, rtol=1e-5)


def test_a_commanded_acceleration_pushes_with_the_inertia_of_what_moves():
    """-M q_cmd'': the bed's weight over g, and the rotors' inertia times 2 pi/lead."""
    work = job()
    system = work.machine.system(np.array([1]))
    force = system.command_force[0].sum(axis=1)  # all corners accelerate together
    kept = list(work.machine.kept)
    assert force[kept.index(2)] == pytest.approx(-3.0, rel=1e-9)
    rotor = work.machine.coordinates.rotor(0)
    turning = work.machine.mass[rotor, rotor] * 2 * math.pi / 5e-3
    assert force[kept.index(rotor)] == pytest.approx(
        turning, rel=1e-9
    )  # a right-hand screw turns back to lift


@pytest.mark.parametrize("hand", ["right", "left"])
def test_the_thread_lifts_as_it_turns(hand):
    """Commanded angle -H 2 pi z/lead: from above a right-hand screw turns clockwise under a rising nut."""
    work = job(screw={"hand": hand})
    rotor = work.machine.coordinates.rotor(0)
    turn = work.machine.command[rotor, 0]
    assert turn == pytest.approx((-1 if hand == "right" else 1) * 2 * math.pi / 5e-3)
    # the commanded motion stretches no axial link
    axial = work.machine.slices["A.axial"]
    rows = np.vstack([link.jacobian for link in work.machine.links])[axial]
    np.testing.assert_allclose(rows @ work.machine.command[:, 0], 0, atol=1e-12)


@pytest.mark.parametrize("hand", ["right", "left"])
def test_the_run_out_turns_with_the_screw(hand):
    """A quarter of a lead down turns an offset from +X to +Y on a right-hand screw, to -Y on a left-hand one.

    Carriages that do not tilt: a cantilever pushes as if from half its length below, and tilts them back.
    """
    corners = with_run_out(circle(), *[{"eccentricity_tir_um": 100.0}] * 3)
    for corner in corners:
        corner["screw"]["hand"] = hand
    firm = {"guide": {"tilt_nm_per_rad": 1e9}, "frame": {"rotation_nm_per_rad": 1e9}}
    found = run(corners, print={"layers": 2, "layer_mm": 1.25}, **firm)
    x, y = found.pose_raw[:, 0], found.pose_raw[:, 1]
    assert x[0] > 0 and abs(y[0]) < 1e-3 * x[0]
    assert (y[1] > 0) == (hand == "right") and abs(x[1]) < 1e-2 * abs(y[1])


def test_an_eccentric_pulley_lifts_the_bed_once_a_turn():
    """One belt to all: e/r of a turn, times lead/(2 pi). Derivation: length of the belt, first order."""
    drive = {"topology": "belt", "pulley_eccentricity_tir_um": 40.0, "pulley_pitch_diameter_mm": 20.0}
    found = run(drive=drive, print={"layers": 20, "layer_mm": 0.25})
    straight = run(drive=drive | {"pulley_eccentricity_tir_um": 0.0}, print={"layers": 20, "layer_mm": 0.25})
    wave = (found.height_raw - straight.height_raw)[:, 0]
    amplitude = 2 / 20 * abs(np.sum(wave * np.exp(2j * np.pi * np.arange(20) / 20)))
    assert amplitude == pytest.approx(20e-6 / 10e-3 * 5e-3 / (2 * math.pi), rel=1e-6)


def test_misalignment_presses_more_where_the_screw_is_short():
    """A screw axis beside its guide binds towards its bearing, where the shaft is short and stiff."""
    corners = circle()
    corners[0]["screw"] = {"alignment": {"offset_x_um": 100.0}}
    found = run(corners, print={"layers": 20, "layer_mm": 5.0})
    assert np.all(np.diff(found.side_force[1:, 0]) > 0)
    assert found.side_force[-1, 0] > 1.3 * found.side_force[0, 0]


PARTS = {"motor": 0.08, "screw": 0.01, "guide": 0.03, "joint": 0.02, "mount": 0.05}
ROWS = {
    "motor": ("motor",),
    "screw": ("axial", "screw"),
    "guide": ("guide",),
    "joint": ("joint", "load"),
    "mount": ("mount",),
}


def test_damping_by_part_against_complex_stiffness():
    """Every spring of a part k (1 + 2 i zeta): eigenvalues w^2 (1 + 2 i zeta_mode), solved as a complex
    problem (scipy).  Coupling of modes, which the energy shares leave out, is of second order."""
    work = job(
        joint={"kind": "rolling", "friction_coefficient": 0.0},
        damping={f"{part}_ratio": ratio for part, ratio in PARTS.items()},
    )
    system, machine = work.machine.system(np.array([1])), work.machine
    lossy = system.K[0].astype(complex)
    for part, names in ROWS.items():
        for name in (f"{corner}.{row}" for corner in machine.corner_names for row in names):
            rows = machine.rows[machine.slices[name]]
            k = system.stiffness[0][machine.slices[name], machine.slices[name]]
            lossy += 2j * PARTS[part] * rows.T @ k @ rows
    square = scipy.linalg.eigvals(lossy, system.M[0])
    square = square[np.argsort(square.real)]
    np.testing.assert_allclose(system.damping_ratio[0], square.imag / square.real / 2, rtol=0.03)
    assert np.ptp(system.damping_ratio[0]) > 0.03


def test_parts_with_the_same_ratio_damp_as_one():
    every = {f"{part}_ratio": 0.04 for part in PARTS}
    system = job(joint={"kind": "rolling"}, damping={"ratio": 0.01, **every}).machine.system(np.array([2]))
    np.testing.assert_allclose(system.damping_ratio, 0.04, rtol=1e-9)
