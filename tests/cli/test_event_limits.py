"""What ends a tilt, limit by limit against numbers by hand, and how far a shaken machine moves, against one
mass on springs and against scipy's integration of the machine's own matrices."""

import math

import numpy as np
import pytest
from event_machine import scenario
from scipy.signal import StateSpace, lsim

from bedsim.analysis.sizing_gather import gather
from bedsim.shake import disturbance
from bedsim.shake.report import shake_scenario
from bedsim.simulation import make_job
from bedsim.tilt import tilting
from bedsim.tilt.report import limits_of, supports_of, tilt_scenario
from bedsim.units import DEG, GRAVITY, MM, UM

STIFF = {
    "guide.tilt_nm_per_rad": 1e7,
    "guide.yaw_nm_per_rad": 1e7,
    "frame.rotation_nm_per_rad": 1e7,
    "frame.radial_n_per_um": 1e5,
    "frame.tangential_n_per_um": 1e5,
}


def limits(folder, layer=1, **changes):
    """All limits of a machine at a layer, by kind and corner, with its supports."""
    loaded = scenario(folder, **changes)
    job = make_job(loaded)
    system = job.machine.system(np.array([layer]))
    level = float(job.program.height(layer))
    found = limits_of(loaded, gather(loaded), job.machine, system, level)
    assert len({(x.kind, x.corner) for x in found}) == len(found)
    return {(x.kind, x.corner): x for x in found}, supports_of(loaded.scenario)


def tilted(supports, x_deg, y_deg):
    return tilting.tilt(supports, np.array([x_deg, y_deg]) * DEG, np.zeros(3))


def test_a_level_bed_has_used_of_a_joint_what_it_is_out_of_true(tmp_path):
    """Half of each reading, misalignment up to the nut (240 mm), bore, and the nut's turning at 20 mm under
    load and drag: each by hand."""
    found, supports = limits(
        tmp_path,
        **{
            "screw.run_out.eccentricity_tir_um": 70,
            "screw.alignment.offset_x_um": 30,
            "screw.alignment.offset_y_um": -40,
            "screw.alignment.slope_x_um_per_100mm": 10,
            "nut.bore_offset_x_um": 5,
            "nut.bore_offset_y_um": 12,
            "nut.drag_torque_n_mm": 4,
            "joint.lateral_n_per_mm": 2,
            "joint.elements": 3,
            "joint.element_radius_mm": 20,
            "joint.travel_mm": 0.7,
            "carriage.mass_kg": 0.4,
            "nut.mass_kg": 0.1,
        },
    )
    weight = (3.0 / 3 + 0.4 + 0.1) * GRAVITY  # the bed's centre is that of the mounts
    turned = 20 * (weight * 4 / (2 * math.pi) + 4) / (2 * 20**2)  # mm: T r/(k r^2)
    hand = 35 + 50 + 10 * 2.4 + 13 + 1e3 * turned
    for name in ("left", "right", "rear"):
        limit = found["joint travel", name]
        assert limit.allowed == pytest.approx(0.7 * MM)
        assert limit.used(tilted(supports, 0, 0)) == pytest.approx(hand * UM, rel=1e-6)


def test_flexing_mounts_push_their_joints_by_what_their_guides_give(tmp_path):
    """A mount k_m pulls its carriage against the guide k_g, both in a row: the carriage goes d k_m/(k_m +
    k_g) of what its mount gives way, d, along the mount and across it; the nut stays with its screw."""
    along, across, guide = 0.3, 4.0, 2.0
    level = {f"{part}.height_mm": -30 for part in ("joint", "mount", "guide", "carriage")}
    found, supports = limits(
        tmp_path,
        **STIFF
        | level
        | {
            "mount.kind": '"flexure"',
            "mount.radial_n_per_um": along,
            "mount.tangential_n_per_um": across,
            "mount.rotation_nm_per_rad": 1e-3,
            "guide.radial_n_per_um": guide,
            "guide.tangential_n_per_um": guide,
            "joint.lateral_n_per_mm": 1e-3,
            "joint.rotation_nm_per_rad": 1e3,
            "screw.ends": '"fixed-fixed"',
        },
    )
    flat, bed = tilted(supports, 0, 0), tilted(supports, 5, 2)
    for k, name in enumerate(("left", "right", "rear")):
        limit = found["joint travel", name]
        give = np.abs(bed.give[k])
        hand = np.hypot(give[0] * along / (along + guide), give[1] * across / (across + guide))
        assert hand > 20 * UM
        assert limit.used(bed) - limit.used(flat) == pytest.approx(hand, rel=0.01)


