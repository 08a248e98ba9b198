"""Tilted beds: published motion of three vertical planes, rigid motion, the machine that follows."""

import math
from dataclasses import replace

import numpy as np
import pytest
from event_machine import machine
from scipy.spatial.transform import Rotation

from bedsim.errors import ModelError
from bedsim.tilt import tilted, tilting
from bedsim.tilt.tilting import Supports, TiltLimit
from bedsim.units import DEG, GRAVITY, MM

R = 0.2


def grooves(radius: float = R, count: int = 3, height: float = 0.0) -> Supports:
    """Free radial grooves on a circle."""
    angle = 2 * math.pi * np.arange(count) / count
    out = np.stack([np.cos(angle), np.sin(angle)], axis=1)
    points = np.column_stack([radius * out, np.full(count, height)])
    return Supports(points=points, direction=out, along=np.zeros(count), across=np.ones(count))


def about(angle_deg: float, towards_deg: float) -> np.ndarray:
    towards = towards_deg * DEG
    return angle_deg * DEG * np.array([math.cos(towards), math.sin(towards)])


@pytest.mark.parametrize("towards", [0, 25, 90, 200])
def test_three_grooves_move_as_a_platform_on_three_vertical_planes(towards):
    """[Carretero2000], [Bonev2002]: no torsion, centre shifted by (R/2)(1 - cos w), direction against twice
    the azimuth.

    Formulas quoted from memory; the shift is also derived by hand for towards = 90 in the next test.
    """
    bed = tilting.tilt(grooves(), about(10, towards), np.zeros(3))
    way = R / 2 * (1 - math.cos(10 * DEG))
    assert bed.rotation[2] == pytest.approx(0, abs=1e-12)
    assert bed.shift[:2] == pytest.approx(
        way * np.array([math.cos(2 * towards * DEG), -math.sin(2 * towards * DEG)]), abs=1e-12
    )
    assert bed.give[:, 1] == pytest.approx(0, abs=1e-12)


def test_the_mount_that_is_lifted_alone_gives_way_one_and_a_half_times_its_foreshortening():
    """By hand: the two others keep their planes only if the centre moves in by half of it."""
    bed = tilting.tilt(grooves(), about(10, 90), np.zeros(3))
    assert bed.give[0, 0] == pytest.approx(-1.5 * R * (1 - math.cos(10 * DEG)), abs=1e-12)
    assert bed.lift[0] == pytest.approx(-R * math.sin(10 * DEG), abs=1e-12)


def test_mounts_keep_their_distances_and_the_pivot_its_height():
    supports = grooves(height=-15 * MM)
    pivot = np.array([0.05, -0.02, 0.08])
    bed = tilting.tilt(supports, np.array([0.1, -0.2]), pivot)
    moved = bed.place(supports.points)
    for i, j in ((0, 1), (1, 2), (2, 0)):
        apart = np.linalg.norm(supports.points[i] - supports.points[j])
        assert np.linalg.norm(moved[i] - moved[j]) == pytest.approx(apart, abs=1e-12)
    assert bed.place(pivot)[2] == pytest.approx(0.08, abs=1e-15)
    normal = Rotation.from_rotvec([0.1, -0.2, 0]).apply([0, 0, 1])
    assert np.cross(moved[1] - moved[0], moved[2] - moved[0]) / np.linalg.norm(
        np.cross(moved[1] - moved[0], moved[2] - moved[0])
    ) == pytest.approx(normal, abs=1e-12)


def test_heights_and_tilt_are_inverse():
    bed = tilting.tilt(grooves(), np.array([0.2, 0.1]), np.array([0.03, 0.01, 0.05]))
    back = tilting.tilt_of_heights(grooves(), bed.lift)
    assert back.lift == pytest.approx(bed.lift, abs=1e-10)
    assert back.place(grooves().points) == pytest.approx(bed.place(grooves().points), abs=1e-10)


def test_parallel_grooves_are_refused():
    loose = grooves()
    same = np.tile([1.0, 0.0], (3, 1))
    supports = Supports(points=loose.points, direction=same, along=loose.along, across=loose.across)
    with pytest.raises(ModelError, match="free to slide"):
        tilting.tilt(supports, about(1, 0), np.zeros(3))


def test_a_limit_is_found_where_the_closed_form_puts_it():
    """1.5 R (1 - cos w) = 2 mm."""
    limit = TiltLimit(kind="groove", corner="a", used=lambda bed: abs(bed.give[0, 0]), allowed=2 * MM)
    never = TiltLimit(kind="none", corner="a", used=lambda bed: 0.0, allowed=1.0)
    found = tilting.passed_at(grooves(), [limit, never], np.array([0.0, 1.0]), np.zeros(3))
    assert found[0] == pytest.approx(math.acos(1 - 2 * MM / (1.5 * R)), abs=1e-6)
    assert found[1] == math.inf
    assert tilting.first_passed(grooves(), [never, limit], np.array([0.0, 1.0]), np.zeros(3)) == (1, found[0])


def course(job, supports, rotation, weight=3.0 * GRAVITY, centre=(0.0, 0.0, -0.008)):
    return tilted.follow_tilt(
        job, 1, supports, rotation, np.zeros(3), np.array([weight]), np.array([centre], dtype=float)
    )


IDEAL = {
    "mount.friction_coefficient": 0,
    "joint.friction_coefficient": 0,
    "guide.friction_n": 0,
    "nut.drag_torque_n_mm": 0,
}


def test_free_grooves_leave_a_perfect_machine_almost_alone(tmp_path):
    """Without friction and imperfections only the wandering centre of mass loads corners differently."""
    job, supports = machine(tmp_path, **IDEAL)
    job = replace(job, amounts=0 * job.amounts)
    found = course(job, supports, about(2, 30), centre=(0.0, 0.0, -0.015))
    assert found.side_force.max() < 1e-2
    assert np.abs(found.error).max() < 1e-7
    assert found.give[-1] == pytest.approx(tilting.tilt(supports, about(2, 30), np.zeros(3)).give[:, 0])


def test_grooves_push_their_carriages_with_their_friction(tmp_path):
    """Statics by hand: each groove rubs with mu N along, and across it holds what balances the bed."""
    light = {"carriage.mass_kg": 1e-3, "nut.mass_kg": 1e-3}
    job, supports = machine(tmp_path, **IDEAL | light | {"mount.friction_coefficient": 0.12})
    job = replace(job, amounts=0 * job.amounts)
    found = course(job, supports, about(3, 50))
    along = -0.12 * found.mount_force[-1] * np.sign(found.give[-1])
    e, n = supports.frame[:, 0], supports.frame[:, 1]
    x, y = supports.points[:, 0], supports.points[:, 1]

    def balance(force: np.ndarray) -> np.ndarray:
        return np.stack([force[:, 0], force[:, 1], x * force[:, 1] - y * force[:, 0]])

    across = np.linalg.solve(balance(n), -balance(e) @ along)
    assert np.abs(found.give[-1]).min() > 50e-6
    assert found.side_force[-1] == pytest.approx(np.hypot(along, across), rel=0.03)


@pytest.mark.parametrize("outward", [1, -1])
def test_a_groove_drags_its_carriage_the_way_the_bed_goes(tmp_path, outward):
    """The bed draws in at the rear: that eases a guide pushed outward and burdens one pushed inward."""
    pushed = {"joint.kind": '"rigid"', "corner.rear.screw.alignment.offset_y_um": 200 * outward}
    job, supports = machine(tmp_path, **pushed)
    found = course(job, supports, about(3, 0))
    assert found.give[-1, 2] < -100e-6
    gained = found.side_force[-1, 2] - found.side_force[0, 2]
    assert -outward * gained > 0.2


def test_load_wanders_with_the_centre_of_mass(tmp_path):
    """Statics by hand: a centre z below the pivot moves by -z sin w, the corners take moments."""
    job, supports = machine(tmp_path, **{"mount.friction_coefficient": 0})
    z = -0.1
    found = course(job, supports, np.array([5 * DEG, 0.0]), centre=(0.0, 0.0, z))
    wander = -z * math.sin(5 * DEG)
    gained = 3.0 * GRAVITY * wander / 0.3  # on the rear mount, 0.3 m from the line of the two others
    assert found.mount_force[-1, 2] - found.mount_force[0, 2] == pytest.approx(gained, rel=2e-3)


def test_bolted_beds_resist_racking_and_grooves_do_not(tmp_path):
    """Moment of the guides' tilt stiffness in series with the rest, never more than the guides alone."""
    for kind, low, high in (("groove", 0.0, 1.0), ("bolted", 1e3, 3 * 1200.0 / 0.2**2)):
        job, _ = machine(tmp_path, **{"mount.kind": f'"{kind}"'})
        found = tilted.racking(job.machine, job.machine.system(np.array([1])))
        assert low <= np.abs(found).max() < high
        assert found.sum(axis=1) == pytest.approx(0, abs=1e-6 * max(1.0, np.abs(found).max()))