def test_screws_grooves_and_seats_end_a_tilt_by_geometry_and_statics(tmp_path):
    """Nut at 240 mm of 300 at layer 1, 40 layers of 0.2 mm lower at layer 41; root at both ends left free.
    Rear mount 300 mm from the line of the others; the bed turns about its middle, 200 mm from the rear."""
    for layer, nut in ((1, 240.0), (41, 232.0)):
        found, supports = limits(
            tmp_path,
            layer,
            **{
                "screw.root_diameter_mm": 9,
                "sizing.mount_travel_mm": 1.5,
                "mount.magnet_force_n": 3,
                "mount.height_mm": -10,
                "bed.centre_height_mm": -10,
                "tilt.mount_tilt_deg": 6,
            },
        )
        bed = tilted(supports, 4, 0)
        # the point of the bed's surface that is held stays; mounts lie 10 mm below it
        rise = 200 * math.sin(4 * DEG) + 10 * (1 - math.cos(4 * DEG))
        fall = -100 * math.sin(4 * DEG) + 10 * (1 - math.cos(4 * DEG))
        for name, up in (("left", fall), ("right", fall), ("rear", rise)):
            top, bottom = found["screw's upper end", name], found["screw's lower end", name]
            assert top.allowed == pytest.approx((300 - 9 - nut) * MM)
            assert bottom.allowed == pytest.approx((nut - 9) * MM)
            assert top.used(bed) == pytest.approx(up * MM, rel=1e-6)
            assert bottom.used(bed) == pytest.approx(-up * MM, rel=1e-6)
            travel, seat = found["mount travel", name], found["mount unloaded", name]
            assert travel.allowed == pytest.approx(1.5 * MM)
            assert seat.allowed == pytest.approx(3.0)
            # mass and mounts in one plane turn together: loads stay a third each but for the grooves' way
            assert -seat.used(bed) == pytest.approx(GRAVITY, rel=2e-3)
        assert found["mount travel", "rear"].used(bed) == pytest.approx(abs(bed.give[2, 0]))
        assert found["mount's seat", "all"].used(bed) == pytest.approx(4 * DEG)
        assert found["mount's seat", "all"].allowed == pytest.approx(6 * DEG)


def test_which_limit_comes_first_changes_as_the_joint_has_less_left(tmp_path):
    """1 um of joint travel less than is used already: nothing is left; with plenty, the seat comes first."""
    whole = {
        "screw.run_out.eccentricity_tir_um": 200,
        "joint.lateral_n_per_mm": 1e3,
        "tilt.mount_tilt_deg": 3,
        "tilt.about_x_deg": 1e-9,
    }
    used = limits(tmp_path, **whole)[0]["joint travel", "rear"].used(
        tilted(limits(tmp_path, **whole)[1], 0, 0)
    )
    for travel, kind, angle in ((used + 1e-3, "mount's seat", 3 * DEG), (used - 1e-6, "joint travel", 0.0)):
        loaded = scenario(tmp_path, **whole | {"joint.travel_mm": travel / MM} | {"tilt.about_x_deg": 0})
        found = tilt_scenario(loaded)
        assert found.first[0].startswith(kind)
        assert found.largest == pytest.approx(angle, abs=1e-6)


# One mass on three alike guides: joints that hold nothing, everything at one height, so that nothing rocks.
ONE_MASS = (
    STIFF
    | {f"{part}.height_mm": -20 for part in ("joint", "mount", "guide", "carriage")}
    | {
        "bed.centre_height_mm": -20,
        "guide.radial_n_per_um": 0.05,
        "guide.tangential_n_per_um": 0.05,
        "guide.friction_n": 0,
        "mount.tangential_n_per_um": 1e4,
        "mount.friction_coefficient": 0,
        "mount.kind": '"bolted"',
        "joint.lateral_n_per_mm": 1e-4,
        "joint.friction_coefficient": 0,
        "nut.drag_torque_n_mm": 0,
        "damping.ratio": 0.04,
    }
)
K, MASS = 3 * 0.05e6, 3.0 + 3 * 0.4  # N/m, kg: the nuts stay with their screws


def test_a_shaken_mass_on_three_guides_moves_as_the_closed_form_says(tmp_path):
    """The gantry's push on a loose frame is m_g a/m_f; lasting, it leads to m a/k, at its peak to
    1 + exp(-pi zeta/sqrt(1 - zeta^2)) times as much (any text on vibration)."""
    found = shake_scenario(
        scenario(
            tmp_path,
            **ONE_MASS
            | {
                "disturbance.direction_deg": 25,
                "disturbance.gantry_mass_kg": 1.4,
                "disturbance.frame_mass_kg": 17,
                "disturbance.acceleration_mm_s2": 2500,
                "disturbance.speed_mm_s": 1250,
            },
        )
    )
    frame = 1.4 * 2.5 / 17
    zeta, w = 0.04, math.sqrt(K / MASS)
    assert found.frame_peak == pytest.approx(frame)
    assert found.push_end == pytest.approx(0.5)
    for row in found.rows:
        still = frame * MASS / K
        assert row.steady == pytest.approx(still, rel=2e-3)
        peak = still * (1 + math.exp(-math.pi * zeta / math.sqrt(1 - zeta**2)))
        assert row.peak_lateral == pytest.approx(peak, rel=3e-3)
        assert row.frequency[0] == pytest.approx(w / (2 * math.pi), rel=2e-3)
        assert row.peak_height < 1e-3 * row.peak_lateral
        way = row.lateral[np.argmax(np.linalg.norm(row.lateral, axis=1))]
        assert math.atan2(way[1], way[0]) % math.pi == pytest.approx(25 * DEG, abs=2e-3)  # or straight back


def stuck_matrices(job, layer):
    """First-order matrix and mass of a machine whose contacts stick, and where its bed stands in it."""
    system = job.machine.system(np.array([layer]))
    M, C = system.M[0], system.C[0]
    contact = job.machine.contact_rows
    stick = (system.friction_limit[0] / job.machine.breakaway)[:, None] * contact
    n = M.shape[0]
    K = system.K[0] + contact.T @ stick
    return np.block([[np.zeros((n, n)), np.eye(n)], [-np.linalg.solve(M, K), -np.linalg.solve(M, C)]]), M


def point_of(pose, x, y, z):
    """Where a point of the bed goes, t + w x p: x, y, z (t, 3)."""
    return pose[:, :3] + np.cross(pose[:, 3:6], [x, y, z])


def test_top_of_the_part_and_worst_probe_move_as_the_matrices_do_in_scipy(tmp_path):
    """Amplitudes, sideways at the part's centre on top of it, and of the probe that rises most."""
    loaded = scenario(
        tmp_path,
        **{
            "print.part_x_mm": 60,
            "print.part_y_mm": -40,
            "print.part_mass_kg": 0.8,
            "disturbance.direction_deg": 70,
            "disturbance.speed_mm_s": 60,
        },
    )
    found, job = shake_scenario(loaded), make_job(loaded)
    frame = -1.0 * 3.0 / 15
    for row, layer in zip(found.rows, (1, 50), strict=True):
        assert row.layer == layer
        A, M = stuck_matrices(job, layer)
        n = M.shape[0]
        push = -disturbance.translation(job.machine, 70 * DEG)
        B = np.concatenate([np.zeros(n), push])[:, None]
        time = np.arange(0, 0.0205, 1e-5)
        model = StateSpace(A, B, np.eye(2 * n)[:6], np.zeros((6, 1)))
        _, pose, _ = lsim(model, np.full(time.size, frame), time)  # the bed's six motions come first
        inside = row.time < 0.02
        top = point_of(pose, 0.06, -0.04, layer * 0.2e-3)
        for k in range(2):
            wanted = np.interp(row.time[inside], time, top[:, k])
            assert row.lateral[inside, k] == pytest.approx(wanted, abs=1e-3 * np.abs(top[:, :2]).max())
        probes = [np.abs(point_of(pose, x, y, 0)[:, 2]).max() for x, y in job.probes]
        assert np.abs(row.height[inside]).max() == pytest.approx(max(probes), rel=0.05)


def test_a_layer_change_leaves_the_ringing_that_the_matrices_leave_in_scipy(tmp_path):
    """M q'' + C q' + K q = -M q_cmd'': every corner and its rotor follow the command of a trapezoid."""
    loaded = scenario(tmp_path, **{"motion.acceleration_mm_s2": 150, "motion.speed_mm_s": 8})
    found, job = shake_scenario(loaded), make_job(loaded)
    machine = job.machine
    command = machine.command.sum(axis=1)[list(machine.kept)]
    for row in found.rows:
        A, M = stuck_matrices(job, row.layer)
        n = M.shape[0]
        ramp = math.sqrt(0.2e-3 / 0.15)  # s each up and down: 0.2 mm is short of 8 mm/s
        step = ramp / 2000
        time = np.arange(0, 2 * ramp + 0.1, step)
        a = np.where(time < ramp, -0.15, np.where(time < 2 * ramp, 0.15, 0.0))
        B = np.concatenate([np.zeros(n), -command])[:, None]
        _, pose, _ = lsim(StateSpace(A, B, np.eye(2 * n)[:6], np.zeros((6, 1))), a, time, interp=False)
        after = time >= 2 * ramp
        heights = [np.abs(point_of(pose, x, y, 0)[after, 2]) for x, y in job.probes]
        shown = np.abs(row.after_change[row.after_time < 0.09, 2]).max()
        assert shown == pytest.approx(max(h.max() for h in heights), rel=0.03)
